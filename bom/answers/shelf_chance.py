"""The chance that the shelf is enough for wear, and the quantity that it is worked out from."""

from __future__ import annotations

from dataclasses import dataclass

from bom.plan import Plan
from bom.values import ONE

CHANCE_DECIMALS = 9
"""What lies below is the rounding of the transforms that chances come from."""


@dataclass(frozen=True, slots=True)
class ShelfChance:
    """What the shelf has for the wear of one item.

    Parameters
    ----------
    chance : that it is enough for all that may be found worn; None for measured items
    with_one_more : the same with one piece more on the shelf
    left : millionths that the sure pieces leave on lots that live to the last build day of wear
    build_day : that day, a day number
    sure_lacks : millionths of the sure pieces that are not served from the shelf; with any of them there is no chance
    """

    chance: float | None
    with_one_more: float | None
    left: int
    build_day: int
    sure_lacks: int


def shelf_chance(plan: Plan, item: int) -> ShelfChance | None:
    """What the shelf has for the wear of an item; None where nothing of it is still to be looked at.

    Up to a later build day more may be found worn, and fewer lots live: of all build days the last one decides.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    cover = plan.netting.covers.get(item)
    if cover is None or not cover.positions:
        return None
    left, lacks = int(plan.netting.left_for_wear[item]), int(plan.netting.not_from_shelf[item])

    def enough(pieces: int) -> float | None:
        if not cover.enough.size:
            return None
        return round(float(cover.enough[min(pieces, cover.enough.size - 1)]), CHANCE_DECIMALS)

    chance, with_one_more = enough(left // ONE), enough(left // ONE + 1)
    if lacks and chance is not None:  # one piece more goes to what is sure first, which may be all that lacks
        chance, with_one_more = 0.0, chance if lacks <= ONE else 0.0
    return ShelfChance(chance, with_one_more, left, cover.days[-1], lacks)
