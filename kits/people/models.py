"""Who signs in. The table is our own from the first migration, so that it can grow without moving anybody."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import AbstractUser, Group
from django.db import models


class User(AbstractUser):
    """Somebody of the shop; what they may do comes from their role, which is a group."""

    class Meta(AbstractUser.Meta):
        verbose_name = "person"
        verbose_name_plural = "people"


class PeopleChange(models.Model):
    """What somebody changed of a person or a role: never edited, and kept when the role is gone.

    ``changes`` are what, before and after; of rights, those that were taken and those that were given.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.SET_NULL, null=True, blank=True, related_name="people_changes"
    )
    role = models.ForeignKey(Group, models.SET_NULL, null=True, blank=True, related_name="people_changes")
    named = models.CharField("person or role", max_length=150)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    changes = models.JSONField()
    why = models.CharField("reason", max_length=500, blank=True)

    class Meta:
        ordering = ("-id",)
        verbose_name = "change of people and roles"
        verbose_name_plural = "changes of people and roles"

    def __str__(self) -> str:
        return self.named


class SignInLink(models.Model):
    """A link given to one person. Of its secret only the digest is kept; it works once, and until it ends."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="sign_in_links")
    digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    made_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return f"for {self.person}, until {self.ends_at:%Y-%m-%d %H:%M}"


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
                condition=models.Q(ended_at__isnull=True),
                violation_error_message="There is a token of this name already.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.name} of {self.person}"
