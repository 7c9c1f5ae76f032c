"""Who asks for parts: jobs and other needs, in the order in which they are numbered, and whose lots they may take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from bom.demand.recipes import Conditions
from bom.structure.arrays import day_number
from bom.structure.keys import fold
from bom.structure.tables import Ints
from bom.values import Job, OtherNeed


class Taker(NamedTuple):
    """Who takes a piece: the folded name of the customer, for lots with an owner; whether it goes into a clean kit."""

    customer: str = ""
    clean: bool = False


@dataclass(frozen=True, slots=True)
class Asker:
    """A job or another need that asks for parts; askers are numbered in the order priority, build day, name.

    ``recipe`` is -1 for another need. ``condition`` is the row of the conditions that kits packed for it must meet.
    """

    name: str
    priority: int
    build_day: int
    customer: str
    recipe: int
    condition: int
    job: Job | None
    need: OtherNeed | None

    @property
    def taker(self) -> Taker:
        """Who takes what this asker asks for."""
        return Taker(self.customer)


def askers_of(
    asking: Sequence[Job], of_job: Ints, needs: Sequence[OtherNeed], conditions: Conditions
) -> tuple[Asker, ...]:
    """Return everybody who asks, in the order of their numbers.

    Parameters
    ----------
    asking : the jobs that ask for parts
    of_job : recipe number of each of these jobs
    needs : everything else that asks for parts
    conditions : those that each recipe meets, and each band of days
    """
    rows = [
        Asker(
            job.job,
            job.priority,
            day_number(job.build_on),
            fold(job.customer),
            int(recipe),
            int(recipe),
            job,
            None,
        )
        for job, recipe in zip(asking, of_job, strict=True)
    ]
    for need in needs:
        day = day_number(need.need_on)
        name = fold(need.for_whom)
        rows.append(Asker(need.need, need.priority, day, name, -1, conditions.on_day(day), None, need))
    return tuple(sorted(rows, key=lambda row: (row.priority, row.build_day, row.name, row.need is not None)))
