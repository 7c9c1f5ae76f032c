"""What a plan may tell a job."""

from __future__ import annotations

from django.db.models import TextChoices


class Answered(TextChoices):
    READY = "ready"
    WAITING = "waiting"
    LATE = "late"
    SHORT = "short"
