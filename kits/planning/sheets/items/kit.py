"""Does the kit fit? Its contents against one assembly that it goes into, and how many can be packed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from bom.plan import Plan
from bom.reading import HeldLine, Lists, NeverAsked, Reading
from bom.values import ONE, KitFit, Line, Lot
from kits.catalog.amounts import Amount
from kits.catalog.queries import OptionWords, in_shop_words, option_words
from kits.planning.lists.never_asked import all_never_asked
from kits.planning.queries import kept_beside, reading_of
from kits.planning.sheets.items.part_strips import AssemblyStrip, kit_strips
from kits.planning.sheets.items.pump import only_if_says
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.line_notes import read_line_notes
from kits.planning.words.part_kinds import kind_of
from kits.planning.words.part_strip import DrawnPieces


@dataclass(frozen=True, slots=True)
class FitRow:
    """One part of the kit or of the assembly, and the ``kind`` as which it is drawn."""

    part_number: str
    kind: str
    what: str
    leads_to: str
    in_kit: Amount
    needed: Amount
    looked_at: Amount
    covered: Amount
    lacking: Amount
    spare: Amount
    left_over: Amount

    @property
    def needs(self) -> tuple[DrawnPieces, ...]:
        """What the assembly asks for, as it is drawn: renewed full, looked at open."""
        return DrawnPieces("new", self.needed, "renewed"), DrawnPieces("open", self.looked_at, "looked at")

    @property
    def brings(self) -> tuple[DrawnPieces, ...]:
        """What the kit has of that: in it full, not in it dashed, spare open, left over dotted."""
        return (
            DrawnPieces("new", self.covered, "in the kit"),
            DrawnPieces("lack", self.lacking, "not in the kit"),
            DrawnPieces("open", self.spare, "spare for inspection"),
            DrawnPieces("out", self.left_over, "left over"),
        )


@dataclass(frozen=True, slots=True)
class BagFit:
    """Kits of one lot that hold other than their list, as they are; ``owing`` are no whole kits until filled up."""

    lot: str
    place: str
    kits: Amount
    says: str
    owing: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """The kit against the assemblies that one of it does. ``depends`` are lines that only some jobs meet."""

    fits: str
    what: str
    instances: int
    condition: str
    says: str
    rows: tuple[FitRow, ...]
    depends: tuple[str, ...]
    bags: tuple[BagFit, ...]
    strips: tuple[AssemblyStrip, ...] = ()


@dataclass(frozen=True, slots=True)
class Packable:
    """How many kits the shelf could be packed into today, and the part that limits it."""

    kits: int
    limit: str
    free_kits: int
    free_limit: str


@dataclass(frozen=True, slots=True)
class KitSheet:
    """What the sheet of a kit shows besides that of a part; ``never_asked`` says why no scope takes it."""

    fits: tuple[Fit, ...]
    packable: Packable | None
    never_asked: tuple[NeverAsked, ...]


def kit_sheet(plan: Plan, part_number: str) -> KitSheet:
    """The fits of a kit; two statements."""
    reading, words = reading_of(plan), kept_beside(plan, "option words", option_words)
    lists = reading.lists
    compared = [(fit, *compare(lists, fit, words)) for fit in lists.fits if fit.kit == part_number]
    recorded = [(row.lot, in_bag(lists, row.lot.contents)) for row in reading.rows_of(part_number) if is_bag(row.lot)]
    named = {part for _, totals, _ in compared for part in totals} | {fit.fits for fit, *_ in compared}
    named |= {part for _, held in recorded for part in held}
    lines = [list(opened(lists, fit.fits, fit, fit.instances, [], words, totals)) for fit, totals, _ in compared]
    named |= {part for some in lines for held, _ in some for part in (held.parent, held.child)}
    names = item_names({*named, part_number})
    parents = {held.parent for some in lines for held, _ in some}
    notes = kept_beside(plan, f"notes of what {part_number} fits", lambda: read_line_notes(parents))
    return KitSheet(
        fits=tuple(
            replace(
                shown,
                bags=tuple(bags_against(totals, recorded, names)),
                strips=kit_strips(
                    some,
                    {part: row[0] for part, row in totals.items()},
                    {row.part_number: row.left_over.millionths for row in shown.rows if row.left_over},
                    names,
                    notes,
                    lambda part: lists.items[part].bench,
                ),
            )
            for (fit, totals, depends), some in zip(compared, lines, strict=True)
            for shown in (fit_of(fit, totals, depends, names, words),)
        ),
        packable=packable(reading, part_number),
        never_asked=tuple(row for row in all_never_asked(plan) if part_number in row.names),
    )


Totals = dict[str, list[int]]
"""By part: in the kit, renewed and looked at in the assemblies that one kit does, in millionths."""


def compare(lists: Lists, fit: KitFit, words: OptionWords) -> tuple[Totals, list[str]]:
    """Set the contents of a kit against the assemblies that one kit does, for the newest build."""
    totals: Totals = defaultdict(lambda: [0, 0, 0])
    depends: list[str] = []
    for part, quantity in in_kit(lists, fit.kit, fit):
        totals[part][0] += quantity
    inside = frozenset(totals)
    for held, count in opened(lists, fit.fits, fit, fit.instances, depends, words, inside):
        column = {"renew": 1, "inspect": 2}.get(held.line.at_rebuild)
        if column and not lists.items[held.child].bench:
            totals[held.child][column] += held.quantity * count
    return dict(totals), depends


def in_kit(lists: Lists, kit: str, fit: KitFit | None = None, kits: int = 1) -> Iterator[tuple[str, int]]:
    """What some kits hold by their lists, kits inside them opened: parts and millionths, one for each line."""
    for held in lists.inside(kit):
        child, quantity = lists.items[held.child], held.quantity * kits
        if child.bench or (fit and not agrees(held.line, fit)):
            continue
        if child.kind == "kit":
            yield from in_kit(lists, held.child, fit, quantity // ONE)
        else:
            yield held.child, quantity


def is_bag(lot: Lot) -> bool:
    """Whether it was recorded what the kits of a lot hold."""
    return lot.contents is not None and lot.quantity > 0


def in_bag(lists: Lists, contents: Iterable[tuple[str, int]] | None) -> dict[str, int]:
    """What was recorded of one kit, kits inside it opened by their lists; millionths by part."""
    held: dict[str, int] = defaultdict(int)
    for part_number, quantity in contents or ():
        is_kit = lists.items[part_number].kind == "kit"
        inner = in_kit(lists, part_number, kits=quantity // ONE) if is_kit else ((part_number, quantity),)
        for part, amount in inner:
            held[part] += amount
    return {part: amount for part, amount in held.items() if not lists.items[part].bench}


def bags_against(
    totals: Totals, recorded: Iterable[tuple[Lot, Mapping[str, int]]], names: Mapping[str, ItemName]
) -> Iterator[BagFit]:
    """The bags that differ from the list, against what the assembly needs."""
    listed = {part: row[0] for part, row in totals.items() if row[0]}
    for lot, held in recorded:
        if {part: amount for part, amount in held.items() if amount} == listed:
            continue
        rows = [fit_row(names[part], held.get(part, 0), *totals.get(part, (0, 0, 0))[1:]) for part in {*held, *totals}]
        kits = names[lot.part_number].amount(lot.quantity)
        says = fit_says(sorted(rows, key=lambda row: row.part_number))
        yield BagFit(lot.lot, lot.place, kits, says, lot.condition == "owing")


def opened(
    lists: Lists,
    assembly: str,
    fit: KitFit,
    count: int,
    depends: list[str],
    words: OptionWords,
    inside: Collection[str],
) -> Iterator[tuple[HeldLine, int]]:
    """The lines of an assembly and of all that is opened below, with how many of their parent there are."""
    for held in lists.inside(assembly):
        line = held.line
        if not agrees(line, fit):
            continue
        if undecided(line, fit, words) and not meant(line, inside):
            depends.append(f"{line.child} at “{line.position}” of {line.parent}: {undecided(line, fit, words)}")
            continue
        yield held, count
        if line.at_rebuild == "open":
            yield from opened(lists, line.child, fit, count * (held.quantity // ONE), depends, words, inside)


def meant(line: Line, inside: Collection[str]) -> bool:
    """Whether a line that depends on options alone is what the kit was made for: its part is in the kit."""
    limited = line.from_on or line.to_on or line.from_serial or line.to_serial
    return line.child in inside and not limited


def agrees(line: Line, fit: KitFit) -> bool:
    """Whether no option of a line contradicts the kit's own."""
    own = dict(fit.options)
    return all(own.get(name, value) == value for name, value in line.options)


def undecided(line: Line, fit: KitFit, words: OptionWords) -> str:
    """The conditions of a line that the kit's options leave open; empty where the line is always met."""
    open_options = any(name not in dict(fit.options) for name, _ in line.options)
    limited = line.from_on or line.to_on or line.from_serial or line.to_serial
    return f"only if {only_if_says(line, words)}" if open_options or limited else ""


def fit_of(
    fit: KitFit,
    totals: Totals,
    depends: list[str],
    names: Mapping[str, ItemName],
    words: OptionWords,
) -> Fit:
    """One comparison as it is shown: what is not in the kit first."""
    rows = [fit_row(names[part], *numbers) for part, numbers in totals.items()]
    rows = [row for row in rows if row.in_kit or row.needed]
    rows.sort(key=lambda row: (not row.lacking, not row.left_over, not row.spare, row.part_number))
    return Fit(
        fits=fit.fits,
        what=names[fit.fits].what,
        instances=fit.instances,
        condition=in_shop_words(fit.options, words),
        says=fit_says(rows),
        rows=tuple(rows),
        depends=tuple(depends),
        bags=(),
    )


def fit_row(name: ItemName, in_kit: int, needed: int, looked_at: int) -> FitRow:
    """One part on both sides."""
    covered = min(in_kit, needed)
    spare = min(in_kit - covered, looked_at)
    return FitRow(
        part_number=name.part_number,
        kind=kind_of(name),
        what=name.what,
        leads_to=name.leads_to,
        in_kit=name.amount(in_kit),
        needed=name.amount(needed),
        looked_at=name.amount(looked_at),
        covered=name.amount(covered),
        lacking=name.amount(needed - covered),
        spare=name.amount(spare),
        left_over=name.amount(in_kit - covered - spare),
    )


def fit_says(rows: list[FitRow]) -> str:
    """The answer in one sentence."""
    lacking = [f"{row.lacking.text} × {row.part_number}" for row in rows if row.lacking]
    left_over = [f"{row.left_over.text} × {row.part_number}" for row in rows if row.left_over]
    if not lacking and not left_over:
        return "It fits: everything that is renewed is in the kit, and nothing is left over."
    says = f"Not in the kit, and needed loose: {', '.join(lacking)}. " if lacking else "Nothing is missing. "
    return says + (f"Left over: {', '.join(left_over)}." if left_over else "")


def packable(reading: Reading, kit: str) -> Packable | None:
    """How many kits today's shelf could be packed into: of all that is usable, and of what no job has claimed.

    Into a clean kit go sealed packets only.
    """
    held = reading.items[kit]
    if held.source not in ("pack", "pack_else_buy"):
        return None
    each: dict[str, int] = defaultdict(int)
    for line in reading.lists.inside(kit):
        if not reading.items[line.child].bench:
            each[line.child] += line.quantity
    if not each:
        return None
    clean = held.cleanliness != "normal"
    usable, free = {}, {}
    for part in (part for part in reading.items if part in each):
        rows = reading.rows_of(part) if clean else ()
        opened_ones = sum(row.lot.quantity for row in rows if row.usable and row.lot.packet != "sealed")
        usable[part] = max(0, reading.stock_of(part).on_hand - opened_ones) // each[part]
        free[part] = reading.unclaimed(part, sealed=clean) // each[part]
    limit, free_limit = (min(counts, key=counts.__getitem__) for counts in (usable, free))
    return Packable(usable[limit], limit, free[free_limit], free_limit)
