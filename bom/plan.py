"""The plan in one call: from a frozen shop to what is needed, what can be built, and what to buy.

Read this first. A plan goes through these steps, each a module of its own:

    structure      the lists as arrays, checked            requirements   what each job asks for, kits and wear included
    matching       the shelf and the orders, sorted        netting        every piece served in its order
    buying         what stays uncovered, in whole packs    status         when parts are here, which job can be built
    answers        the same as plain rows                  explain        where a number comes from
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from bom.buying.order_size import OfferBook
from bom.buying.purchases import BuyList, BuyRow, Purchasing
from bom.demand.requirements import Demand, gather_demand
from bom.status.arrivals import Arrivals, arrivals
from bom.status.jobs import JobAnswer, job_answers
from bom.structure.arrays import Structure, compile_structure, day_number
from bom.structure.calendar import ShopCalendar
from bom.supply.bags import recorded_in
from bom.supply.netting import Netting, net
from bom.supply.supplies import Supplies, gather_supplies, without_too_old
from bom.values import Issue, Shop
from bom.wear.planned import WearCovered


@dataclass(frozen=True)
class Plan:
    """Everything that was worked out for one shop on one day; ``answers`` run in the order of ``demand.askers``."""

    shop: Shop
    calendar: ShopCalendar
    as_of: int
    demand: Demand
    supplies: Supplies
    netting: Netting
    book: OfferBook
    buy_list: BuyList
    found: Arrivals
    answers: tuple[JobAnswer, ...]

    @cached_property
    def lots_by_part(self) -> Mapping[str, Sequence[int]]:
        """Places among the lots of the shop, by part number."""
        found: dict[str, list[int]] = {}
        for place, lot in enumerate(self.shop.lots):
            found.setdefault(lot.part_number, []).append(place)
        return found

    @property
    def buy(self) -> tuple[BuyRow, ...]:
        """What to buy, by part number."""
        return self.buy_list.rows


def plan(shop: Shop, structure: Structure | None = None, after: Plan | None = None) -> Plan:
    """Work out the whole plan of a shop.

    Parameters
    ----------
    shop : everything that is known, frozen
    structure : the compiled catalog of this very shop, when the caller has kept it
    after : a plan made before, of which is kept what has not changed; the result is the same with and without it

    Raises
    ------
    ShopError
        With every fault of the lists: cycles, whole-pump totals with a remainder, options that nobody answered.
    """
    if structure is None and after and after.shop.catalog is shop.catalog:
        structure = after.demand.structure
    structure = structure or compile_structure(shop.catalog)
    calendar = ShopCalendar(shop.workdays, shop.holidays)
    as_of = day_number(shop.as_of)
    asked = after if after and asks_the_same(shop, structure, after) else None
    demand = asked.demand if asked else gather_demand(structure, shop)
    job_numbers = {asker.name: number for number, asker in enumerate(demand.askers) if asker.job}
    days = (as_of, calendar, shop.staging_days)
    of_today = after if after and after.demand.structure is structure and _days_of(after) == days else None
    shelf = of_today and shelf_of(shop, job_numbers, of_today)
    shelf = shelf or gather_supplies(structure, as_of, shop.lots, shop.orders, shop.issues, job_numbers)
    before = of_today.netting if of_today and asked else None
    worn = WearCovered(of_today.demand.wear, of_today.netting.covers) if of_today else None
    netting = net(demand, shelf, calendar, as_of, shop.staging_days, recorded_in(structure, shop.lots), before, worn)
    supplies = without_too_old(netting.supplies, netting.first_build)
    book = OfferBook(structure, calendar, as_of)
    purchasing = Purchasing(demand, supplies, netting, book, calendar, shop.orders)
    buy_list = purchasing.list_all(of_today.buy_list if of_today else None)
    bought_on = {row.item: row.purchase.arrives_on for row in buy_list.rows}
    found = arrivals(demand, supplies, netting, calendar, as_of, bought_on)
    leads = {row.item: row.purchase.lead for row in buy_list.rows}
    answers = job_answers(demand, supplies, netting, found, calendar, as_of, book.leads, leads)
    return Plan(shop, calendar, as_of, demand, supplies, netting, book, buy_list, found, answers)


def asks_the_same(shop: Shop, structure: Structure, after: Plan) -> bool:
    """Whether the jobs and needs of a shop ask for what they asked for in a plan made before.

    Parameters
    ----------
    shop : everything that is known
    structure : the compiled catalog
    after : a plan made before
    """
    before = after.shop
    return (
        after.demand.structure is structure
        and (shop.jobs, shop.needs, shop.verdicts, shop.findings)
        == (before.jobs, before.needs, before.verdicts, before.findings)
        and _handed_out(shop) == _handed_out(before)
    )


def _days_of(plan: Plan) -> tuple[int, ShopCalendar, int]:
    """Everything by which a plan counts days."""
    return plan.as_of, plan.calendar, plan.shop.staging_days


def shelf_of(shop: Shop, job_numbers: Mapping[str, int], before: Plan) -> Supplies | None:
    """The shelf and the orders as they were gathered for a plan before; None where they have changed.

    Parameters
    ----------
    shop : everything that is known
    job_numbers : serving number of each job that asks for parts
    before : a plan of the same lists and the same day
    """
    was = before.shop
    numbered = {asker.name: number for number, asker in enumerate(before.demand.askers) if asker.job}
    if (shop.lots, shop.orders, shop.issues) != (
        was.lots,
        was.orders,
        was.issues,
    ) or numbered.keys() != job_numbers.keys():
        return None
    now = {number: job_numbers[name] for name, number in numbered.items()}
    shelf = before.netting.shelf
    return replace(shelf, set_aside={(now[job], item): held for (job, item), held in shelf.set_aside.items()})


def _handed_out(shop: Shop) -> list[Issue]:
    """What went to jobs, and came back, which is taken off what they ask for."""
    return [issue for issue in shop.issues if issue.state in ("issued", "returned")]
