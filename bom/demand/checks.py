"""Is the shop sound? Every fault of the lists and of the jobs at once, each tied to the row it was entered in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

import numpy as np

from bom.demand.findings import idle_faults, rule_faults, unknown_jobs
from bom.demand.positions import positions_of
from bom.demand.recipes import conditions_of, group_recipes
from bom.demand.requirements import gather_demand
from bom.errors import Fault, QuantityError, ShopError
from bom.structure.arrays import OPEN, Structure, compile_structure
from bom.structure.holdings import instances_held
from bom.structure.totals import total_requirements
from bom.values import ONE, Issue, Job, Line, Lot, Offer, OrderLine, OtherNeed, ScopeSection, Shop

GOT_INSIDE = frozenset({"in_kit_only", "in_assembly_only"})
"""Sources of what is bought as part of another number."""


def check(shop: Shop) -> tuple[Fault, ...]:
    """All faults of a shop; an empty tuple when a plan can be made from it.

    Parameters
    ----------
    shop : everything that is known
    """
    try:
        structure = compile_structure(shop.catalog)
    except ShopError as error:
        return error.faults
    faults = [*_unknown_parts(structure, shop), *_quantity_faults(structure, shop), *_overflows(structure)]
    faults += [*_scope_faults(structure), *_kit_faults(structure), *_get_as_faults(structure)]
    faults += [*_job_faults(structure, shop.jobs), *rule_faults(structure), *unknown_jobs(shop.findings, shop.jobs)]
    faults += _rows_without_a_job(shop)
    if faults:
        return tuple(faults)
    try:
        demand = gather_demand(structure, shop)
    except ShopError as error:
        return error.faults
    verdicts = (
        Fault(
            "Verdicts",
            (v.job, v.where, v.part_number),
            "where",
            f"Job {v.job} has no inspected position '{v.where}' with {v.part_number}; write the place as the strip "
            f"report prints it, such as '{_example(structure, shop, v.job)}'.",
        )
        for report in demand.reports.values()
        for v in report.unplaced
    )
    return (*verdicts, *idle_faults(structure, shop.jobs, demand.named))


def _scope_faults(structure: Structure) -> Iterator[Fault]:
    by_parent: dict[str, list[Line]] = defaultdict(list)
    for line in structure.lines:
        by_parent[line.parent].append(line)
    for (pump, scope), rows in structure.scopes.items():
        yield from _rows_of_scope(structure, by_parent, pump, scope, rows)


def _rows_of_scope(
    structure: Structure, by_parent: dict[str, list[Line]], pump: str, scope: str, rows: tuple[ScopeSection, ...]
) -> Iterator[Fault]:
    if pump not in structure.index or structure.items[structure.index[pump]].kind != "pump":
        yield Fault(
            "Scopes",
            (pump, scope, rows[0].section),
            "pump",
            f"Scope '{scope}' is for {pump}, which is not a pump among the items; correct the pump.",
        )
        return
    yield from _sections_of_scope(instances_held(by_parent, pump).counts, by_parent, rows)
    yield from _contradictions(rows)


def _sections_of_scope(
    held: Mapping[str, int], by_parent: Mapping[str, list[Line]], rows: Sequence[ScopeSection]
) -> Iterator[Fault]:
    """What a scope opens that the pump does not hold, or not so often."""
    pump, scope = rows[0].pump, rows[0].scope
    opened: dict[str, int] = defaultdict(int)
    for row in rows:
        opened[row.section] += row.how_many
        key = (pump, scope, row.section)
        if row.section not in held or row.section not in by_parent:
            yield Fault(
                "Scopes",
                key,
                "section",
                f"Scope '{scope}' opens {row.section}, but {pump} holds no assembly of that number with lines of "
                "its own; correct the section.",
            )
        elif row.how_many < 1:
            yield Fault(
                "Scopes",
                key,
                "how_many",
                f"Scope '{scope}' opens {row.how_many} of {row.section}; give 1 or more, or take the row out.",
            )
        elif opened[row.section] > held[row.section]:
            yield Fault(
                "Scopes",
                key,
                "how_many",
                f"Scope '{scope}' opens {opened[row.section]} of {row.section}, but one {pump} holds "
                f"{held[row.section]}; lower the number.",
            )


def _contradictions(rows: Sequence[ScopeSection]) -> Iterator[Fault]:
    """What the rows of one scope say differently and have to say alike."""
    pump, scope = rows[0].pump, rows[0].scope
    if len({row.use_kits for row in rows}) > 1:
        yield Fault(
            "Scopes",
            (pump, scope, rows[0].section),
            "use_kits",
            f"Scope '{scope}' of {pump} says both yes and no to kits; say the same on all its rows.",
        )
    values: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        for name, value in row.options:
            values[name].add(value)
    for name, told in values.items():
        if len(told) > 1:
            yield Fault(
                "Scopes",
                (pump, scope, rows[0].section),
                "option",
                f"Scope '{scope}' of {pump} sets {name} to {' and '.join(sorted(told))}; say one value on all its "
                "rows.",
            )


def _kit_faults(structure: Structure) -> Iterator[Fault]:
    """What is said to fit must be a kit for an assembly, with a part in common once both hold something."""
    in_force = {(fit.kit, fit.fits) for fit in structure.fits}
    for fit in structure.catalog.kit_fits:
        number, assembly = structure.index[fit.kit], structure.index[fit.fits]
        key = (fit.kit, fit.fits)
        if structure.items[number].kind != "kit":
            says = f"{fit.kit} is not of the kind kit; correct the kit, or its kind in Items."
            yield Fault("KitFits", key, "kit", says)
        elif structure.items[assembly].kind not in ("assembly", "pump"):
            says = f"Kit {fit.kit} is to fit {fit.fits}, which is not opened at a rebuild; name an assembly or a pump."
            yield Fault("KitFits", key, "fits", says)
        elif key in in_force and not _parts_in_kit(structure, number) & _parts_below(structure, assembly):
            says = (
                f"Kit {fit.kit} shares no part with {fit.fits}, so it fits nothing there; correct the assembly or the "
                "contents."
            )
            yield Fault("KitFits", key, "fits", says)


def _get_as_faults(structure: Structure) -> Iterator[Fault]:
    for number, item in enumerate(structure.items):
        if item.source not in GOT_INSIDE or item.get_as is None or item.get_as not in structure.index:
            continue
        inside = structure.lines_of(structure.index[item.get_as])
        if inside and all(structure.child[line] != number for line in inside):
            yield Fault(
                "Items",
                (item.part_number,),
                "get_as",
                f"{item.part_number} is to be got in {item.get_as}, which does not hold it; correct get_as, or add "
                f"{item.part_number} to what {item.get_as} holds.",
            )


def _parts_in_kit(structure: Structure, kit: int) -> set[int]:
    """Everything in a kit and in the kits inside it, whatever the limits of its lines."""
    return _gather(structure, kit, lambda line: bool(structure.is_kit[structure.child[line]]))


def _parts_below(structure: Structure, assembly: int) -> set[int]:
    """Everything in an assembly and in what is opened inside it, whatever the limits of its lines."""
    return _gather(structure, assembly, lambda line: structure.action[line] == OPEN)


def _gather(structure: Structure, item: int, goes_deeper: Callable[[int], bool]) -> set[int]:
    found: set[int] = set()
    stack, seen = [item], {item}
    while stack:
        for line in structure.lines_of(stack.pop()):
            child = int(structure.child[line])
            found.add(child)
            if child not in seen and goes_deeper(line):
                seen.add(child)
                stack.append(child)
    return found


def _job_faults(structure: Structure, jobs: Iterable[Job]) -> Iterator[Fault]:
    for job in jobs:
        if job.pump not in structure.index or structure.items[structure.index[job.pump]].kind != "pump":
            yield Fault(
                "Schedule",
                (job.job,),
                "pump",
                f"Job {job.job} is for {job.pump}, which is not a pump among the items; correct the pump.",
            )
        elif (job.pump, job.scope) not in structure.scopes:
            known = sorted(scope for pump, scope in structure.scopes if pump == job.pump)
            told = f"known for it: {', '.join(known)}" if known else "it has no scopes yet; add one to Scopes"
            yield Fault(
                "Schedule",
                (job.job,),
                "scope",
                f"Job {job.job} asks for scope '{job.scope}', which {job.pump} does not have; {told}.",
            )
        if job.quantity < 1:
            yield Fault(
                "Schedule", (job.job,), "quantity", f"Job {job.job} is for {job.quantity} pumps; give 1 or more."
            )


def _rows_without_a_job(shop: Shop) -> Iterator[Fault]:
    """Verdicts and issued pieces of jobs that nobody has scheduled: they would count for nothing, without a word."""
    numbers = {job.job for job in shop.jobs}
    remedy = "correct the job, or schedule it first"
    for row in shop.verdicts:
        if row.job not in numbers:
            says = f"There is no job {row.job} for the verdict on {row.part_number} at '{row.where}'; {remedy}."
            yield Fault("Verdicts", (row.job, row.where, row.part_number), "job", says)
    for issue in shop.issues:
        if issue.job not in numbers:
            says = f"There is no job {issue.job} for what is {issue.state} of {issue.part_number}; {remedy}."
            yield Fault("Issued", (issue.job, issue.part_number, issue.lot, issue.state), "job", says)


_PartRow = Lot | OrderLine | OtherNeed | Issue | Offer


def _lists_of_parts(shop: Shop) -> tuple[tuple[str, Sequence[_PartRow], tuple[str, ...]], ...]:
    """The lists whose rows name a part: sheet, rows, and the fields of the key."""
    return (
        ("Lots", shop.lots, ("part_number", "lot", "place")),
        ("Orders", shop.orders, ("order", "line")),
        ("OtherNeeds", shop.needs, ("need",)),
        ("Issued", shop.issues, ("job", "part_number", "lot", "state")),
        ("Offers", shop.catalog.offers, ("supplier", "part_number")),
    )


def _overflows(structure: Structure) -> Iterator[Fault]:
    """Pumps whose quantities multiply beyond what can be counted; looked at one by one only when there is one."""
    pumps = np.array([item.kind == "pump" for item in structure.items], bool)
    try:
        total_requirements(structure, np.where(pumps, ONE, 0))
    except QuantityError:
        for number in np.flatnonzero(pumps).tolist():
            try:
                total_requirements(structure, np.where(np.arange(pumps.size) == number, ONE, 0))
            except QuantityError as error:
                name = structure.items[number].part_number
                yield Fault("Items", (name,), "part_number", f"One {name}: {error}")


def _unknown_parts(structure: Structure, shop: Shop) -> Iterator[Fault]:
    for sheet, rows, key in _lists_of_parts(shop):
        for row in rows:
            if row.part_number not in structure.index:
                yield _unknown(sheet, tuple(getattr(row, name) for name in key), "part_number", row.part_number)
    for item in structure.items:
        if item.get_as and item.get_as not in structure.index:
            yield _unknown("Items", (item.part_number,), "get_as", item.get_as)


def _unknown(sheet: str, key: tuple[str, ...], column: str, part: str) -> Fault:
    return Fault(sheet, key, column, f"Part {part} is not among the items; add it to Items first.")


def _quantity_faults(structure: Structure, shop: Shop) -> Iterator[Fault]:
    """Stock below nought, and pieces that are not whole."""
    for sheet, rows, key in _lists_of_parts(shop):
        for row in rows:
            if isinstance(row, Offer) or row.part_number not in structure.index:
                continue
            told = f"{row.quantity / ONE:g} of {row.part_number}"
            if row.quantity < 0:
                says = f"{told} is below zero, which nothing can hold; count it and give zero or more."
            elif row.quantity % ONE and structure.countable[structure.index[row.part_number]]:
                says = f"{told} cannot be, as it is counted in pieces; give a whole number."
            else:
                continue
            yield Fault(sheet, tuple(getattr(row, name) for name in key), "quantity", says)


def _example(structure: Structure, shop: Shop, name: str) -> str:
    """One place of this job, as it is printed."""
    job = next(job for job in shop.jobs if job.job == name)
    recipes, _ = group_recipes(structure, [job], frozenset())
    places = positions_of(structure, conditions_of(structure, recipes), 0, recipes[0], frozenset())
    return places[0].where if places else "pump 1"
