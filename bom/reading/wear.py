"""What may be found worn of one item: over all jobs, and in each of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from bom.plan import Plan
from bom.reading.askers import Asker
from bom.values import ONE


@dataclass(frozen=True, slots=True)
class Wear:
    """What may be found worn of one item over all jobs: ``planned`` covers it as sure as the shop wants to be.

    ``positions`` and ``planned`` in millionths, ``expected`` in stock units.
    """

    positions: int
    expected: float
    planned: int


@dataclass(frozen=True, slots=True)
class WearInJob:
    """What one job may ask of an item that it looks at: millionths with the chance of each, and what its kits spare."""

    asker: Asker
    looked_at: tuple[tuple[int, Fraction], ...]
    spares: int


def wear_of(plan: Plan, item: int) -> Wear | None:
    """The wear of one item; None where nothing of it is looked at.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    """
    cover = plan.netting.covers.get(item)
    return None if cover is None else Wear(cover.positions, cover.expected, sum(cover.planned))


def wear_in_jobs(plan: Plan, item: int, askers: tuple[Asker, ...]) -> Iterator[WearInJob]:
    """Each job that looks at an item, in the order in which they are built.

    Parameters
    ----------
    plan : the finished plan
    item : number of the item
    askers : jobs and other needs in the order of serving
    """
    one = ONE if plan.demand.structure.countable[item] else 1
    for wear in sorted(plan.demand.wear.get(item, ()), key=lambda wear: (wear.day, wear.job)):
        looked_at = tuple((chance.count * chance.weight * one, chance.p) for chance in wear.chances)
        yield WearInJob(askers[wear.job], looked_at, wear.spares * one)
