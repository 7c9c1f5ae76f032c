"""What was told of the lists: of each row only a digest, so that a program hears what changed and what is gone."""

from __future__ import annotations

from django.db import models

from kits.catalog.constraints import once


class ToldRow(models.Model):
    """The last that was told of one row: under which number, and a digest of what it held; none where it is gone."""

    list_name = models.CharField(max_length=40)
    key = models.JSONField()
    key_digest = models.CharField(max_length=32)
    digest = models.CharField(max_length=32, blank=True)
    number = models.BigIntegerField(unique=True)

    class Meta:
        ordering = ("number",)
        constraints = (once("told_row_once", "list_name", "key_digest", says="This row was told already."),)

    def __str__(self) -> str:
        return f"{self.list_name} {self.key}"


class ToldState(models.Model):
    """Up to which marks of the tables everything was told, or one list up to which tag; the last number then given."""

    name = models.CharField(max_length=20, unique=True)
    marks = models.CharField(max_length=80)
    number = models.BigIntegerField()

    def __str__(self) -> str:
        return f"{self.name} up to {self.number}"
