"""The back office of the service lead's tables."""

from __future__ import annotations

from django.contrib import admin

from kits.catalog.back_office.records import RecordAdmin
from kits.people.back_office import ReadOnlyAdmin
from kits.service.models import (
    Arrival,
    FluidRule,
    Gauge,
    GoAhead,
    PastStrip,
    Photo,
    PumpLimit,
    PumpTest,
    Quote,
    SignRule,
    Tightening,
    Waiver,
    WearLimit,
    WorkHours,
)


@admin.register(PumpLimit)
class PumpLimitAdmin(RecordAdmin):
    """What a pump is tested against."""

    list_display = ("pump", "check_of", "at_least", "at_most", "unit", "how", "source")
    list_select_related = ("pump",)
    search_fields = ("pump__part_number",)
    raw_id_fields = ("pump",)


@admin.register(Gauge)
class GaugeAdmin(RecordAdmin):
    """Gauges."""

    list_display = ("gauge", "reads", "calibrated_on", "due_on", "certificate")
    search_fields = ("gauge",)


@admin.register(WorkHours)
class WorkHoursAdmin(RecordAdmin):
    """Hours of the shop."""

    list_display = ("item", "scope", "hours")
    list_select_related = ("item",)
    search_fields = ("item__part_number", "scope")
    raw_id_fields = ("item",)


@admin.register(PumpTest)
class PumpTestAdmin(ReadOnlyAdmin):
    """Tests of pumps."""

    list_display = ("job", "strip", "pump_number", "passed", "gauge", "gauge_due_on", "tested_with", "says", "by", "at")
    list_filter = ("passed",)
    list_select_related = ("job", "gauge", "by")
    search_fields = ("job__job", "says")


@admin.register(PastStrip)
class PastStripAdmin(ReadOnlyAdmin):
    """Strips that were followed by another."""

    list_display = ("job", "number", "scope", "quantity", "build_on")
    list_select_related = ("job",)
    search_fields = ("job__job",)


@admin.register(Quote)
class QuoteAdmin(ReadOnlyAdmin):
    """Quotes."""

    list_display = ("job", "version", "work", "total", "currency", "unpriced", "note", "by", "at")
    list_select_related = ("job", "by")
    search_fields = ("job__job",)


@admin.register(GoAhead)
class GoAheadAdmin(ReadOnlyAdmin):
    """Go-aheads."""

    list_display = ("quote", "says", "by", "at", "taken_back_why", "taken_back_by", "taken_back_at")
    list_select_related = ("quote__job", "by", "taken_back_by")
    search_fields = ("quote__job__job", "says")


@admin.register(WearLimit)
class WearLimitAdmin(RecordAdmin):
    """How far parts may be worn."""

    list_display = ("item", "assembly", "position", "measured", "least", "most", "unit", "source")
    list_select_related = ("item", "assembly")
    search_fields = ("item__part_number", "assembly__part_number", "position", "source")
    raw_id_fields = ("item", "assembly")


@admin.register(Tightening)
class TighteningAdmin(RecordAdmin):
    """How parts are tightened."""

    list_display = ("item", "assembly", "position", "figure", "pattern", "tool", "source")
    list_select_related = ("item", "assembly")
    search_fields = ("item__part_number", "assembly__part_number", "position", "source")
    raw_id_fields = ("item", "assembly")


@admin.register(FluidRule)
class FluidRuleAdmin(RecordAdmin):
    """Compounds in fluids."""

    list_display = ("fluid", "compound", "says", "source", "note")
    list_filter = ("says",)
    search_fields = ("folded", "source")


@admin.register(SignRule)
class SignRuleAdmin(RecordAdmin):
    """What was seen, and what to open."""

    list_display = ("seen", "section", "scope", "note")
    list_select_related = ("section",)
    search_fields = ("folded",)
    raw_id_fields = ("section",)


@admin.register(Arrival)
class ArrivalAdmin(ReadOnlyAdmin):
    """How pumps came; written on the page of the job."""

    list_display = ("job", "serial", "model", "fluid", "flushed_by", "agreed_with", "by", "at")
    list_select_related = ("job", "by")
    search_fields = ("job__job", "serial", "fluid")


@admin.register(Photo)
class PhotoAdmin(ReadOnlyAdmin):
    """Photos; looked at on the page of the job."""

    list_display = ("job", "where", "note", "by", "at", "gone_at", "gone_because")
    list_select_related = ("job", "by")
    search_fields = ("job__job", "where", "note")
    exclude = ("content",)


@admin.register(Waiver)
class WaiverAdmin(ReadOnlyAdmin):
    """What was let pass."""

    list_display = ("job", "about", "why", "by", "at", "back_at", "back_because")
    list_select_related = ("job", "by")
    search_fields = ("job__job", "about", "why")
