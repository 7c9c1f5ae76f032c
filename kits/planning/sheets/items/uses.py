"""Where an item is used: the lines that hold it, and every pump with each way down to it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.reading import HeldLine, Lists
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.catalog.queries import OptionWords, option_words
from kits.catalog.words import ItemKind
from kits.planning.queries import kept_beside, reading_of
from kits.planning.sheets.items.pump import at_rebuild_says, only_if_says
from kits.planning.words.item_names import ItemName, item_names


@dataclass(frozen=True, slots=True)
class UsedIn:
    """A line of the structure seen from one end: the item at the other, how many, and what a rebuild does with it."""

    part_number: str
    what: str
    leads_to: str
    position: str
    amount: Amount
    at_rebuild: str
    only_if: str


@dataclass(frozen=True, slots=True)
class InPump:
    """How many of the part one pump holds, each way down with its product."""

    pump: str
    what: str
    ways: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WayUp:
    """A way up from a part to a pump, the part's own line first."""

    lines: tuple[HeldLine, ...]


@dataclass(frozen=True, slots=True)
class UsesSheet:
    """Everything that holds an item: pumps with each way down to it, and the lines of assemblies and kits."""

    part_number: str
    what: str
    leads_to: str
    as_of: date
    pumps: tuple[InPump, ...]
    lines: tuple[UsedIn, ...]


def uses_sheet(plan: Plan, item: Item) -> UsesSheet:
    """All uses of an item; two statements."""
    lists, number = reading_of(plan).lists, item.part_number
    above, pumps = lists.holding(number), tuple(pumps_holding(lists, number))
    names = item_names([number, *(held.parent for held in above), *(pump for pump, _ in pumps)])
    name, words = names[number], kept_beside(plan, "option words", option_words)
    return UsesSheet(
        part_number=number,
        what=name.what,
        leads_to=name.leads_to,
        as_of=plan.shop.as_of,
        pumps=tuple(in_pump(name, names[pump], ways, words) for pump, ways in pumps),
        lines=tuple(used_in(held, names, words) for held in above),
    )


def used_in(held: HeldLine, names: Mapping[str, ItemName], words: OptionWords) -> UsedIn:
    """A line seen from its child."""
    return line_row(held, names[held.parent], names[held.child], words)


def held_by(held: HeldLine, names: Mapping[str, ItemName], words: OptionWords) -> UsedIn:
    """A line seen from its parent."""
    return line_row(held, names[held.child], names[held.child], words)


def line_row(held: HeldLine, other: ItemName, counted: ItemName, words: OptionWords) -> UsedIn:
    """A line with the item at its other end."""
    return UsedIn(
        part_number=other.part_number,
        what=other.what,
        leads_to=other.leads_to,
        position=held.line.position,
        amount=counted.amount(held.quantity),
        at_rebuild=at_rebuild_says(held.line) if held.line.at_rebuild else "",
        only_if=only_if_says(held.line, words),
    )


def pumps_holding(lists: Lists, part_number: str) -> Iterator[tuple[str, tuple[WayUp, ...]]]:
    """Every pump that holds an item, with each way down to it."""
    ways: dict[str, list[WayUp]] = {}
    stack = [WayUp((held,)) for held in lists.holding(part_number)]
    while stack:
        way = stack.pop()
        parent = way.lines[-1].parent
        kind = lists.items[parent].kind
        if kind == ItemKind.PUMP:
            ways.setdefault(parent, []).append(way)
        elif kind != ItemKind.KIT:
            stack += [WayUp((*way.lines, above)) for above in lists.holding(parent)]
    return ((pump, tuple(found)) for pump, found in sorted(ways.items()))


def in_pump(name: ItemName, holder: ItemName, ways: Iterable[WayUp], words: OptionWords) -> InPump:
    """How many of an item one pump holds; lines that are alternatives of each other are named with their condition."""
    lines = []
    for way in sorted(ways, key=lambda way: [held.turn for held in reversed(way.lines)]):
        own, *above = way.lines
        total = own.quantity
        for held in above:
            total *= held.quantity // ONE
        factors = [f"{name.amount(own.quantity).text} per {own.parent}"]
        factors += [f"{held.quantity // ONE} {held.child}" for held in above]
        only_if = ", ".join(filter(None, (only_if_says(held.line, words) for held in way.lines)))
        lines.append(f"{' × '.join(factors)} = {name.amount(total).text}{f', only if {only_if}' if only_if else ''}")
    return InPump(holder.part_number, holder.what, tuple(lines))
