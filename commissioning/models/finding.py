"""What the search box looks through: a line for each thing that can be found, and the words that occur in them.

Both tables are written by the database's own triggers (`commissioning.finding`) and can be made anew at any time.
"""

from django.db import models


class FindEntry(models.Model):
    """A thing that can be found: where it belongs, what it is called, and every word it is found by, in small letters.

    `record_id` is the key of the record itself; `site_id` is empty where it belongs to the whole project.
    """

    kind = models.CharField(max_length=16)
    record_id = models.UUIDField(unique=True)
    project_id = models.UUIDField()
    site_id = models.UUIDField(null=True)
    title = models.CharField(max_length=120)
    tag = models.CharField(max_length=120, blank=True, help_text="Of what it is about, where that is not its title.")
    words = models.TextField()

    class Meta:
        indexes = [
            models.Index(fields=["project_id", "kind", "id"], name="find_newest"),
            models.Index(fields=["site_id", "kind", "id"], name="find_newest_at_site"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.title}"


class FindWord(models.Model):
    """A word, or a whole tag, that occurs in a project: what a slip of the finger is put right with."""

    project_id = models.UUIDField()
    word = models.CharField(max_length=120)

    class Meta:
        # Not unique: two people who write the same new word at once must not wait for each other.
        indexes = [models.Index(fields=["project_id", "word"], name="find_word")]

    def __str__(self) -> str:
        return self.word
