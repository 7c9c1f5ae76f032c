"""Clean work: rounds of their own, by people who were trained for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.people.roles import CLEAN_WORK, PICK_CLEAN
from kits.picking.errors import PickRefusal
from kits.picking.words import CLASS_SAYS
from kits.planning.words.states import in_words
from kits.schedule.models import Job


def class_of_bag(of_job: str, of_item: str) -> Cleanliness:
    """The class of the bag into which an item goes: a clean job has one for its class, and one for ordinary parts."""
    return Cleanliness(of_job) if of_item == of_job else Cleanliness.NORMAL


def may_pick_class(person: User, cleanliness: str) -> bool:
    """Whether somebody may put pieces into bags of this class."""
    return cleanliness == Cleanliness.NORMAL or person.has_perm(f"picking.{PICK_CLEAN}")


def refuse_mixed(jobs: Sequence[Job]) -> None:
    """Refuse a round in which a hand would go from ordinary parts to clean ones, or from one class to another."""
    by_class: dict[str, list[str]] = defaultdict(list)
    for job in jobs:
        by_class[job.cleanliness].append(job.job)
    if len(by_class) > 1:
        named = [
            f"{in_words(names)} {'is' if len(names) == 1 else 'are'} {CLASS_SAYS[Cleanliness(kind)]}"
            for kind, names in sorted(by_class.items(), key=lambda one: one[1])
        ]
        raise PickRefusal(f"{', '.join(named)}: start a round of its own for each class.")


def refuse_untrained(person: User, cleanliness: str, what: object) -> None:
    """Refuse clean work to somebody who was not trained for it."""
    if not may_pick_class(person, cleanliness):
        raise PickRefusal(
            f"{what} is {CLASS_SAYS[Cleanliness(cleanliness)]}: only people trained for that pick it. The "
            f"administrator puts them into the group {CLEAN_WORK.name}."
        )
