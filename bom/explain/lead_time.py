"""Lead times explained: working days on which the supplier is open, then those in transit, forward and back."""

from __future__ import annotations

from datetime import date

from bom.buying.leads import Lead
from bom.explain.tree import Fact, Rule, Unit, Why, day, given
from bom.plan import Plan
from bom.structure.arrays import day_number


def why_arrival(plan: Plan, says: str, lead: Lead | None, **facts: Fact) -> Why:
    """The day on which a purchase of today is here.

    Parameters
    ----------
    plan : the finished plan
    says : what it is called in the tree
    lead : the lead time, None when unknown
    """
    today, on = day("today", plan.as_of), plan.book.leads.arrival(lead)
    if lead is None or lead.closed is None:
        return day(says, on, Rule.FORWARD, (today, _lead_time(lead)), **facts)
    sent_on = plan.book.leads.suppliers_calendar(lead.closed).forward(plan.shop.as_of, lead.days)
    sent = day("sent off", day_number(sent_on), Rule.FORWARD, (today, _suppliers(lead)), **_closed(lead))
    return day(says, on, Rule.FORWARD, (sent, _transit(lead)), **facts)


def why_order_by(plan: Plan, need: Why, lead: Lead | None) -> Why:
    """The last day on which something may be ordered and be here on its day of need; unknown where one of them is.

    Parameters
    ----------
    plan : the finished plan
    need : the day of need
    lead : the lead time, None when unknown
    """
    if lead is None or not isinstance(need.value, date):
        return day("order by", None, Rule.BACK, (need, _lead_time(lead)))
    if lead.closed is None:
        on = plan.calendar.back(need.value, lead.total)
        return day("order by", day_number(on), Rule.BACK, (need, _lead_time(lead)))
    sent_on = plan.calendar.back(need.value, lead.transit)
    sent = day("to be sent off", day_number(sent_on), Rule.BACK, (need, _transit(lead)))
    on = plan.book.leads.suppliers_calendar(lead.closed).back(sent_on, lead.days)
    return day("order by", day_number(on), Rule.BACK, (sent, _suppliers(lead)), **_closed(lead))


def _lead_time(lead: Lead | None) -> Why:
    if lead is None or not lead.transit:
        return given("lead time", None if lead is None else lead.days, Unit.DAYS)
    return Why("lead time", lead.total, Unit.DAYS, Rule.SUM, (_suppliers(lead), _transit(lead)))


def _suppliers(lead: Lead) -> Why:
    return given("supplier", lead.days, Unit.DAYS)


def _transit(lead: Lead) -> Why:
    return given("in transit", lead.transit, Unit.DAYS)


def _closed(lead: Lead) -> dict[str, Fact]:
    first, last = lead.closed or (None, None)
    return {"closed_from": first, "closed_to": last}
