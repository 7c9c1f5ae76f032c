"""The plan as plain rows: the one shape that the command line, the workbook and the pages share.

Quantities are numbers in the stock unit, whole ones as integers; dates are ISO texts; what does not apply is None.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np

from bom.answers.flags import flags_of
from bom.answers.shelf_chance import CHANCE_DECIMALS, shelf_chance
from bom.answers.shown import Shown
from bom.buying.leads import NEVER, Lead
from bom.buying.order_size import NextBreak
from bom.plan import Plan
from bom.structure.arrays import as_date, day_number
from bom.structure.keys import natural_key
from bom.supply.matching import NOBODY, PACKED, UNCOVERED
from bom.values import ONE

Row = dict[str, Any]


def as_json(plan: Plan, batch: str | None = None, through: date | None = None) -> Row:
    """All rows of a plan; ``batch`` and ``through`` choose which jobs are shown, not which are planned.

    Parameters
    ----------
    plan : the finished plan
    batch : show the jobs of this batch only
    through : show jobs that are built up to this day only
    """
    shown = Shown(plan, batch, through)
    return {
        "as_of": plan.shop.as_of.isoformat(),
        "staging_days": plan.shop.staging_days,
        "jobs": job_rows(plan, shown),
        "other_needs": other_need_rows(plan, shown),
        "demand": demand_rows(plan, shown),
        "kits": kit_rows(plan, shown),
        "buy": buy_rows(plan, shown),
        "expedite": expedite_rows(plan, shown),
        "chase": chase_rows(plan),
        "pack": pack_rows(plan, shown),
        "expiring": expiring_rows(plan),
        "frees": frees_rows(plan, shown),
        "flags": [flag for flag in flags_of(plan) if flag["job"] is None or flag["job"] in shown.names],
    }


def number(millionths: int) -> int | float:
    """Stock units: an integer when whole.

    Parameters
    ----------
    millionths : of the stock unit
    """
    return int(millionths) // ONE if millionths % ONE == 0 else int(millionths) / ONE


def iso(day: int | None) -> str | None:
    """ISO text of a day number; None when unknown.

    Parameters
    ----------
    day : day number, None when unknown
    """
    return None if day is None or day >= NEVER else as_date(day).isoformat()


def everything(plan: Plan) -> Shown:
    """What a reader sees who wants to see all of a plan.

    Parameters
    ----------
    plan : the finished plan
    """
    return Shown(plan, None, None)


def of_batch(plan: Plan, batch: str) -> Shown:
    """What a reader sees who wants to see one batch, or all of a plan where none is named.

    Parameters
    ----------
    plan : the finished plan
    batch : its name, empty for all
    """
    return Shown(plan, batch or None, None)


def job_rows(plan: Plan, shown: Shown) -> list[Row]:
    """One row a job, by job.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    items = plan.demand.structure.items
    rows = [
        {
            "job": answer.name,
            "status": answer.status,
            "parts_on": iso(answer.parts_on),
            "days_late": answer.days_late,
            "blocking_part": None if answer.blocking_item is None else items[answer.blocking_item].part_number,
            "order_by": iso(answer.order_by),
            "leans_on_overdue": answer.leans_on_overdue,
        }
        for place, answer in enumerate(plan.answers)
        if place in shown.numbers
    ]
    return _by(rows, "job")


def other_need_rows(plan: Plan, shown: Shown) -> list[Row]:
    """One row for each need that is no job.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    rows = [
        {"need": answer.name, "status": answer.status, "parts_on": iso(answer.parts_on)}
        for asker, answer in zip(plan.demand.askers, plan.answers, strict=True)
        if asker.need and shown.need(asker.need)
    ]
    return _by(rows, "need")


def demand_rows(plan: Plan, shown: Shown) -> list[Row]:
    """One row for each item that something is asked of, by part number.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    structure, pieces, draws = plan.demand.structure, plan.netting.pieces, plan.netting.draws
    count = len(structure.items)
    direct = pieces.way < 0
    sure = _total(pieces.item, pieces.quantity, direct & ~pieces.wear, count)
    down = _total(pieces.item, pieces.quantity, ~direct, count)
    planned = _total(pieces.item, pieces.quantity, direct & pieces.wear, count)
    missing = draws.supply == UNCOVERED
    drawn_item, drawn_wear = pieces.item[draws.piece], pieces.wear[draws.piece]
    uncovered = _total(drawn_item, draws.quantity, missing & ~drawn_wear, count)
    uncovered_wear = _total(drawn_item, draws.quantity, missing & drawn_wear, count)
    covers = plan.netting.covers
    rows = []
    asked = np.flatnonzero(sure + down + planned).tolist()
    for item in {*asked, *(item for item, cover in covers.items() if cover.positions)}:
        if not shown.item(item):
            continue
        cover = covers.get(item)
        on_hand = int(plan.supplies.on_hand[item])
        left_out = plan.supplies.left_out.get(item, {})
        rows.append(
            {
                "part_number": structure.items[item].part_number,
                "sure": number(sure[item]),
                "passed_down": number(down[item]),
                "positions": number(cover.positions) if cover else 0,
                "spares": number(cover.spares) if cover else 0,
                "expected": _rounded(cover.expected, 6) if cover else 0,
                "planned_wear": number(planned[item]),
                "total": number(sure[item] + down[item] + planned[item]),
                "on_hand": number(on_hand),
                "left_out": {why: number(q) for why, q in sorted(left_out.items()) if q},
                "on_order": number(plan.supplies.on_order[item]),
                "uncovered": number(uncovered[item]),
                "uncovered_wear": number(uncovered_wear[item]),
                "chance_enough": chance_enough(plan, item),
            }
        )
    return _by(rows, "part_number")


def figures_of_item(plan: Plan, part_number: str) -> Row:
    """The figures of one item as its row of demand has them, exact: quantities in millionths, left out in all.

    Parameters
    ----------
    plan : the finished plan
    part_number : part number of an item of the catalog
    """
    item, pieces, draws = plan.demand.structure.index[part_number], plan.netting.pieces, plan.netting.draws
    own = np.flatnonzero(pieces.item == item)
    quantity, wear, direct = pieces.quantity[own], pieces.wear[own], pieces.way[own] < 0
    missing = np.flatnonzero((draws.supply == UNCOVERED) & (pieces.item[draws.piece] == item))
    for_wear = pieces.wear[draws.piece[missing]]
    sure, down, planned = (int(quantity[of].sum()) for of in (direct & ~wear, ~direct, direct & wear))
    cover, chance = plan.netting.covers.get(item), shelf_chance(plan, item)
    return {
        "sure": sure,
        "passed_down": down,
        "positions": cover.positions if cover else 0,
        "spares": cover.spares if cover else 0,
        "expected": cover.expected if cover else 0,
        "planned_wear": planned,
        "total": sure + down + planned,
        "on_hand": int(plan.supplies.on_hand[item]),
        "left_out": sum(plan.supplies.left_out.get(item, {}).values()),
        "on_order": int(plan.supplies.on_order[item]),
        "uncovered": int(draws.quantity[missing[~for_wear]].sum()),
        "uncovered_wear": int(draws.quantity[missing[for_wear]].sum()),
        "chance_enough": chance.chance if chance else None,
    }


def chance_enough(plan: Plan, item: int) -> float | int | None:
    """The chance that the shelf is enough for an item's wear; None when measured or without positions.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    found = shelf_chance(plan, item)
    return None if found is None or found.chance is None else _rounded(found.chance, CHANCE_DECIMALS)


def kit_rows(plan: Plan, shown: Shown) -> list[Row]:
    """One row a job, kit and assembly.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    structure, kits = plan.demand.structure, plan.demand.requirements.kits
    parts: dict[int, dict[str, dict[str, int | float]]] = defaultdict(
        lambda: {"covered": {}, "short": {}, "spare": {}, "surplus": {}}
    )
    columns = {"covered": kits.covered, "short": kits.short, "spare": kits.spare, "surplus": kits.surplus}
    for name, column in columns.items():
        for place in np.flatnonzero(column).tolist():
            part = structure.items[kits.part_item[place]].part_number
            parts[int(kits.part_row[place])][name][part] = number(int(column[place]))
    by_recipe: dict[int, list[int]] = defaultdict(list)
    for row, recipe in enumerate(kits.recipe.tolist()):
        by_recipe[recipe].append(row)
    rows = []
    for place, asker in enumerate(plan.demand.askers):
        if place not in shown.numbers:
            continue
        for row in by_recipe.get(asker.recipe, ()):
            rows.append(
                {
                    "job": asker.name,
                    "kit": structure.items[kits.kit[row]].part_number,
                    "fits": structure.items[kits.assembly[row]].part_number,
                    "count": int(kits.count[row]),
                    **{name: dict(sorted(held.items())) for name, held in parts[row].items()},
                }
            )
    return _by(rows, "job", "kit", "fits")


def buy_rows(plan: Plan, shown: Shown) -> list[Row]:
    """The purchase list, by part number.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    rows = []
    for row in plan.buy:
        if not shown.item(row.item):
            continue
        purchase = row.purchase
        rows.append(
            {
                "part_number": plan.demand.structure.items[row.item].part_number,
                "short": number(row.short),
                "short_wear": number(row.short_wear),
                "top_up": number(row.top_up),
                "net": number(row.net),
                "packs": purchase.packs,
                "pack_size": number(purchase.pack_size),
                "order_quantity": number(purchase.order_quantity),
                "surplus": number(purchase.order_quantity - row.net),
                "supplier": purchase.supplier,
                "price": _money(purchase.price),
                "need_on": iso(row.need_on),
                "order_by": iso(row.order_by),
                "days_late": row.days_late,
                "earliest_arrival": iso(purchase.arrives_on),
                "wear_advice": row.wear_advice,
                "next_break": _next_break(purchase.next_break),
                "jobs": sorted(plan.demand.askers[job].name for job in row.jobs),
            }
        )
    return rows


def _next_break(found: NextBreak | None) -> Row | None:
    """The order up to the next price break, where it costs less."""
    if found is None:
        return None
    return {"packs": found.packs, "price": _money(found.price), "saving": _money(found.saving)}


def expedite_rows(plan: Plan, shown: Shown) -> list[Row]:
    """Order lines that sure pieces wait for beyond their need date.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    return [row for row in _late_rows(plan, wear=False) if shown.touches(row["jobs"])]


def late_wear_rows(plan: Plan, shown: Shown) -> list[Row]:
    """Order lines that cover planned wear after its need date: nothing is bought twice, but somebody should ring.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    index = plan.demand.structure.index
    return [row for row in _late_rows(plan, wear=True) if shown.item(index[row["part_number"]])]


def _late_rows(plan: Plan, *, wear: bool) -> list[Row]:
    """Order lines that come after the need date of what draws on them."""
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    late = plan.found.late_draw & (pieces.wear[draws.piece] == wear)
    gathered: dict[int, list[int]] = defaultdict(list)
    for row in np.flatnonzero(late).tolist():
        gathered[int(supplies.order_place[draws.supply[row]])].append(row)
    leads = {row.item: row.purchase.lead for row in plan.buy}
    rows = []
    for place, drawn in gathered.items():
        line = plan.shop.orders[place]
        item = plan.demand.structure.index[line.part_number]
        need = min(int(pieces.need_day[draws.piece[row]]) for row in drawn)
        quantity = sum(int(draws.quantity[row]) for row in drawn)
        rows.append(
            {
                "order": line.order,
                "line": line.line,
                "part_number": line.part_number,
                "quantity": number(quantity),
                "promised": line.promised.isoformat(),
                "need_on": iso(need),
                "days_late": plan.calendar.between(as_date(need), line.promised),
                "bought_today_on": _bought_today_on(plan, item, quantity, need, leads),
                "jobs": _names(plan, (int(pieces.job[draws.piece[row]]) for row in drawn)),
            }
        )
    return _by_line(rows)


def chase_rows(plan: Plan) -> list[Row]:
    """Order lines that should have come before today, with the jobs that lean on them.

    Parameters
    ----------
    plan : the finished plan
    """
    pieces, draws, supplies = plan.netting.pieces, plan.netting.draws, plan.supplies
    leaning: dict[int, set[int]] = defaultdict(set)
    ordered = np.flatnonzero((draws.supply >= 0) & ~pieces.wear[draws.piece])
    for row in ordered[supplies.overdue[draws.supply[ordered]]].tolist():
        leaning[int(supplies.order_place[draws.supply[row]])].add(int(pieces.job[draws.piece[row]]))
    rows = [
        {
            "order": line.order,
            "line": line.line,
            "part_number": line.part_number,
            "quantity": number(line.quantity),
            "promised": line.promised.isoformat(),
            "days_late": plan.calendar.between(line.promised, plan.shop.as_of),
            "jobs": _names(plan, leaning[place]),
        }
        for place, line in enumerate(plan.shop.orders)
        if line.promised < plan.shop.as_of and line.quantity > 0
    ]
    return _by_line(rows)


def pack_rows(plan: Plan, shown: Shown) -> list[Row]:
    """Kits to pack and assemblies to make.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    pieces, draws = plan.netting.pieces, plan.netting.draws
    gathered: dict[int, list[int]] = defaultdict(list)
    for row in np.flatnonzero(draws.supply == PACKED).tolist():
        gathered[int(pieces.item[draws.piece[row]])].append(row)
    rows = [
        {
            "kit": plan.demand.structure.items[item].part_number,
            "quantity": number(sum(int(draws.quantity[row]) for row in drawn)),
            "need_on": iso(min(int(pieces.need_day[draws.piece[row]]) for row in drawn)),
            "jobs": _names(plan, (int(pieces.job[draws.piece[row]]) for row in drawn)),
        }
        for item, drawn in gathered.items()
        if shown.item(item)
    ]
    return _by(rows, "kit")


def expiring_rows(plan: Plan) -> list[Row]:
    """Usable lots that die before the last build day, with what is left of them.

    Parameters
    ----------
    plan : the finished plan
    """
    supplies = plan.supplies
    left = dict(zip(supplies.lot_place.tolist(), supplies.left.tolist(), strict=True))
    sums: dict[tuple[str, str, str], tuple[int, int]] = {}
    for place in supplies.usable_lots:
        lot = plan.shop.lots[place]
        if plan.demand.structure.bench[plan.demand.structure.index[lot.part_number]] or not lot.quantity:
            continue
        if lot.last_use is not None and day_number(lot.last_use) < plan.netting.last_build_day:
            row = lot.part_number, lot.lot, lot.last_use.isoformat()
            held, unused = sums.get(row, (0, 0))
            sums[row] = held + lot.quantity, unused + left.get(place, 0)
    return [
        {"part_number": part, "lot": lot, "last_use": on, "quantity": number(held), "unused": number(unused)}
        for (part, lot, on), (held, unused) in sorted(sums.items())
    ]


def frees_rows(plan: Plan, shown: Shown) -> list[Row]:
    """Items that are the only thing missing or late for some jobs, the one that frees most first.

    Parameters
    ----------
    plan : the finished plan
    shown : what the reader wants to see
    """
    gathered: dict[int, list[str]] = defaultdict(list)
    for asker, answer in zip(plan.demand.askers, plan.answers, strict=True):
        if answer.freed_by is not None and asker.job:
            gathered[answer.freed_by].append(answer.name)
    items = plan.demand.structure.items
    rows: list[Row] = [
        {"part_number": items[item].part_number, "jobs": sorted(jobs)}
        for item, jobs in gathered.items()
        if shown.touches(jobs)
    ]
    return sorted(rows, key=lambda row: (-len(row["jobs"]), row["part_number"]))


def _bought_today_on(plan: Plan, item: int, quantity: int, need: int, leads: dict[int, Lead | None]) -> str | None:
    if plan.demand.structure.items[item].source in ("pack", "make"):
        return None
    lead = leads[item] if item in leads else plan.book.choose(item, quantity, need).lead
    return iso(plan.book.leads.arrival(lead))


def _names(plan: Plan, jobs: Iterable[int]) -> list[str]:
    return sorted({plan.demand.askers[job].name for job in jobs if job != NOBODY})


def _total(item: Any, quantity: Any, chosen: Any, count: int) -> Any:
    total = np.zeros(count, np.int64)
    np.add.at(total, item[chosen], quantity[chosen])
    return total


def _rounded(value: float, decimals: int) -> int | float:
    short = round(value, decimals)
    return int(short) if short == int(short) else short


def _money(price: Decimal | None) -> int | float | None:
    if price is None:
        return None
    rounded = round(price, 2)
    return int(rounded) if rounded == int(rounded) else float(rounded)


def _by(rows: list[Row], *columns: str) -> list[Row]:
    return sorted(rows, key=lambda row: tuple(row[column] for column in columns))


def _by_line(rows: list[Row]) -> list[Row]:
    return sorted(rows, key=lambda row: (row["part_number"], natural_key(row["order"]), natural_key(row["line"])))
