"""The back office of the catalog."""

from __future__ import annotations

from django.contrib import admin

from kits.catalog.back_office.records import CatalogAdmin, TabularInline
from kits.catalog.back_office.setting_form import SettingForm
from kits.catalog.models import (
    FindingRule,
    Holiday,
    Item,
    KitFit,
    OtherNumber,
    ScopeSection,
    Setting,
    StructureLine,
    Substitute,
)


class OtherNumberInline(TabularInline):
    """The other numbers of an item."""

    model = OtherNumber
    extra = 0


@admin.register(Item)
class ItemAdmin(CatalogAdmin):
    """Items."""

    list_display = ("part_number", "description", "kind", "material", "source", "lead_days")
    list_filter = ("kind", "source", "issue", "cleanliness")
    search_fields = ("part_number", "folded", "description", "other_numbers__number", "maker_number")
    raw_id_fields = ("get_as",)
    inlines = (OtherNumberInline,)


@admin.register(StructureLine)
class StructureLineAdmin(CatalogAdmin):
    """Structure lines."""

    list_display = ("parent", "order", "position", "child", "at_rebuild", "option", "from_on", "to_on")
    list_filter = ("at_rebuild",)
    list_select_related = ("parent", "child")
    search_fields = ("parent__part_number", "child__part_number", "position")
    raw_id_fields = ("parent", "child", "pump")


@admin.register(ScopeSection)
class ScopeSectionAdmin(CatalogAdmin):
    """Scopes."""

    list_display = ("pump", "scope", "section", "how_many", "use_kits", "option", "signed_for")
    list_select_related = ("pump", "section")
    search_fields = ("pump__part_number", "scope", "section__part_number")
    raw_id_fields = ("pump", "section")


@admin.register(KitFit)
class KitFitAdmin(CatalogAdmin):
    """Which kit fits which assembly."""

    list_display = ("kit", "fits", "option", "instances", "set_name", "preferred")
    list_select_related = ("kit", "fits")
    search_fields = ("kit__part_number", "fits__part_number")
    raw_id_fields = ("kit", "fits")


@admin.register(FindingRule)
class FindingRuleAdmin(CatalogAdmin):
    """What named findings mean."""

    list_display = ("finding", "assembly", "effect", "item", "note")
    list_filter = ("effect",)
    list_select_related = ("assembly", "item")
    search_fields = ("finding", "assembly__part_number", "item__part_number")
    raw_id_fields = ("assembly", "item")


@admin.register(Substitute)
class SubstituteAdmin(CatalogAdmin):
    """Substitutes."""

    list_display = ("item", "substitute", "direction", "approved_by")
    list_select_related = ("item", "substitute")
    search_fields = ("item__part_number", "substitute__part_number")
    raw_id_fields = ("item", "substitute")


@admin.register(Setting)
class SettingAdmin(CatalogAdmin):
    """Settings."""

    form = SettingForm
    list_display = ("name", "value")


@admin.register(Holiday)
class HolidayAdmin(CatalogAdmin):
    """Closed days."""

    list_display = ("date", "name")
