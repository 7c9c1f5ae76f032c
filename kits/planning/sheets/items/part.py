"""The sheet of one part: its numbers, its lots, where it is used, who asks for it, and needed against in hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.days.words import span_of
from kits.catalog.folding import fold
from kits.catalog.models import Item, Substitute
from kits.catalog.queries import option_words
from kits.catalog.rings.sizes import in_both
from kits.catalog.words import Direction, ItemKind
from kits.planning.lists.buy_lists import PricedList, WearList, sure_list, top_up_list, wear_list
from kits.planning.queries import kept_beside, reading_of
from kits.planning.questions.week_table import WeekTable, week_table
from kits.planning.sheets.items.curves import Curves, curves_of
from kits.planning.sheets.items.uses import InPump, UsedIn, held_by, in_pump, pumps_holding, used_in
from kits.planning.words.figure_heads import FigureHead, figure_heads
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.row_figures import rows_of_part
from kits.planning.words.why_words import Said
from kits.planning.words.workings import Working, working
from kits.stock.lists.shelf_facts import shelf_of_item
from kits.stock.lists.shelf_list import ShelfRow, row_of
from kits.stock.packets import may_be_resealed

MOST_ASKERS = 60
MOST_USES = 10
MOST_PUMPS = 10


@dataclass(frozen=True, slots=True)
class Coming:
    """An open order line of the part."""

    order: str
    line: str
    supplier: str
    quantity: Amount
    promised: date
    overdue: bool


@dataclass(frozen=True, slots=True)
class SubstituteRow:
    """A part that may stand in for this one, or that this one may stand in for."""

    part_number: str
    what: str
    says: str


@dataclass(frozen=True, slots=True)
class PartSheet:
    """Everything that stands on the sheet of one part; of long lists of uses the first, and how many more there are."""

    item: Item
    as_of: date
    says: str
    facts: tuple[tuple[str, str], ...]
    stand_ins: tuple[SubstituteRow, ...]
    lots: tuple[ShelfRow, ...]
    coming: tuple[Coming, ...]
    holds: tuple[UsedIn, ...]
    used_in: tuple[UsedIn, ...]
    pumps: tuple[InPump, ...]
    kits: tuple[UsedIn, ...]
    more_uses: int
    more_pumps: int
    more_kits: int
    sure: PricedList
    top_up: PricedList
    wear: WearList
    working: Working | None
    figures: tuple[FigureHead, ...]
    rows: tuple[Said, ...]
    curves: Curves | None
    weeks: WeekTable | None


def find_item(number: str) -> Item | None:
    """One item with its other numbers; two statements."""
    return Item.objects.select_related("get_as").prefetch_related("other_numbers").filter(folded=fold(number)).first()


def part_sheet(plan: Plan, item: Item) -> PartSheet:
    """The sheet of a part; six statements."""
    reading, number = reading_of(plan), item.part_number
    inside, above = reading.lists.inside(number), reading.lists.holding(number)
    pumps = tuple(pumps_holding(reading.lists, number))
    names = item_names(
        [number, *(held.child for held in inside), *(held.parent for held in above), *(pump for pump, _ in pumps)]
    )
    name, words = names[number], kept_beside(plan, "option words", option_words)
    asked = bool(reading.needs_of(number))
    worked = working(reading, names[number], frozenset(), MOST_ASKERS) if asked else None
    kits = [held for held in above if names[held.parent].leads_to == "kit"]
    used = [held for held in above if names[held.parent].leads_to != "kit"]
    return PartSheet(
        item=item,
        as_of=plan.shop.as_of,
        says=worked.balance if worked else "",
        facts=tuple(facts_of(item)),
        stand_ins=tuple(stand_ins_of(item)),
        lots=tuple(lots_of(item, plan.shop.as_of)),
        coming=tuple(coming(plan, item.part_number, name)),
        holds=tuple(held_by(held, names, words) for held in inside),
        used_in=tuple(used_in(held, names, words) for held in used[:MOST_USES]),
        pumps=tuple(in_pump(name, names[pump], ways, words) for pump, ways in pumps[:MOST_PUMPS]),
        kits=tuple(used_in(held, names, words) for held in kits[:MOST_USES]),
        more_uses=max(0, len(used) - MOST_USES),
        more_pumps=max(0, len(pumps) - MOST_PUMPS),
        more_kits=max(0, len(kits) - MOST_USES),
        sure=sure_list(reading, reading.askers, names, {}, {number}),
        top_up=top_up_list(reading, names, {number}),
        wear=wear_list(reading, (number,), names),
        working=worked,
        figures=figure_heads(plan, number, name.amount(0).unit),
        rows=rows_of_part(plan, number, name.amount(0).unit),
        curves=curves_of(reading, name) if asked else None,
        weeks=week_table(plan, name),
    )


def facts_of(item: Item) -> Iterator[tuple[str, str]]:
    """What is known of an item, in the words of the shop; what is not known is left out."""
    life = span_of(item.shelf_life_months or 0)
    facts = {
        "Other numbers": ", ".join(other.number for other in item.other_numbers.all()),
        "Maker": f"{item.maker_code} {item.maker_number}".strip(),
        "Size": in_both(item.size),
        "Material": ", ".join(filter(None, (item.material, item.hardness))),
        "Cleanliness": "" if item.cleanliness == "normal" else item.get_cleanliness_display().lower(),
        "Shelf life": "unlimited" if item.shelf_life_unlimited else life,
        "Got by": got_by(item),
        "Packing time" if item.source == "pack" else "Lead time": days_says(item.lead_days),
        "Safety stock": Amount.of(item.safety_stock, item.stock_unit).text if item.safety_stock else "",
        "Minimum": Amount.of(item.minimum, item.stock_unit).text if item.minimum else "",
        "Maximum": Amount.of(item.maximum, item.stock_unit).text if item.maximum else "",
        "Counted in": "" if item.stock_unit == "each" else item.stock_unit,
        "Opened bags": "" if may_be_resealed(item) else "not used",
        "Certificate": "needed" if item.certificate_needed else "",
        "Home": item.home_place,
        "Issued": "at the bench, not counted" if item.issue == "bench" else "",
        "Notes": item.notes,
    }
    return ((fact, says) for fact, says in facts.items() if says)


def got_by(item: Item) -> str:
    """How the shop comes by an item."""
    other = item.get_as.part_number if item.get_as else ""
    return {
        "buy": "" if item.kind in (ItemKind.PUMP, ItemKind.ASSEMBLY) else "buying",
        "pack": "packing here",
        "pack_else_buy": "packing here if the parts lie free, else buying",
        "make": "making here",
        "in_kit_only": f"buying kit {other}",
        "in_assembly_only": f"buying assembly {other}",
    }[item.source]


def days_says(days: int | None) -> str:
    """A lead time."""
    return "" if days is None else f"{days} working day{'' if days == 1 else 's'}"


def stand_ins_of(item: Item) -> Iterator[SubstituteRow]:
    """Parts that may stand in for an item, then parts it may stand in for; one statement."""
    found = Substitute.objects.filter(Q(item=item) | Q(substitute=item)).select_related("item", "substitute")
    rows = sorted(found, key=lambda row: row.item_id != item.pk)
    for row in rows:
        of_it = row.item_id == item.pk
        one_way = "may stand in for it" if of_it else "it may stand in for this"
        says = one_way if row.direction == Direction.ONE_WAY else "either may stand in for the other"
        yield stand_in(row, row.substitute if of_it else row.item, says)


def stand_in(row: Substitute, other: Item, says: str) -> SubstituteRow:
    """One substitute as it is shown."""
    approved = f"; approved by {row.approved_by}" if row.approved_by else ""
    note = f" ({row.note})" if row.note else ""
    return SubstituteRow(other.part_number, other.description, f"{says}{note}{approved}")


def lots_of(item: Item, today: date) -> Iterator[ShelfRow]:
    """The lots of an item on the shelf, the one that is used first on top."""
    rows = [row_of(fact, today) for fact in shelf_of_item(item)]
    return iter(sorted(rows, key=lambda row: (row.quarantined, row.last_use_on or date.max, row.lot, row.place)))


def coming(plan: Plan, part_number: str, name: ItemName) -> Iterator[Coming]:
    """The open order lines of an item by promised day."""
    for line in plan.shop.orders:
        if line.part_number == part_number:
            overdue = line.promised < plan.shop.as_of
            yield Coming(line.order, line.line, line.supplier, name.amount(line.quantity), line.promised, overdue)
