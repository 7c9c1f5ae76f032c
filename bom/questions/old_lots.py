"""Lots that come in older than they were asked for: how long they have to last, and whom they would leave short.

What is asked of a lot is what the purchase list asks for the same pieces as long as they are not here: that it lasts to
the latest build that nothing else serves. Whom it leaves short is found by planning twice, with the lot as it is and
with one that lasts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from bom.buying.purchases import uncovered_by_item
from bom.explain import shortfalls
from bom.plan import Plan, plan
from bom.structure.arrays import Structure, as_date, compile_structure
from bom.structure.shelf_life import Cure, oldest_cure_quarter
from bom.values import ASKING_STAGES, Lot, Shop


@dataclass(frozen=True, slots=True)
class OldLot:
    """A lot that does not last to the latest build it was asked for; ``place`` tells which of the lots that come in.

    ``oldest_cure`` is the oldest quarter that would have, None where the item's life is not counted from its cure.
    ``leaves_short`` has millionths by job or other need, of all old lots of the item together.
    """

    place: int
    latest_build: date
    oldest_cure: Cure | None
    leaves_short: tuple[tuple[str, int], ...]


def latest_day(shop: Shop) -> date:
    """Return the last day on which anything is asked for; a lot that lasts to it is old for nobody.

    Parameters
    ----------
    shop : everything that is known
    """
    builds = [job.build_on for job in shop.jobs if job.stage in ASKING_STAGES]
    return max([*builds, *(need.need_on for need in shop.needs)], default=date.min)


def old_lots(without: Shop, lots: Sequence[Lot], structure: Structure | None = None) -> list[OldLot]:
    """Return those of the lots that are older than asked for.

    Parameters
    ----------
    without : the shop without the lots, and without what they bring in its orders
    lots : what comes in
    structure : the compiled catalog of this very shop, when the caller has kept it
    """
    end = latest_day(without)
    dying = [n for n, lot in enumerate(lots) if lot.condition == "usable" and (lot.last_use or end) < end]
    if not dying:
        return []
    structure = structure or compile_structure(without.catalog)
    before = plan(without, structure)
    asked = _latest_builds(before)
    old = [n for n in dying if (lots[n].last_use or end) < asked.get(lots[n].part_number, date.min)]
    if not old:
        return []
    lasting = [replace(lot, last_use=end) if n in old else lot for n, lot in enumerate(lots)]
    shops = (replace(without, lots=(*without.lots, *some)) for some in (lots, lasting))
    short, least = (_short(plan(shop, structure, before)) for shop in shops)
    more = short - least
    return [_old_lot(n, lots[n].part_number, asked, more, structure) for n in old]


def _old_lot(
    place: int, part_number: str, asked: dict[str, date], more: Counter[tuple[str, str]], structure: Structure
) -> OldLot:
    latest = asked[part_number]
    months = structure.items[structure.index[part_number]].life_months
    left = sorted((name, quantity) for (part, name), quantity in more.items() if part == part_number)
    return OldLot(place, latest, oldest_cure_quarter(latest, months), tuple(left))


def _latest_builds(without: Plan) -> dict[str, date]:
    """By part number, the latest build for which something of it has to be bought."""
    missing, items = uncovered_by_item(without.demand, without.netting), without.demand.structure.items
    days = zip(missing.item.tolist(), missing.latest_build.tolist(), strict=True)
    return {items[item].part_number: as_date(day) for item, day in days}


def _short(plan: Plan) -> Counter[tuple[str, str]]:
    """Millionths that jobs and other needs lack on their day, by part number and name."""
    askers, items = plan.demand.askers, plan.demand.structure.items
    return Counter(
        {
            (items[item].part_number, askers[asker].name): lack.missing + lack.late
            for asker, lacks in shortfalls(plan).items()
            for item, lack in lacks.items()
        }
    )
