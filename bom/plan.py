"""The plan in one call: from a frozen shop to what is needed, what can be built, and what to buy.

Read this first. A plan goes through these steps, each a module of its own:

    structure      the lists as arrays, checked            requirements   what each job asks for, kits and wear included
    matching       the shelf and the orders, sorted        netting        every piece served in its order
    buying         what stays uncovered, in whole packs    shortage       when parts are here, which job can be built
    answers        the same as plain rows                  explain        where a number comes from
"""

from __future__ import annotations

from dataclasses import dataclass

from bom.answers.shortage import Arrivals, JobAnswer, arrivals, job_answers
from bom.buying.order_size import OfferBook
from bom.buying.purchases import BuyRow, Purchasing, uncovered_by_item
from bom.demand.requirements import Demand, gather_demand
from bom.structure.arrays import Structure, compile_structure, day_number
from bom.structure.calendar import ShopCalendar
from bom.supply.netting import Netting, net
from bom.supply.supplies import Supplies, gather_supplies, leave_out_too_old
from bom.values import Shop


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
    buy: tuple[BuyRow, ...]
    found: Arrivals
    answers: tuple[JobAnswer, ...]


def plan(shop: Shop, structure: Structure | None = None) -> Plan:
    """Work out the whole plan of a shop.

    Parameters
    ----------
    shop : everything that is known, frozen
    structure : the compiled catalog of this very shop, when the caller has kept it

    Raises
    ------
    ShopError
        With every fault of the lists: cycles, whole-pump totals with a remainder, options that nobody answered.
    """
    structure = structure or compile_structure(shop.catalog)
    calendar = ShopCalendar(shop.workdays, shop.holidays)
    as_of = day_number(shop.as_of)
    demand = gather_demand(structure, shop)
    job_numbers = {asker.name: number for number, asker in enumerate(demand.askers) if asker.job}
    supplies = gather_supplies(structure, as_of, shop.lots, shop.orders, shop.issues, job_numbers)
    netting = net(demand, supplies, calendar, as_of, shop.staging_days, shop.lots)
    leave_out_too_old(supplies, netting.first_build)
    book = OfferBook(structure, calendar, as_of)
    missing = uncovered_by_item(demand, netting)
    buy = Purchasing(demand, supplies, netting, book, calendar, shop.orders).rows(missing)
    bought_on = {row.item: row.purchase.arrives_on for row in buy}
    found = arrivals(demand, supplies, netting, calendar, as_of, bought_on)
    leads = {row.item: row.purchase.lead for row in buy}
    answers = job_answers(demand, supplies, netting, found, calendar, as_of, book.leads, leads)
    return Plan(shop, calendar, as_of, demand, supplies, netting, book, tuple(buy), found, answers)
