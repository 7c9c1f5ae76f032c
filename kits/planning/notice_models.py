"""Who wants which notice by e-mail, and what was sent to whom."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from kits.catalog.constraints import once


class NoticeChoice(models.Model):
    """What somebody wants to be told by e-mail; of promises and lots only what happened ``since`` they chose."""

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="notice_choice")
    morning = models.BooleanField(default=False)
    promises = models.BooleanField(default=False)
    suspects = models.BooleanField(default=False)
    since = models.DateTimeField()

    class Meta:
        ordering = ("person",)

    def __str__(self) -> str:
        return f"notices for {self.person}"


class SentNotice(models.Model):
    """What somebody is told about, once: taken in hand before it is sent, so that two runs do not send it twice."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="sent_notices")
    about = models.CharField(max_length=100)
    taken_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (once("sent_notice_once", "person", "about", says="This person was told already."),)

    def __str__(self) -> str:
        return f"{self.about} to {self.person}"
