"""The arithmetic behind a figure: one line that balances, and under it who asks for how many along which way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from bom.explain import PathRow, paths
from kits.planning.item_names import ItemName
from kits.planning.plan_reading import PlanReading, Served, Shortfall

MOST_JOBS = 12
LEFT_OUT_SAYS = {
    "quarantine": "in quarantine",
    "owing": "robbed and not filled up again",
    "no_date": "without a date, though its life is limited",
    "expired": "past the last use",
    "resealed": "in opened bags, which this part does not allow",
    "reserved": "reserved for other jobs",
    "too_old": "out of life before the first build",
}


@dataclass(frozen=True, slots=True)
class AskerWorking:
    """How the need of one job (or other need) comes about, one line for each way through the pump."""

    name: str
    is_job: bool
    says: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Working:
    """The arithmetic behind the figures of one part: in one line, by job, and what of the shelf does not count."""

    part_number: str
    balance: str
    askers: tuple[AskerWorking, ...]
    besides: tuple[str, ...]
    more_jobs: int = 0


def workings(
    reading: PlanReading,
    items: Iterable[int],
    names: Mapping[str, ItemName],
    first: frozenset[int],
    most: int = MOST_JOBS,
) -> dict[int, Working]:
    """The arithmetic of these items; the jobs in ``first`` stand first, then those that lack something."""
    wanted = tuple(dict.fromkeys(items))
    served = reading.served(wanted)
    return {
        item: Working(
            part_number=reading.part_number(item),
            balance=balance(served[item], names[reading.part_number(item)]),
            askers=askers_of(reading, item, names[reading.part_number(item)], first, most),
            besides=left_out(reading, item, names[reading.part_number(item)]),
            more_jobs=max(0, len(reading.needs_of(item)) - most),
        )
        for item in wanted
    }


def balance(served: Served, name: ItemName) -> str:
    """Needed less what serves it: ``30 needed − 6 from the shelf − 10 on order (4 of it late) = 14 short``."""
    text = f"{name.amount(served.needed).text or '0'} needed"
    on_order = served.in_time + served.late
    for quantity, says in (
        (served.set_aside, "set aside for the job"),
        (served.shelf, "from the shelf"),
        (served.packed, "packed here"),
    ):
        text += f" − {name.amount(quantity).text} {says}" if quantity else ""
    if on_order:
        late = f" ({name.amount(served.late).text} of it late)" if served.late else ""
        text += f" − {name.amount(on_order).text} on order{late}"
    if not (served.set_aside or served.shelf or served.packed or on_order):
        text += ", nothing on the shelf or on order"
    return f"{text} = {name.amount(served.missing).text + ' short' if served.missing else 'nothing short'}"


def askers_of(
    reading: PlanReading, item: int, name: ItemName, first: frozenset[int], most: int
) -> tuple[AskerWorking, ...]:
    """Who asks for an item: first those of the sheet, among them first those that lack something."""
    needs = reading.needs_of(item)
    lacking = {asker: reading.shortfalls.get(asker, {}).get(item) for asker in needs}
    order = sorted(needs, key=lambda n: (n not in first, lacking[n] is None, reading.askers[n].build_day, n))[:most]
    by_job: dict[str, list[PathRow]] = {}
    for row in paths(reading.plan, reading.part_number(item)):
        by_job.setdefault(row.job, []).append(row)
    return tuple(
        AskerWorking(
            name=reading.askers[asker].name,
            is_job=reading.askers[asker].job is not None,
            says=asks_says(name, needs[asker], lacking[asker]),
            lines=tuple(way_says(reading, asker, item, name, by_job.get(reading.askers[asker].name, []))),
        )
        for asker in order
    )


def way_says(reading: PlanReading, asker: int, item: int, name: ItemName, rows: Iterable[PathRow]) -> Iterator[str]:
    """One line for each way to a part, then what the strip report added."""
    for row in rows:
        product, comma, because = row.says.partition(", because of")
        says = f"{product} {name.amount(0).unit}".rstrip() + comma + because
        if row.at_rebuild == "inspect":
            yield f"{says}, looked at"
        elif row.at_rebuild == "kit":
            yield f"{row.steps[0][1]} to serve {row.section}"
        elif row.kit and row.at_rebuild in ("renew", "finding"):
            yield f"{says}, {kit_says(reading, asker, item, name, row.kit)}"
        else:
            yield says
    report = reading.plan.demand.reports.get(reading.askers[asker].name)
    if report is None:
        return
    along = [(p, why) for p, why in report.along if reading.structure.child[p.line] == item]
    for finding in dict.fromkeys(why for _, why in along):
        quantity = sum(p.quantity for p, why in along if why == finding)
        yield f"{name.amount(quantity).text} renewed along with what finding '{finding}' renews"
    by_finding = {id(p) for p, _ in (*report.because, *report.along)}
    found = [p for p in report.sure if reading.structure.child[p.line] == item and id(p) not in by_finding]
    if found:
        yield f"{name.amount(sum(p.quantity for p in found)).text} to be renewed by the strip report"


def kit_says(reading: PlanReading, asker: int, item: int, name: ItemName, kit: str) -> str:
    """How much of a need inside an assembly the kit of that assembly brings."""
    kits = reading.plan.demand.requirements.kits
    rows = np.flatnonzero((kits.recipe == reading.askers[asker].recipe) & (kits.kit == reading.structure.index[kit]))
    places = np.flatnonzero(np.isin(kits.part_row, rows) & (kits.part_item == item))
    covered, short = int(kits.covered[places].sum()), int(kits.short[places].sum())
    if not covered:
        return f"not in kit {kit}"
    return f"of which kit {kit} brings {name.amount(covered).text}" if short else f"all in kit {kit}"


def asks_says(name: ItemName, needed: int, lacking: Shortfall | None) -> str:
    """What one job needs and lacks of an item."""
    says = f"{name.amount(needed).text} needed"
    if lacking and lacking.missing:
        says += f", {name.amount(lacking.missing).text} missing"
    if lacking and lacking.late:
        says += f", {name.amount(lacking.late).text} on an order that comes late"
    return says


def left_out(reading: PlanReading, item: int, name: ItemName) -> tuple[str, ...]:
    """What lies on the shelf and does not count, with the reason."""
    reasons = reading.plan.supplies.left_out.get(item, {})
    return tuple(
        f"Not counted: {name.amount(quantity).text} {LEFT_OUT_SAYS[reason]}."
        for reason, quantity in sorted(reasons.items())
        if quantity
    )
