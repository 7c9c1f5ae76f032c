"""The back office of the schedule."""

from __future__ import annotations

from django.contrib import admin

from kits.catalog.back_office import ReadOnlyAdmin, RecordAdmin
from kits.schedule.models import Batch, Finding, Job, JobChange, JobStep, OtherNeed, Verdict


@admin.register(Batch)
class BatchAdmin(RecordAdmin):
    """Batches."""

    search_fields = ("name",)


@admin.register(Job)
class JobAdmin(RecordAdmin):
    """Jobs."""

    list_display = ("job", "pump", "scope", "build_on", "quantity", "batch", "priority", "stage")
    list_filter = ("stage", "batch")
    list_select_related = ("pump", "batch")
    search_fields = ("job", "folded", "serial", "customer", "pump__part_number")
    raw_id_fields = ("pump",)


@admin.register(OtherNeed)
class OtherNeedAdmin(RecordAdmin):
    """Needs that are no rebuild."""

    list_display = ("need", "item", "need_on", "for_whom", "priority")
    list_select_related = ("item",)
    raw_id_fields = ("item",)


@admin.register(Verdict)
class VerdictAdmin(RecordAdmin):
    """Strip reports."""

    list_display = ("job", "where", "item", "verdict", "found", "with_group")
    list_filter = ("verdict",)
    list_select_related = ("job", "item")
    search_fields = ("job__job", "where", "item__part_number")
    raw_id_fields = ("job", "item")


@admin.register(Finding)
class FindingAdmin(RecordAdmin):
    """Named findings."""

    list_display = ("job", "finding", "section", "found_on", "note")
    list_select_related = ("job", "section")
    search_fields = ("job__job", "finding")
    raw_id_fields = ("job", "section")


@admin.register(JobChange)
class JobChangeAdmin(ReadOnlyAdmin):
    """Changes of jobs."""

    list_display = ("job", "by", "at", "why", "build_on", "priority", "scope", "given_up")
    list_select_related = ("job", "by")
    search_fields = ("job__job", "why")


@admin.register(JobStep)
class JobStepAdmin(ReadOnlyAdmin):
    """How far jobs have come."""

    list_display = ("job", "before", "after", "by", "at", "says", "open_then")
    list_filter = ("after",)
    list_select_related = ("job", "by")
    search_fields = ("job__job", "says")
