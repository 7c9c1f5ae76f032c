"""What a reader should know beside the figures: each flag is a kind, what it is about, and one sentence."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import numpy as np

from bom.answers.never_asked import unfinished_kits
from bom.buying.leads import NEVER
from bom.plan import Plan
from bom.structure.arrays import LAST_DAY, as_date
from bom.supply.matching import PACKED


def day_and_month(on: date) -> str:
    """A day as sentences have it where nobody asks for another order.

    Parameters
    ----------
    on : the day
    """
    return f"{on.day} {on:%b %Y}"


def flags_of(plan: Plan, write_day: Callable[[date], str] = day_and_month) -> list[dict[str, Any]]:
    """All flags of a plan, by kind, part number and job.

    Parameters
    ----------
    plan : the finished plan
    write_day : how a day is written in their sentences
    """
    found = [
        *_serials(plan),
        *_rates(plan),
        *_reports(plan),
        *_findings(plan),
        *_leads(plan),
        *_lives(plan),
        *_dying_lots(plan, write_day),
        *_unfinished_kits(plan),
    ]
    unique = {(kind, part or "", job or "", says): (kind, part, job, says) for kind, part, job, says in found}
    return [
        {"kind": kind, "part_number": part, "job": job, "says": says}
        for kind, part, job, says in (unique[key] for key in sorted(unique))
    ]


_Flag = tuple[str, str | None, str | None, str]


def _serials(plan: Plan) -> Iterator[_Flag]:
    needed = plan.demand.explosion.serial_needed | plan.demand.requirements.serial_needed
    for asker in plan.demand.askers:
        if asker.recipe in needed:
            says = (
                f"Serial needed: {asker.name} reaches parts that depend on it; without one the newest build is assumed."
            )
            yield "serial_needed", None, asker.name, says


def _rates(plan: Plan) -> Iterator[_Flag]:
    structure = plan.demand.structure
    for line in np.unique(plan.demand.explosion.looks.line).tolist():
        if plan.demand.rates.chance(structure, line) is None:
            held = structure.lines[line]
            says = (
                f"No rate known: {held.child} in {held.parent} is inspected, but nothing says how often it is renewed, "
                "so nothing is planned for it."
            )
            yield "no_rate", held.child, None, says


def _reports(plan: Plan) -> Iterator[_Flag]:
    for job, report in plan.demand.reports.items():
        for where, part in report.rework:
            yield "rework", part, job, f"{job} waits for {part} at {where}, which was sent for rework."
        for where, part in report.plan_again:
            says = f"{job} has another part than {part} at {where}: correct the list and plan again."
            yield "plan_again", part, job, says
        for verdict in report.unplaced:
            says = (
                f"The verdict on {verdict.part_number} at '{verdict.where}' names no place of {job} as it is planned "
                "now; correct the place or the scope."
            )
            yield "verdict_without_place", verdict.part_number, job, says


def _findings(plan: Plan) -> Iterator[_Flag]:
    for job, named in plan.demand.named.items():
        for row in named.idle:
            says = (
                f"The finding '{row.finding}' on {job} changes nothing: no rule says what it means for anything that "
                "the job opens; correct the finding, its section or its rules."
            )
            yield "finding_without_effect", None, job, says


def _leads(plan: Plan) -> Iterator[_Flag]:
    items = plan.demand.structure.items
    for row in plan.buy:
        if row.purchase.lead_days is None:
            part = items[row.item].part_number
            yield (
                "no_lead_time",
                part,
                None,
                f"No lead time known for {part}: neither an offer nor the item states one, so no date can be given.",
            )
    packed = plan.netting.draws.piece[plan.netting.draws.supply == PACKED]
    for item in np.unique(plan.netting.pieces.item[packed]).tolist():
        if items[item].lead_days is None:
            part = items[item].part_number
            yield "no_lead_time", part, None, f"No packing time known for {part}: it is taken as none."


def _lives(plan: Plan) -> Iterator[_Flag]:
    """A minimum life at receipt that no lot can have is said, not passed over."""
    for row in plan.buy:
        if not row.minimum_met:
            item = plan.demand.structure.items[row.item]
            asked = " and ".join(
                words
                for words, number in (
                    (f"{item.min_life_months} months", item.min_life_months),
                    (f"{item.min_life_percent} %", item.min_life_percent),
                )
                if number is not None
            )
            says = (
                f"The minimum life of {item.part_number} at receipt, {asked}, cannot be met by a shelf life of "
                f"{item.life_months} months, so only the build days decide how old a lot may be: lower the minimum, "
                "or correct the shelf life."
            )
            yield "minimum_life_unmet", item.part_number, None, says


def _dying_lots(plan: Plan, write_day: Callable[[date], str]) -> Iterator[_Flag]:
    """A lot that dies before the day on which the last part of its job arrives is flagged, not taken elsewhere."""
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    rows = np.flatnonzero((draws.supply >= 0) & ~pieces.wear[draws.piece])
    rows = rows[supplies.last_day[draws.supply[rows]] < LAST_DAY]
    for row in rows.tolist():
        answer = plan.answers[int(pieces.job[draws.piece[row]])]
        supply = int(draws.supply[row])
        last = int(supplies.last_day[supply])
        if answer.parts_on is not None and answer.parts_on < NEVER and last < answer.parts_on:
            lot = plan.shop.lots[int(supplies.lot_place[supply])]
            says = (
                f"Lot {lot.lot} of {lot.part_number} may be used to {write_day(as_date(last))}, before the last part "
                f"of {answer.name} is here."
            )
            yield "lot_dies_first", lot.part_number, answer.name, says


def _unfinished_kits(plan: Plan) -> Iterator[_Flag]:
    """Kits that are entered in part are left out of the plan, and say so."""
    structure = plan.demand.structure
    asked_for = {need.part_number for need in plan.shop.needs} | {issue.part_number for issue in plan.shop.issues}
    for kit, _, why, remedy in unfinished_kits(structure, asked_for):
        empty = not structure.lines_of(structure.index[kit])
        kind = "kit_without_contents" if empty else "fits_nothing"
        yield kind, kit, None, f"Kit {kit} {why}, so no job takes it: {remedy}."
