"""What there is: lots taken in and left out, orders, and what is left of them once the sure pieces are served."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np

from bom.explain.tree import Fact, Rule, Why, added, day, pieces, whole
from bom.plan import Plan
from bom.structure.arrays import LAST_DAY, as_date, day_number
from bom.structure.tables import Ints
from bom.supply.supplies import reason_left_out
from bom.values import Lot, OrderLine


def why_on_hand(plan: Plan, item: int) -> Why:
    """The usable lots and the bags of jobs, less what is reserved for jobs that do not ask, and what is too old.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    name = _name(plan, item)
    used = set(plan.supplies.usable_lots)
    parts = [lot_part(plan.shop.lots[place]) for place in _lots_of(plan, name) if place in used]
    parts += _bags_of(plan, name)
    for reason, says in (("reserved", "reserved"), ("too_old", "too old")):
        off = plan.supplies.left_out.get(item, {}).get(reason, 0)
        if off:
            parts.append(whole(says, off).taken_off())
    return added("on hand", parts, item=name)


def _bags_of(plan: Plan, name: str) -> Iterator[Why]:
    """What lies in the bags of jobs that ask for parts."""
    asking = {asker.name for asker in plan.demand.askers if asker.job}
    for issue in plan.shop.issues:
        if issue.state == "bagged" and issue.part_number == name and issue.job in asking:
            last = next((held.last_use for held in _lots_named(plan, name) if held.lot == issue.lot), None)
            yield whole("in the bag", issue.quantity, job=issue.job, lot=issue.lot, last_use=last)


def why_left_out(plan: Plan, item: int) -> Why:
    """What is there and does not count, reason by reason, lot by lot.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    name, held = _name(plan, item), plan.demand.structure.items[item]
    by_reason: dict[str, list[Why]] = {}
    used = set(plan.supplies.usable_lots)
    for place in _lots_of(plan, name):
        lot = plan.shop.lots[place]
        if place not in used:
            last = LAST_DAY if lot.last_use is None else day_number(lot.last_use)
            reason = reason_left_out(held, lot, last, plan.as_of)
            by_reason.setdefault(reason, []).append(lot_part(lot))
    asking = {asker.name for asker in plan.demand.askers if asker.job}
    reserved = plan.supplies.left_out.get(item, {}).get("reserved", 0)
    if reserved:
        by_reason["reserved"] = [
            whole("reserved", issue.quantity, job=issue.job, lot=issue.lot)
            for issue in plan.shop.issues
            if issue.state == "reserved" and issue.part_number == name and issue.job not in asking
        ]
    first_build = int(plan.netting.first_build[item])
    lying = [lot_part(plan.shop.lots[place]) for place in _lots_of(plan, name) if place in used]
    by_reason["too_old"] = [part for part in (*lying, *_bags_of(plan, name)) if _dies_before(part, first_build)]
    parts = []
    for reason, lots in sorted(by_reason.items()):
        total = plan.supplies.left_out.get(item, {}).get(reason, 0)
        lies = sum(lot.value for lot in lots if isinstance(lot.value, int))
        # A reservation may name more than lies there, and may be of a lot that is too old as well.
        rule = Rule.SUM if lies == total else Rule.SHARE
        build_on = as_date(first_build) if reason == "too_old" and total else None
        if total:
            parts.append(pieces("left out", total, rule, lots, reason=reason, first_build=build_on))
    return added("left out", parts, item=name)


def _dies_before(part: Why, first_build: int) -> bool:
    last_use = part.fact("last_use")
    return isinstance(last_use, date) and day_number(last_use) < first_build


def why_on_order(plan: Plan, item: int) -> Why:
    """The open order lines.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    name = _name(plan, item)
    return added("on order", (order_part(line) for line in plan.shop.orders if line.part_number == name), item=name)


def lot_part(lot: Lot, quantity: int | None = None, says: str = "lot") -> Why:
    """What lies of one lot at one place.

    Parameters
    ----------
    lot : as the shop has it
    quantity : millionths, None for all of it
    says : what it is called in the tree
    """
    amount = lot.quantity if quantity is None else quantity
    facts: dict[str, Fact] = {
        "lot": lot.lot,
        "place": lot.place,
        "last_use": lot.last_use,
        "owner": lot.owner,
        "packet": lot.packet,
    }
    return whole(says, amount, **facts)


def order_part(line: OrderLine, quantity: int | None = None, says: str = "order") -> Why:
    """What is still to come on one order line.

    Parameters
    ----------
    line : as the shop has it
    quantity : millionths, None for all of it
    says : what it is called in the tree
    """
    amount = line.quantity if quantity is None else quantity
    facts: dict[str, Fact] = {
        "order": line.order,
        "line": line.line,
        "promised": line.promised,
        "supplier": line.supplier,
    }
    return whole(says, amount, **facts)


def supply_part(plan: Plan, supply: int, quantity: int, says: str = "") -> Why:
    """A quantity that comes from one lot or order line, by its supply number.

    Parameters
    ----------
    plan : the finished plan
    supply : its number
    quantity : millionths
    says : what it is called in the tree
    """
    lot, line = int(plan.supplies.lot_place[supply]), int(plan.supplies.order_place[supply])
    if lot >= 0:
        return lot_part(plan.shop.lots[lot], quantity, says or "lot")
    return order_part(plan.shop.orders[line], quantity, says or "order")


def why_left_for_stock(plan: Plan, item: int) -> Why:
    """What is left on lots that live to the last build day, and on orders, once the sure pieces are served.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    parts = _left_after_sure(plan, item, plan.netting.last_build_day, orders=True)
    return added("left after sure needs", parts, last_build=as_date(plan.netting.last_build_day))


def why_left_for_wear(plan: Plan, item: int, build_day: int) -> Why:
    """What is left on lots that live to the last build day of wear, once the sure pieces are served.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    build_day : day number to which the lots must live
    """
    parts = _left_after_sure(plan, item, build_day, orders=False)
    return added("left for wear", parts, last_build=as_date(build_day))


def _left_after_sure(plan: Plan, item: int, day: int, *, orders: bool) -> Iterator[Why]:
    """What the sure pieces leave on nobody's lots that live to a day, and on orders if they count."""
    supplies = plan.supplies
    rows = np.arange(int(supplies.first[item]), int(supplies.first[item + 1]))
    by_wear = _taken_by_wear(plan, rows)
    for row in rows.tolist():
        is_order = bool(supplies.order_place[row] >= 0)
        lasting = supplies.last_day[row] >= day and not supplies.owner[row]
        left = int(supplies.left[row]) + int(by_wear[row - rows[0]])
        if left and (orders if is_order else lasting):
            yield supply_part(plan, row, left)


def _taken_by_wear(plan: Plan, rows: Ints) -> Ints:
    """What planned wear takes from each of these supplies, which lie one after the other."""
    netted, draws = plan.netting.pieces, plan.netting.draws
    total = np.zeros(rows.size, np.int64)
    if rows.size:
        mine = (draws.supply >= rows[0]) & (draws.supply <= rows[-1]) & netted.wear[draws.piece]
        np.add.at(total, draws.supply[mine] - rows[0], draws.quantity[mine])
    return total


def why_expiring(plan: Plan, part_number: str, lot: str, column: str) -> Why:
    """What lies of a lot that dies before the last build day; ``unused``: less what jobs, and wear, take of it.

    Parameters
    ----------
    plan : the finished plan
    part_number : part number of an item of the catalog
    lot : code of the lot
    column : quantity or unused
    """
    used = set(plan.supplies.usable_lots)
    places = [p for p in _lots_of(plan, part_number) if p in used and plan.shop.lots[p].lot == lot]
    lies = added("lies there", (lot_part(plan.shop.lots[place]) for place in places))
    facts = {"item": part_number, "lot": lot}
    if column == "quantity":
        return added("runs out", lies.parts, **facts)
    taken = list(_taken_of_lots(plan, places))
    return added("left to die", (lies, *(part.taken_off() for part in taken)), **facts)


def _taken_of_lots(plan: Plan, places: list[int]) -> Iterator[Why]:
    """Who takes how much of these lots: pieces of jobs and of wear, and what is set aside or kept out."""
    supplies, draws, netted = plan.supplies, plan.netting.draws, plan.netting.pieces
    free = 0
    for row in np.flatnonzero(np.isin(supplies.lot_place, places)).tolist():
        free += int(supplies.left[row])
        for draw in np.flatnonzero(draws.supply == row).tolist():
            free += int(draws.quantity[draw])
            job = int(netted.job[draws.piece[draw]])
            name = plan.demand.askers[job].name if job >= 0 else None
            says = "taken by wear" if job < 0 else "taken"
            yield whole(says, int(draws.quantity[draw]), job=name)
    reserved = sum(plan.shop.lots[place].quantity for place in places) - free
    if reserved:
        yield whole("reserved", reserved)


def comes_on(plan: Plan, supply: int) -> Why:
    """The day on which a supply is here: today for a lot or an overdue order, else the day promised.

    Parameters
    ----------
    plan : the finished plan
    supply : its number
    """
    line = int(plan.supplies.order_place[supply])
    today = day("today", plan.as_of)
    if line < 0:
        lot = plan.shop.lots[int(plan.supplies.lot_place[supply])]
        return day("on the shelf", plan.as_of, Rule.FIRST, (today,), lot=lot.lot, place=lot.place)
    order = plan.shop.orders[line]
    promised = day("promised", day_number(order.promised))
    facts = {"order": order.order, "line": order.line}
    return day("order comes", int(plan.supplies.arrives[supply]), Rule.LARGEST, (promised, today), **facts)


def _lots_named(plan: Plan, part_number: str) -> Iterator[Lot]:
    return (plan.shop.lots[place] for place in _lots_of(plan, part_number))


def _lots_of(plan: Plan, part_number: str) -> Sequence[int]:
    return plan.lots_by_part.get(part_number, ())


def _name(plan: Plan, item: int) -> str:
    return plan.demand.structure.items[item].part_number
