"""The life that a lot has left when it comes in, held against what was asked for when it was bought."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from bom.structure.cure import Cure, parse_cure
from bom.structure.shelf_life import has_minimum_life, last_use, parse_minimum_life
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full, least_life
from kits.catalog.models import Item
from kits.stock.models import Lot
from kits.stock.writes import LotFacts

MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class LotLife:
    """When the clock of a lot started, what is printed on its bag, when it came, and its last day; None as unknown."""

    cure: Cure | None
    printed: date | None
    received_on: date
    end: date | None


@dataclass(frozen=True, slots=True)
class AskedLife:
    """What the plan asks of a lot that does not last to it: to last to a day, so to be cured in a quarter or later.

    ``leaves_short`` are the jobs and other needs that go short because the lot is no younger.
    """

    lasts_to: date
    oldest_cure: str
    leaves_short: tuple[tuple[str, Amount], ...]


def life_of(item: Item, facts: LotFacts, known: Lot | None, today: date) -> LotLife:
    """The life of a lot by what stands on its bag, and by what is known of it where the bag says nothing."""
    cure = Cure(known.cure_on) if known and known.cure_on else None
    if facts.cure:
        cure = parse_cure(facts.cure, today)
    printed = facts.printed_last_use_on or (known.printed_last_use_on if known else None)
    return LotLife(cure, printed, facts.received_on or today, last_use(cure, item.shelf_life_months, printed))


def too_old(item: Item, life: LotLife, asked: AskedLife | None) -> str:
    """Say what a lot lacks of the life that is asked for, and whom that leaves short; empty where it lacks nothing."""
    lacks = []
    if item.min_life_at_receipt and not has_minimum_life(
        life.cure,
        item.shelf_life_months,
        life.printed,
        life.received_on,
        parse_minimum_life(item.min_life_at_receipt),
    ):
        left = "no known last day of use" if life.end is None else f"life left to {in_full(life.end)}"
        lacks.append(f"has {left}, less than the {least_life(item.min_life_at_receipt)} asked for at receipt")
    if asked is not None:
        may_be = "" if lacks or life.end is None else f"may be used up to {in_full(life.end)}, but "
        cured = f" (cured in {asked.oldest_cure} or later)" if asked.oldest_cure else ""
        lacks.append(f"{may_be}has to last to {in_full(asked.lasts_to)}{cured}")
    if not lacks:
        return ""
    return f"{', and '.join(lacks)}; {_leaves_short(asked.leaves_short if asked else ())}"


def _leaves_short(jobs: Sequence[tuple[str, Amount]]) -> str:
    if not jobs:
        return "it leaves no job short"
    (first, amount), *others = jobs[:MOST_NAMED]
    said = [f"{first} short by {amount.text}", *(f"{name} by {lacks.text}" for name, lacks in others)]
    said += [f"{len(jobs) - MOST_NAMED} more"] if len(jobs) > MOST_NAMED else []
    return f"it leaves {' and '.join(filter(None, (', '.join(said[:-1]), said[-1])))}"
