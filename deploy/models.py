"""What the product remembers about its own running; nothing of anybody's plant."""

from django.db import models


class LastSeen(models.Model):
    """When a part of the product was last seen at work: a worker, the scheduler, a readiness probe, a backup."""

    part = models.CharField(max_length=20, help_text="worker, scheduler, ready, backup …")
    place = models.CharField(max_length=120, blank=True, help_text="The machine and process, where there are many.")
    at = models.DateTimeField()
    facts = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["part", "place"]
        constraints = [models.UniqueConstraint(fields=["part", "place"], name="last_seen_once_a_place")]

    def __str__(self) -> str:
        return f"{self.part} {self.place} at {self.at:%Y-%m-%d %H:%M}"
