"""The sheet of one pump: its sections, its structure with running products, its scopes and the kits of each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from bom.plan import Plan
from bom.reading import HeldLine, Lists
from bom.values import ONE, Line, ScopeSection
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.catalog.models import Item
from kits.catalog.queries import OptionWords, in_shop_words, option_words
from kits.catalog.words import ItemKind
from kits.planning.queries import reading_of
from kits.planning.sheets.items.part_strips import AssemblyStrip, pump_strips
from kits.planning.words.item_names import item_names
from kits.planning.words.line_notes import LineNotes, line_note, read_line_notes
from kits.planning.words.pump_drawing import DrawnSection, drawn_sections

AT_REBUILD_SAYS = {"open": "opened", "renew": "renewed", "inspect": "looked at", "keep": "goes back in", "": "inside"}


@dataclass(frozen=True, slots=True)
class TreeRow:
    """One line of the indented list; ``product`` is the running product that ends in ``total``, as in one pump."""

    depth: int
    part_number: str
    leads_to: str
    what: str
    position: str
    product: str
    total: Amount
    at_rebuild: str
    only_if: str
    note: str
    opened: bool


@dataclass(frozen=True, slots=True)
class ScopeRow:
    """One scope: what it opens, and the kits that fit what it opens."""

    scope: str
    opens: tuple[tuple[int, str], ...]
    options: str
    uses_kits: bool
    kits: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class PumpSheet:
    """Everything on the sheet of one pump."""

    part_number: str
    what: str
    notes: str
    default_options: str
    sections: tuple[DrawnSection, ...]
    rows: tuple[TreeRow, ...]
    scopes: tuple[ScopeRow, ...]
    parts: int
    holds: frozenset[str]


@dataclass(frozen=True, slots=True)
class DrawnPump:
    """A pump part by part: itself and each of its assemblies once, with how many of it one pump holds."""

    part_number: str
    what: str
    strips: tuple[AssemblyStrip, ...]


@dataclass(frozen=True, slots=True)
class _Way:
    """The way down to an assembly: how many of it there are, and the numbers that multiply to it, nearest first."""

    count: int = 1
    factors: tuple[int, ...] = ()


def pump_sheet(plan: Plan, part_number: str) -> PumpSheet | None:
    """The sheet of a pump, or nothing where no pump bears this number; five statements."""
    pump = Item.objects.filter(part_number=part_number, kind=ItemKind.PUMP).first()
    lists = reading_of(plan).lists
    if pump is None or part_number not in lists:
        return None
    reached = tuple(walk(lists, part_number, _Way(), 0))
    numbers = {held.parent for _, held, _ in reached}
    children = {held.child for _, held, _ in reached}
    notes, words = read_line_notes(numbers), option_words()
    items = items_by_number(children)
    rows = tuple(tree_row(held, way, depth, items, notes, words) for depth, held, way in reached)
    return PumpSheet(
        part_number=pump.part_number,
        what=pump.description,
        notes=pump.notes,
        default_options=in_shop_words(lists.items[part_number].default_options, words),
        sections=drawn_sections(lists, part_number),
        rows=rows,
        scopes=tuple(scope_rows(lists, part_number, words)),
        parts=sum(items[child].kind == ItemKind.PART for child in children),
        holds=frozenset(numbers),
    )


def drawn_pump(plan: Plan, part_number: str) -> DrawnPump | None:
    """A pump drawn part by part, or nothing where no pump bears this number; four statements."""
    pump = Item.objects.filter(part_number=part_number, kind=ItemKind.PUMP).first()
    lists = reading_of(plan).lists
    if pump is None or part_number not in lists:
        return None
    reached = [(held, way.count) for _, held, way in walk(lists, part_number, _Way(), 0)]
    numbers = {held.parent for held, _ in reached}
    names, words = item_names(numbers | {held.child for held, _ in reached}), option_words()
    strips = pump_strips(
        reached,
        names,
        read_line_notes(numbers),
        lambda line: only_if_says(line, words),
        lambda part: lists.items[part].bench,
    )
    return DrawnPump(pump.part_number, pump.description, strips)


def walk(lists: Lists, assembly: str, way: _Way, depth: int) -> Iterator[tuple[int, HeldLine, _Way]]:
    """Every line below an item: depth, line, and the way to its parent; each assembly is opened where it stands."""
    for held in lists.inside(assembly):
        yield depth, held, way
        if lists.items[held.child].countable:
            count = held.quantity // ONE
            yield from walk(lists, held.child, _Way(way.count * count, (count, *way.factors)), depth + 1)


def tree_row(
    held: HeldLine,
    way: _Way,
    depth: int,
    items: Mapping[str, Item],
    notes: LineNotes,
    words: OptionWords,
) -> TreeRow:
    """One line as it is shown."""
    item, line = items[held.child], held.line
    one = Amount.of(held.quantity, item.stock_unit)
    return TreeRow(
        depth=depth,
        part_number=item.part_number,
        leads_to="kit" if item.kind == ItemKind.KIT else "part",
        what=item.description,
        position=line.position,
        product=" × ".join((f"{one.text} per {held.parent}", *map(str, way.factors))),
        total=Amount.of(held.quantity * way.count, item.stock_unit),
        at_rebuild=at_rebuild_says(line),
        only_if=only_if_says(line, words),
        note=line_note(notes, line),
        opened=item.kind == ItemKind.ASSEMBLY,
    )


def at_rebuild_says(line: Line) -> str:
    """What a rebuild does with the line, with the rate of what is looked at."""
    says = AT_REBUILD_SAYS[line.at_rebuild]
    if line.at_rebuild != "inspect":
        return says
    rate = "no rate known" if line.renewals_per_100 is None else f"{float(line.renewals_per_100):g} in 100 renewed"
    together = f", together: {line.renew_together}" if line.renew_together else ""
    return f"{says}, {rate}{together}"


def only_if_says(line: Line, words: OptionWords) -> str:
    """The conditions under which the line is met."""
    says = [in_shop_words(line.options, words)] if line.options else []
    says += [f"from {in_full(line.from_on)}"] if line.from_on else []
    says += [f"to {in_full(line.to_on)}"] if line.to_on else []
    says += [f"from serial {line.from_serial}"] if line.from_serial else []
    says += [f"to serial {line.to_serial}"] if line.to_serial else []
    return ", ".join(says)


def scope_rows(lists: Lists, pump: str, words: OptionWords) -> Iterator[ScopeRow]:
    """The scopes of a pump in the order of their sheet."""
    for scope in lists.scopes_by_pump.get(pump, ()):
        sections = lists.scopes[pump, scope]
        uses_kits = all(section.use_kits for section in sections)
        options = dict(pair for section in sections for pair in section.options)
        yield ScopeRow(
            scope=scope,
            opens=tuple((section.how_many, section.section) for section in sections),
            options=in_shop_words(sorted(options.items()), words),
            uses_kits=uses_kits,
            kits=tuple(kits_of_scope(lists, sections, words)) if uses_kits else (),
        )


def kits_of_scope(lists: Lists, sections: Iterable[ScopeSection], words: OptionWords) -> Iterator[tuple[str, str]]:
    """The kits that fit what a scope opens, with their conditions: the first assembly on each way down takes one."""
    for assembly in dict.fromkeys(
        assembly for section in sections for assembly in first_fitting(lists, section.section)
    ):
        for fit in lists.fits_of(assembly):
            yield fit.kit, in_shop_words(fit.options, words)


def first_fitting(lists: Lists, assembly: str) -> Iterator[str]:
    """The assemblies below (or at) one for which there are kits, nearest first on each way down."""
    if lists.fits_of(assembly):
        yield assembly
        return
    for held in lists.inside(assembly):
        if held.line.at_rebuild == "open":
            yield from first_fitting(lists, held.child)


def items_by_number(numbers: Iterable[str]) -> dict[str, Item]:
    """Items by part number; one statement."""
    return {item.part_number: item for item in Item.objects.filter(part_number__in=numbers)}
