"""Mail to members: what waits to be handed over to the mail server, and by which clock a person lives."""

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.utils import timezone

from .access import Membership
from .base import Record

#: The hour of a person's own day at which the daily mail goes, until they choose another.
MORNING = 7


class Mail(Record):
    """One mail to one member. The key makes that it is written once; what it said is forgotten when it was sent."""

    membership = models.ForeignKey(Membership, models.CASCADE, related_name="mails")
    kind = models.CharField(max_length=12, help_text="The switch by which a person turns mails like it off.")
    key = models.CharField(max_length=120, help_text="What is told: one mail to each person.")
    subject = models.CharField(max_length=200)
    text = models.TextField(blank=True)
    html = models.TextField(blank=True)
    calendar = models.TextField(blank=True, help_text="An iCalendar object that goes with it.")
    calendar_method = models.CharField(max_length=10, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)
    next_at = models.DateTimeField(default=timezone.now, help_text="Not tried before: a try under way, or a wait.")
    tries = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True, blank=True)
    fault = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["membership", "key"], name="mail_once_per_person")]
        indexes = [models.Index(fields=["next_at"], condition=models.Q(sent_at__isnull=True), name="mail_waiting")]

    def __str__(self) -> str:
        return self.subject


class PersonalClock(Record):
    """The zone that a person lives in and the hour at which mail reaches them."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="clock")
    time_zone = models.CharField(max_length=64, blank=True, help_text="Empty: the project's.")
    hour = models.PositiveSmallIntegerField(default=MORNING, validators=[MaxValueValidator(23)])

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(hour__lte=23), name="clock_hour_of_a_day")]

    def __str__(self) -> str:
        return f"{self.user}: {self.hour}:00 {self.time_zone}"
