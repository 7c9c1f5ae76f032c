"""Who signs in. The table is our own from the first migration, so that it can grow without moving anybody."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser


class User(AbstractUser):
    """Somebody of the shop; what they may do comes from their role, which is a group."""

    class Meta(AbstractUser.Meta):
        verbose_name = "person"
        verbose_name_plural = "people"
