"""Does the kit fit? Its contents against one assembly that it goes into, and how many can be packed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from bom.answers.never_asked import NeverAsked
from bom.plan import Plan
from bom.structure.arrays import Structure
from bom.values import ONE, KitFit, Line, Lot
from kits.catalog.amounts import Amount
from kits.catalog.option_words import OptionWords, in_shop_words, option_words
from kits.planning.lists.never_asked import all_never_asked
from kits.planning.sheets.pump import only_if_says
from kits.planning.words.item_names import ItemName, item_names


@dataclass(frozen=True, slots=True)
class FitRow:
    """One part of the kit or of the assembly: ``says`` is in, not in, left over or spare, ``mark`` its shape."""

    part_number: str
    what: str
    leads_to: str
    in_kit: Amount
    needed: Amount
    looked_at: Amount
    covered: Amount
    lacking: Amount
    spare: Amount
    left_over: Amount


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
    structure = plan.demand.structure
    kit = structure.index[part_number]
    fits = [fit for fit in structure.fits if fit.kit == part_number]
    words = option_words()
    compared = [(fit, *compare(structure, kit, fit, words)) for fit in fits]
    recorded = {place: in_bag(structure, lot.contents) for place, lot in bags_of(plan, part_number)}
    named = {item for _, totals, _ in compared for item in totals} | {structure.index[fit.fits] for fit in fits}
    named |= {item for held in recorded.values() for item in held}
    names = item_names(structure.items[item].part_number for item in {*named, kit})
    return KitSheet(
        fits=tuple(
            replace(
                fit_of(structure, fit, totals, depends, names, words),
                bags=tuple(bags_against(plan, totals, recorded, names)),
            )
            for fit, totals, depends in compared
        ),
        packable=packable(plan, kit),
        never_asked=tuple(row for row in all_never_asked(plan) if part_number in row.names),
    )


Totals = dict[int, list[int]]
"""By item: in the kit, renewed and looked at in the assemblies that one kit does, in millionths."""


def compare(structure: Structure, kit: int, fit: KitFit, words: OptionWords) -> tuple[Totals, list[str]]:
    """Set the contents of a kit against the assemblies that one kit does, for the newest build."""
    totals: Totals = defaultdict(lambda: [0, 0, 0])
    depends: list[str] = []
    for item, quantity in in_kit(structure, kit, fit):
        totals[item][0] += quantity
    inside = {structure.items[item].part_number for item in totals}
    for line, count in opened(structure, structure.index[fit.fits], fit, fit.instances, depends, words, inside):
        held, child = structure.lines[line], int(structure.child[line])
        column = {"renew": 1, "inspect": 2}.get(held.at_rebuild)
        if column and not structure.bench[child]:
            totals[child][column] += int(structure.quantity[line]) * count
    return dict(totals), depends


def in_kit(structure: Structure, kit: int, fit: KitFit | None = None, kits: int = 1) -> Iterator[tuple[int, int]]:
    """What some kits hold by their lists, kits inside them opened: items and millionths, one for each line."""
    for line in structure.lines_of(kit):
        child, quantity = int(structure.child[line]), int(structure.quantity[line]) * kits
        if structure.bench[child] or (fit and not agrees(structure.lines[line], fit)):
            continue
        if structure.is_kit[child]:
            yield from in_kit(structure, child, fit, quantity // ONE)
        else:
            yield child, quantity


def bags_of(plan: Plan, kit: str) -> Iterator[tuple[int, Lot]]:
    """The lots of a kit whose contents were recorded, with their places among the lots of the shop."""
    for place, lot in enumerate(plan.shop.lots):
        if lot.part_number == kit and lot.contents is not None and lot.quantity:
            yield place, lot


def in_bag(structure: Structure, contents: Iterable[tuple[str, int]] | None) -> dict[int, int]:
    """What was recorded of one kit, kits inside it opened by their lists; millionths by item."""
    held: dict[int, int] = defaultdict(int)
    for part_number, quantity in contents or ():
        item = structure.index[part_number]
        inner = in_kit(structure, item, kits=quantity // ONE) if structure.is_kit[item] else ((item, quantity),)
        for part, amount in inner:
            held[part] += amount
    return {item: amount for item, amount in held.items() if not structure.bench[item]}


def bags_against(
    plan: Plan, totals: Totals, recorded: Mapping[int, Mapping[int, int]], names: Mapping[str, ItemName]
) -> Iterator[BagFit]:
    """The bags that differ from the list, against what the assembly needs."""
    structure = plan.demand.structure
    listed = {item: row[0] for item, row in totals.items() if row[0]}
    for place, held in recorded.items():
        if {item: amount for item, amount in held.items() if amount} == listed:
            continue
        rows = [
            fit_row(names[structure.items[item].part_number], held.get(item, 0), *totals.get(item, (0, 0, 0))[1:])
            for item in {*held, *totals}
        ]
        lot = plan.shop.lots[place]
        kits = names[lot.part_number].amount(lot.quantity)
        says = fit_says(sorted(rows, key=lambda row: row.part_number))
        yield BagFit(lot.lot, lot.place, kits, says, lot.condition == "owing")


def opened(
    structure: Structure,
    assembly: int,
    fit: KitFit,
    count: int,
    depends: list[str],
    words: OptionWords,
    inside: Collection[str],
) -> Iterator[tuple[int, int]]:
    """The lines of an assembly and of all that is opened below, with how many of their parent there are."""
    for line in structure.lines_of(assembly):
        held = structure.lines[line]
        if not agrees(held, fit):
            continue
        if undecided(held, fit, words) and not meant(held, inside):
            depends.append(f"{held.child} at “{held.position}” of {held.parent}: {undecided(held, fit, words)}")
            continue
        yield line, count
        if held.at_rebuild == "open":
            times = int(structure.quantity[line]) // ONE
            yield from opened(structure, int(structure.child[line]), fit, count * times, depends, words, inside)


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
    structure: Structure,
    fit: KitFit,
    totals: Totals,
    depends: list[str],
    names: Mapping[str, ItemName],
    words: OptionWords,
) -> Fit:
    """One comparison as it is shown: what is not in the kit first."""
    rows = [fit_row(names[structure.items[item].part_number], *numbers) for item, numbers in totals.items()]
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


def unclaimed(plan: Plan, item: int) -> int:
    """What is left of an item today on lots that belong to no customer, after all that jobs claim."""
    supplies = plan.supplies
    return sum(
        int(supplies.left[supply])
        for supply in range(int(supplies.first[item]), int(supplies.first[item + 1]))
        if supplies.lot_place[supply] >= 0 and supplies.last_day[supply] >= plan.as_of and not supplies.owner[supply]
    )


def packable(plan: Plan, kit: int) -> Packable | None:
    """How many kits today's shelf could be packed into: of all that is usable, and of what no job has claimed."""
    structure = plan.demand.structure
    if structure.items[kit].source not in ("pack", "pack_else_buy"):
        return None
    each: dict[int, int] = defaultdict(int)
    for line in structure.lines_of(kit):
        if not structure.bench[structure.child[line]]:
            each[int(structure.child[line])] += int(structure.quantity[line])
    if not each:
        return None
    usable = {item: int(plan.supplies.on_hand[item]) // one for item, one in each.items()}
    free = {item: unclaimed(plan, item) // one for item, one in each.items()}
    limit, free_limit = (min(counts, key=lambda item: (counts[item], item)) for counts in (usable, free))
    return Packable(
        usable[limit], structure.items[limit].part_number, free[free_limit], structure.items[free_limit].part_number
    )
