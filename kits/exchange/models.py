"""Files that people brought in: kept with what came of them, so that a preview can be confirmed later."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from kits.catalog.constraints import one_of


class UploadState(models.TextChoices):
    """How far an upload has come."""

    CHECKED = "checked"
    REFUSED = "refused"
    LOADED = "loaded"
    WITHDRAWN = "withdrawn"


class Upload(models.Model):
    """One or more files that were brought in together, and the outcome of the last look at them."""

    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="uploads")
    at = models.DateTimeField()
    state = models.CharField(max_length=20, choices=UploadState)
    replaced = models.JSONField(default=list, blank=True)
    outcome = models.JSONField(default=dict, blank=True)
    loaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="loaded_uploads"
    )
    loaded_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (one_of("upload_state", "state", UploadState),)

    def __str__(self) -> str:
        return ", ".join(file.name for file in self.files.all())


class UploadedFile(models.Model):
    """One file of an upload, byte for byte."""

    upload = models.ForeignKey(Upload, models.CASCADE, related_name="files")
    name = models.CharField(max_length=255)
    digest = models.CharField(max_length=64)
    content = models.BinaryField()

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.name
