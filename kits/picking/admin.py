"""The back office of picking: rounds and what was said of their lines are looked at."""

from __future__ import annotations

from django.contrib import admin

from kits.people.back_office import ReadOnlyAdmin
from kits.picking.models import Confirmation, PickLine, PickRound, SentJob


@admin.register(PickRound)
class PickRoundAdmin(ReadOnlyAdmin):
    """Rounds."""

    list_display = ("id", "for_what", "state", "started_by", "started_at", "ended_at")
    list_filter = ("state",)
    list_select_related = ("started_by",)
    search_fields = ("for_what", "bags__job__job")


@admin.register(PickLine)
class PickLineAdmin(ReadOnlyAdmin):
    """Lines of rounds."""

    list_display = ("pick_round", "number", "place", "lot", "state")
    list_filter = ("state",)
    list_select_related = ("pick_round", "place", "lot__item")
    search_fields = ("lot__item__part_number", "lot__lot", "place__place")


@admin.register(Confirmation)
class ConfirmationAdmin(ReadOnlyAdmin):
    """What was said of lines."""

    list_display = ("line", "by", "at", "reason", "undone_by", "undone_at")
    list_select_related = ("line__pick_round", "by", "undone_by")
    search_fields = ("line__lot__item__part_number", "reason")


@admin.register(SentJob)
class SentJobAdmin(ReadOnlyAdmin):
    """Jobs that were sent to the storeroom."""

    list_display = ("job", "build_on", "by", "at", "back_by", "back_at")
    list_select_related = ("job", "by", "back_by")
    search_fields = ("job__job",)
