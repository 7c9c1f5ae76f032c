"""Files that people brought in: kept with what came of them, so that a preview can be confirmed later."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from kits.catalog.constraints import once, one_of
from kits.people.models import User
from kits.people.roles import load_permissions


class UploadState(models.TextChoices):
    """How far an upload has come."""

    CHECKING = "checking"
    CHECKED = "checked"
    REFUSED = "refused"
    LOADING = "loading"
    LOADED = "loaded"
    WITHDRAWN = "withdrawn"
    UNDONE = "undone"


WORKED_ON = (UploadState.CHECKING, UploadState.LOADING)
"""States in which a worker is at it, or was when the server stopped."""


class UploadOrigin(models.TextChoices):
    """How the lists of an upload were handed over."""

    FILES = "files"
    PASTED = "pasted"
    INDENTED = "indented"
    ENTERED = "entered"
    CHANGED = "changed"
    SPLIT = "split"
    REVISED = "revised"


class Upload(models.Model):
    """One or more files that were brought in together, and the outcome of the last look at them.

    ``typed`` is what was typed into the fields when it was pasted, to go back into them and be put right. ``meant``
    names the questions that somebody said yes to, ``meant_because`` gives the reason where one is needed.
    ``why`` is the reason for which jobs are changed, kept with each of them, or for which lists are.
    ``instructions`` say which lists its files hold and in which character sets.
    """

    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="uploads")
    ran_by = models.CharField(max_length=150, blank=True)
    at = models.DateTimeField()
    state = models.CharField(max_length=20, choices=UploadState)
    origin = models.CharField(max_length=20, choices=UploadOrigin, default=UploadOrigin.FILES)
    typed = models.JSONField(default=dict, blank=True)
    replaced = models.JSONField(default=list, blank=True)
    headings = models.JSONField(default=dict, blank=True)
    outcome = models.JSONField(default=dict, blank=True)
    instructions = models.JSONField(default=dict, blank=True)
    meant = models.CharField(max_length=64, blank=True)
    meant_because = models.CharField(max_length=300, blank=True)
    why = models.CharField(max_length=500, blank=True)
    result = models.CharField(max_length=500, blank=True)
    loaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="loaded_uploads"
    )
    loaded_at = models.DateTimeField(null=True, blank=True)
    worker = models.CharField(max_length=80, blank=True)
    worked_on_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        permissions = load_permissions()
        constraints = (
            one_of("upload_state", "state", UploadState),
            one_of("upload_origin", "origin", UploadOrigin),
        )

    def __str__(self) -> str:
        return ", ".join(file.name for file in self.files.all())

    @property
    def brought_by(self) -> str:
        """Who brought the files in, in words."""
        return self._in_words(self.by)

    @property
    def settled_by(self) -> str:
        """Who loaded the files or put them aside, in words."""
        return self._in_words(self.loaded_by)

    def _in_words(self, person: User | None) -> str:
        if person is not None:
            return person.get_full_name() or person.get_username()
        return f"{self.ran_by}, by command" if self.ran_by else ""


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


class KeptRows(models.Model):
    """What the rows of one sheet that an upload touched held before and after it, packed; undoing reads it."""

    upload = models.ForeignKey(Upload, models.CASCADE, related_name="kept_rows")
    sheet = models.CharField(max_length=50)
    content = models.BinaryField()

    class Meta:
        ordering = ("id",)
        constraints = (
            once(
                "kept_rows_once_for_each_sheet",
                "upload",
                "sheet",
                says="The rows of this sheet are kept already for this upload.",
            ),
        )

    def __str__(self) -> str:
        return self.sheet


class HeadingChoice(models.Model):
    """What one person said strange headings of a sheet mean; the same set of headings is read so the next time."""

    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="heading_choices")
    sheet = models.CharField(max_length=50)
    header_set = models.CharField(max_length=64)
    columns = models.JSONField(default=dict)
    at = models.DateTimeField()

    class Meta:
        ordering = ("id",)
        constraints = (
            once(
                "headings_chosen_once_for_each_set",
                "by",
                "sheet",
                "header_set",
                says="This person has chosen already what these headings mean: change that choice.",
            ),
        )

    def __str__(self) -> str:
        return self.sheet
