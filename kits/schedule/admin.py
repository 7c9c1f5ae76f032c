"""The back office of the schedule."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import admin
from django.core.exceptions import ValidationError

from bom.values import ASKING_STAGES
from kits.catalog.back_office.records import RecordAdmin
from kits.catalog.days.doubts import doubts_now
from kits.catalog.days.questions import AsksAboutDays
from kits.people.back_office import ReadOnlyAdmin, RecordForm
from kits.schedule.models import Batch, Finding, Job, JobChange, JobStep, OtherNeed, Verdict
from kits.schedule.stages import written_stage_fault


@admin.register(Batch)
class BatchAdmin(RecordAdmin):
    """Batches."""

    search_fields = ("name",)


class JobForm(AsksAboutDays, RecordForm):
    """A job; an odd build day is asked about, and more than a word of its stage is said on its own page."""

    def clean_stage(self) -> str:
        """The stage, unless the job comes to it, or leaves it, by a step of its own."""
        stage: str = self.cleaned_data["stage"]
        if fault := written_stage_fault(self.initial.get("stage") if self.instance.pk else None, stage):
            raise ValidationError(f"{fault[0][0].upper()}{fault[0][1:]}: {fault[1]}.")
        return stage

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the build day."""
        day, stage = cleaned.get("build_on"), cleaned.get("stage")
        is_new = "build_on" in self.changed_data or ("stage" in self.changed_data and not self.instance.asks)
        return {"build_on": doubts_now().of_build(day)} if day and is_new and stage in ASKING_STAGES else {}


class NeedForm(AsksAboutDays, RecordForm):
    """Another need; an odd day is asked about where it is new."""

    def doubts(self, cleaned: Mapping[str, Any]) -> Mapping[str, str]:
        """What is odd about the day."""
        day = cleaned.get("need_on") if "need_on" in self.changed_data else None
        return {"need_on": doubts_now().of_build(day)} if day else {}


@admin.register(Job)
class JobAdmin(RecordAdmin):
    """Jobs."""

    form = JobForm
    list_display = ("job", "pump", "scope", "build_on", "quantity", "batch", "priority", "stage")
    list_filter = ("stage", "batch")
    list_select_related = ("pump", "batch")
    search_fields = ("job", "folded", "serial", "customer", "pump__part_number")
    raw_id_fields = ("pump",)


@admin.register(OtherNeed)
class OtherNeedAdmin(RecordAdmin):
    """Needs that are no rebuild."""

    form = NeedForm
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
