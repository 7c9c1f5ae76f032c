"""Is the shop sound? Every fault of the lists and of the jobs at once, each tied to the row it was entered in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

import numpy as np

from bom.errors import Fault, ShopError
from bom.explosion import conditions_of, group_recipes
from bom.kit_cover import opened_contents
from bom.positions import positions_of
from bom.requirements import gather_demand
from bom.structure import Structure, compile_structure, instances_held
from bom.values import Job, Line, ScopeSection, Shop


def check(shop: Shop) -> tuple[Fault, ...]:
    """All faults of a shop; an empty tuple when a plan can be made from it."""
    try:
        structure = compile_structure(shop.catalog)
    except ShopError as error:
        return error.faults
    faults = [*_scope_faults(structure), *_kit_faults(structure), *_job_faults(structure, shop.jobs)]
    faults += _unknown_parts(structure, shop)
    if faults:
        return tuple(faults)
    try:
        demand = gather_demand(structure, shop)
    except ShopError as error:
        return error.faults
    return tuple(
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
    held = instances_held(by_parent, pump).counts
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
    fitted = {fit.kit for fit in structure.fits}
    held = {line.child for line in structure.lines}
    for number, item in enumerate(structure.items):
        if item.kind != "kit" or not structure.lines_of(number):
            continue
        if item.part_number not in fitted and item.part_number not in held:
            yield Fault(
                "KitFits",
                (item.part_number,),
                "kit",
                f"Kit {item.part_number} has contents but fits nothing; add a row to KitFits that names the "
                "assembly it does.",
            )
    every = conditions_of(structure, [])
    for fit in structure.fits:
        number, assembly = structure.index[fit.kit], structure.index[fit.fits]
        key = (fit.kit, fit.fits)
        if structure.items[number].kind != "kit":
            yield Fault(
                "KitFits", key, "kit", f"{fit.kit} is not of the kind kit; correct the kit, or its kind in Items."
            )
        elif not structure.lines_of(assembly):
            yield Fault(
                "KitFits",
                key,
                "fits",
                f"Kit {fit.kit} is to fit {fit.fits}, which has no lines of its own; correct the assembly or add "
                "its lines.",
            )
        elif structure.has_contents(number):
            inside = set(opened_contents(structure, every, np.array([number]), np.array([0]))[1].tolist())
            if not inside & _parts_below(structure, assembly):
                yield Fault(
                    "KitFits",
                    key,
                    "fits",
                    f"Kit {fit.kit} shares no part with {fit.fits}, so it fits nothing there; correct the assembly "
                    "or the contents.",
                )


def _parts_below(structure: Structure, item: int) -> set[int]:
    found: set[int] = set()
    stack = [item]
    while stack:
        for line in structure.lines_of(stack.pop()):
            child = int(structure.child[line])
            if child not in found:
                found.add(child)
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


def _unknown_parts(structure: Structure, shop: Shop) -> Iterator[Fault]:
    rows = [
        *(("Lots", (lot.part_number, lot.lot, lot.place), lot.part_number) for lot in shop.lots),
        *(("Orders", (line.order, line.line), line.part_number) for line in shop.orders),
        *(("OtherNeeds", (need.need,), need.part_number) for need in shop.needs),
        *(("Issued", (row.job, row.part_number, row.lot, row.state), row.part_number) for row in shop.issues),
        *(("Offers", (row.supplier, row.part_number), row.part_number) for row in structure.catalog.offers),
        *(("Items", (item.part_number,), item.get_as) for item in structure.items if item.get_as),
    ]
    for sheet, key, part in rows:
        if part not in structure.index:
            yield Fault(sheet, key, "part_number", f"Part {part} is not among the items; add it to Items first.")


def _example(structure: Structure, shop: Shop, name: str) -> str:
    """One place of this job, as it is printed."""
    job = next(job for job in shop.jobs if job.job == name)
    recipes, _ = group_recipes(structure, [job], frozenset())
    places = positions_of(structure, conditions_of(structure, recipes), 0, recipes[0], frozenset())
    return places[0].where if places else "pump 1"
