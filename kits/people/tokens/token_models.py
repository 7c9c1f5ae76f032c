"""What another program signs in by, in the name of one person."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


class AccessToken(models.Model):
    """A token of one person: of its secret only the digest is kept, beside the rights that it may use of theirs."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="access_tokens")
    name = models.CharField(max_length=60)
    digest = models.CharField(max_length=64, unique=True)
    scopes = models.JSONField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    made_at = models.DateTimeField()
    used_on = models.DateField(null=True)
    ended_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("-id",)
        constraints = (
            models.UniqueConstraint(
                fields=("person", "name"),
                name="access_token_once",
                condition=Q(ended_at__isnull=True),
                violation_error_message="There is a token of this name already.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.name} of {self.person}"
