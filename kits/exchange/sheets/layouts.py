"""The sheets and their columns, as one table: everything that reads, writes or explains a sheet follows it.

``reads`` names how a cell is read:

======================  =====================================================================================
text                    free text, kept as it stands
mark                    a text that names something (lot, job, serial, place): never a number or a date
part                    a part number: a mark that is looked up among the items
parts_list              several marks with ``;`` between
word                    one of ``words``
yes_no                  yes or no
whole                   a whole number, ``least`` or more
quantity                a number above zero in the unit beside it, or in the item's stock unit
stock                   a number, zero or more, in the item's stock unit
rate                    a number between 0 and 100
money                   a price
day                     a calendar date
use_by                  a calendar date, or a month, which means its last day
setting                 text, number or date, kept as text
lead                    working days, or weeks as ``14 w``
unit                    a unit of measure
options                 ``name=value`` with ``;`` between
life                    years, or the word ``unlimited``
least_life              ``75 %`` or ``24 m``
cure                    ``4Q20``, ``2020-Q4`` or a date
======================  =====================================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache


# One object for each column and sheet: they are compared, and kept in dictionaries, by identity.
@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One column of a sheet: its heading, how its cells are read, what a blank means."""

    name: str
    reads: str = "text"
    required: bool = False
    default: str = ""
    key: bool = False
    words: tuple[str, ...] = ()
    least: int = 0
    most: int = 1_000_000
    longest: int = 200
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One sheet: its name, its columns, what one of its rows is called, and the app that keeps it."""

    name: str
    row_is: str
    columns: tuple[Column, ...]
    also: tuple[str, ...] = ()
    key_order: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[Column, ...]:
        """The columns that tell one row from another, in the order in which they are named."""
        return _key_of(self)

    def column(self, name: str) -> Column:
        """The column of that heading."""
        return next(column for column in self.columns if column.name == name)


@cache
def _key_of(sheet: Sheet) -> tuple[Column, ...]:
    if sheet.key_order:
        return tuple(sheet.column(name) for name in sheet.key_order)
    return tuple(column for column in sheet.columns if column.key)


def _number(
    name: str = "part_number", *, key: bool = False, required: bool = True, also: tuple[str, ...] = ()
) -> Column:
    return Column(name, "part", required=required, key=key, longest=100, also=also)


def _mark(
    name: str, *, key: bool = False, required: bool = False, default: str = "", also: tuple[str, ...] = ()
) -> Column:
    return Column(name, "mark", required=required, key=key, default=default, longest=100, also=also)


def _yes_no(name: str, default: str = "", also: tuple[str, ...] = ()) -> Column:
    return Column(name, "yes_no", default=default, words=("yes", "no"), also=also)


def _word(
    name: str, words: str, *, default: str = "", required: bool = False, key: bool = False, also: tuple[str, ...] = ()
) -> Column:
    return Column(name, "word", required=required, default=default, key=key, words=tuple(words.split()), also=also)


_UNIT = Column("unit", "unit", also=("uom", "um"))
_QUANTITY = Column("quantity", "quantity", required=True, also=("qty", "count"))
_PRIORITY = Column("priority", "whole", default="5", least=1, most=9)

ITEMS = Sheet(
    "Items",
    "item",
    (
        _number(key=True, also=("number", "part_no", "part")),
        Column("description", required=True, longest=500, also=("name", "what_it_is", "desc")),
        _word("kind", "part assembly kit pump", required=True),
        Column("stock_unit", "unit", required=True, also=("unit", "uom", "um")),
        Column("material", longest=100, also=("compound",)),
        Column("hardness", longest=50, also=("shore",)),
        Column("size", longest=100),
        Column("form", longest=100),
        _word("cleanliness", "normal oxygen_clean lubricant_free", default="normal", also=("service_class",)),
        Column("shelf_life_years", "life", also=("shelf_life", "life", "life_years")),
        _yes_no("resealed_usable", "yes", also=("opened_usable",)),
        _word("source", "buy pack pack_else_buy make in_kit_only in_assembly_only"),
        _number("get_as", required=False),
        _word("issue", "counted bench", default="counted"),
        Column("lead_time", "lead", also=("lead_days", "lead")),
        Column("safety_stock", "stock", default="0"),
        Column("minimum", "stock", also=("min",)),
        Column("maximum", "stock", also=("max",)),
        Column("how_sure_percent", "rate", default="90", also=("cover_percent", "how_sure")),
        Column("unit_cost", "money", also=("cost",)),
        Column("min_life_at_receipt", "least_life", longest=20),
        _yes_no("certificate_needed", "no"),
        Column("maker_code", longest=50),
        Column("maker_number", "mark", longest=100),
        Column("other_numbers", "parts_list", longest=400, also=("also_known_as",)),
        _mark("home_place", also=("home", "bin")),
        Column("default_option", "options", longest=500, also=("default_options",)),
        Column("notes", longest=2000, also=("note", "remarks")),
    ),
    also=("parts",),
)

STRUCTURE = Sheet(
    "Structure",
    "structure line",
    (
        _number("parent", key=True, also=("assembly",)),
        _number("child", key=True, also=("part_number", "component")),
        _QUANTITY,
        _UNIT,
        _word("quantity_is_for", "one_parent whole_pump", default="one_parent"),
        _number("pump", required=False),
        _word("at_rebuild", "open renew inspect keep", also=("at_a_rebuild",)),
        Column("renewals_per_100", "rate", also=("rate_per_100",)),
        Column("renew_together", longest=100, also=("together",)),
        _word("renew_together_over", "assembly section pump", default="assembly"),
        Column("option", "options", key=True, also=("options", "only_if")),
        _yes_no("wetted", "no"),
        Column("position", key=True, longest=200, also=("place_in_the_assembly",)),
        Column("order", "whole", default="0"),
        Column("orientation", longest=500),
        Column("bench_note", longest=500, also=("note_for_the_bench",)),
        Column("figure_item", "mark", longest=50),
        Column("source"),
        Column("from_date", "day", key=True),
        Column("to_date", "day"),
        Column("from_serial", "mark", key=True, longest=50),
        Column("to_serial", "mark", longest=50),
    ),
    also=("bom", "lines"),
    key_order=("parent", "child", "position", "option", "from_date", "from_serial"),
)

SCOPES = Sheet(
    "Scopes",
    "scope row",
    (
        _number("pump", key=True),
        Column("scope", required=True, key=True, longest=100),
        _number("section", key=True),
        Column("how_many", "whole", required=True, least=1, most=1000),
        _yes_no("use_kits", "yes"),
        Column("option", "options", longest=500, also=("options",)),
        _yes_no("signed_for", "no"),
    ),
)

KIT_FITS = Sheet(
    "KitFits",
    "kit fit",
    (
        _number("kit", key=True),
        _number("fits", key=True, also=("serves", "assembly")),
        Column("option", "options", key=True, longest=300, also=("options", "only_if")),
        Column("instances", "whole", default="1", least=1, most=1000),
        _mark("set", key=True),
        _yes_no("preferred", "no"),
    ),
)

FINDING_RULES = Sheet(
    "FindingRules",
    "finding rule",
    (
        Column("finding", required=True, key=True, longest=200),
        _number("assembly", key=True),
        _word("effect", "add renew", required=True, key=True),
        _number(required=False, key=True),
        Column("quantity", "quantity", also=("qty", "count")),
        _UNIT,
        Column("note", longest=500),
    ),
)

SUBSTITUTES = Sheet(
    "Substitutes",
    "substitute",
    (
        _number(key=True),
        _number("substitute", key=True),
        _word("direction", "one_way both", required=True),
        Column("approved_by", longest=100),
        Column("note", longest=500),
    ),
)

SUPPLIERS = Sheet(
    "Suppliers",
    "supplier",
    (
        Column("supplier", "mark", required=True, key=True, longest=200),
        Column("currency", "mark", longest=10),
        Column("order_minimum_value", "money"),
        Column("small_order_charge", "money"),
        Column("certificate_charge", "money"),
        Column("transit_days", "whole", default="0", most=1000),
        Column("closed_from", "day"),
        Column("closed_to", "day"),
    ),
)

OFFERS = Sheet(
    "Offers",
    "offer",
    (
        Column("supplier", "mark", required=True, key=True, longest=200),
        _number(key=True),
        _mark("supplier_part_number", key=True),
        Column("pack_size", "quantity", default="1", key=True),
        Column("minimum_packs", "whole", default="1", least=1),
        Column("multiple_packs", "whole", default="1", least=1),
        Column("lead_time", "lead", also=("lead_days", "lead")),
        Column("price_per_pack", "money", also=("price",)),
        Column("currency", "mark", longest=10),
        Column("price_from_packs", "whole", default="1", least=1, key=True),
        Column("quoted_on", "day"),
        Column("valid_to", "day"),
    ),
)

PLACES = Sheet(
    "Places",
    "place",
    (
        _mark("place", key=True, required=True),
        Column("walk_order", "whole"),
        _word("kind", "bin staging quarantine", default="bin"),
    ),
)

LOTS = Sheet(
    "Lots",
    "lot",
    (
        _number(key=True),
        _mark("lot", key=True, required=True),
        Column("quantity", "stock", required=True, also=("qty", "count")),
        _UNIT,
        _mark("place", key=True, required=True, also=("bin",)),
        Column("cure", "cure", also=("cured", "cure_date")),
        Column("last_use", "use_by", also=("last_use_date",)),
        Column("received", "day"),
        _word("condition", "usable quarantine", default="usable", key=True),
        _word("packet", "sealed resealed loose", default="sealed", key=True),
        _mark("maker_batch"),
        _mark("certificate"),
        Column("owner", longest=200),
    ),
    also=("stock",),
)

KIT_CONTENTS = Sheet(
    "KitContents",
    "piece of a kit",
    (
        _number(key=True, also=("kit",)),
        _mark("lot", key=True, required=True, also=("kit_lot",)),
        _number("holds", key=True, also=("piece",)),
        _mark("of_lot", key=True, also=("piece_lot",)),
        Column("quantity", "stock", required=True, also=("qty", "in_one_kit")),
        _UNIT,
        Column("owed", "stock", default="0", also=("lacks",)),
    ),
)

ORDERS = Sheet(
    "Orders",
    "order line",
    (
        _mark("order", key=True, required=True, also=("purchase_order", "po")),
        Column("line", "mark", required=True, key=True, longest=50),
        Column("supplier", "mark", required=True, longest=200),
        _number(),
        _QUANTITY,
        _UNIT,
        Column("promised", "day", required=True, also=("promised_date",)),
    ),
)

SCHEDULE = Sheet(
    "Schedule",
    "job",
    (
        _mark("job", key=True, required=True),
        _number("pump"),
        Column("scope", required=True, longest=100),
        Column("build_date", "day", required=True, also=("build",)),
        Column("quantity", "whole", default="1", least=1, most=1000, also=("qty", "pumps")),
        Column("batch", "mark", longest=100),
        _PRIORITY,
        Column("option", "options", longest=500, also=("options",)),
        _word("cleanliness", "normal oxygen_clean lubricant_free", default="normal", also=("service_class",)),
        _yes_no("use_kits"),
        _mark("serial"),
        Column("customer", longest=200),
        Column("strip_date", "day", also=("strip",)),
        _word("stage", "expected here stripped building built tested shipped held cancelled", default="expected"),
        Column("held_because", longest=500),
    ),
    also=("jobs",),
)

OTHER_NEEDS = Sheet(
    "OtherNeeds",
    "need",
    (
        _mark("need", key=True, required=True),
        _number(),
        _QUANTITY,
        _UNIT,
        Column("need_date", "day", required=True),
        Column("for_whom", longest=200),
        _PRIORITY,
    ),
)

ISSUED = Sheet(
    "Issued",
    "issue",
    (
        _mark("job", key=True, required=True),
        _number(key=True),
        _mark("lot", key=True, required=True),
        _QUANTITY,
        _word("state", "reserved bagged issued returned", required=True, key=True),
        _mark("place"),
    ),
)

VERDICTS = Sheet(
    "Verdicts",
    "verdict",
    (
        _mark("job", key=True, required=True),
        Column("where", required=True, key=True, longest=300),
        _number(key=True),
        _word("verdict", "renew missing keep rework not_as_listed", required=True),
        Column("found", longest=500),
        Column("measured", longest=50),
        Column("limit", longest=50),
        Column("unit", longest=20),
        _yes_no("with_group"),
    ),
)

FINDINGS = Sheet(
    "Findings",
    "finding",
    (
        _mark("job", key=True, required=True),
        Column("finding", required=True, key=True, longest=200),
        _number("section", required=False, key=True),
        Column("found_on", "day"),
        Column("note", longest=500),
    ),
)

HOLIDAYS = Sheet(
    "Holidays",
    "holiday",
    (Column("date", "day", required=True, key=True, also=("day",)), Column("name", longest=200)),
)

SETTINGS = Sheet(
    "Settings",
    "setting",
    (_mark("name", key=True, required=True, also=("setting",)), Column("value", "setting", longest=500)),
)

SHEETS: tuple[Sheet, ...] = (
    SETTINGS,
    HOLIDAYS,
    PLACES,
    SUPPLIERS,
    ITEMS,
    STRUCTURE,
    SCOPES,
    KIT_FITS,
    FINDING_RULES,
    SUBSTITUTES,
    OFFERS,
    SCHEDULE,
    OTHER_NEEDS,
    LOTS,
    KIT_CONTENTS,
    ORDERS,
    ISSUED,
    VERDICTS,
    FINDINGS,
)
"""All sheets, each after those that its rows name."""

BY_NAME: dict[str, Sheet] = {sheet.name: sheet for sheet in SHEETS}


def fold_heading(text: object) -> str:
    """A heading without case, spaces, underscores, dashes and points, as headings and sheet names are compared."""
    return "".join(mark for mark in str(text or "").casefold() if mark.isalnum())


_SHEETS_BY_HEADING: dict[str, Sheet] = {
    fold_heading(name): sheet for sheet in SHEETS for name in (sheet.name, *sheet.also)
}


def find_sheet(name: str) -> Sheet | None:
    """The sheet of that name, compared without case, spaces or underscores, or None."""
    return _SHEETS_BY_HEADING.get(fold_heading(name))


@cache
def headings_of(sheet: Sheet) -> dict[str, Column]:
    """Folded heading -> column; an older spelling never hides a present heading."""
    found: dict[str, Column] = {}
    for column in sheet.columns:
        for spelling in column.also:
            found.setdefault(fold_heading(spelling), column)
    found.update({fold_heading(column.name): column for column in sheet.columns})
    return found
