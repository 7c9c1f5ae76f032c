"""What could be done about a batch: what frees most, what to open first, what the shelf could finish, kit or loose."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from bom.plan import Plan
from bom.questions.feasible import what_frees
from bom.questions.kits.kit_or_loose import kit_or_loose
from bom.questions.wear_outlook import look_at_wear
from kits.planning.queries import shared_beside
from kits.planning.questions.freeing import Frees, freeing_numbers, frees_rows, instead_of_buying, releases_for
from kits.planning.questions.proposals import (
    KitOrLoose,
    Proposal,
    kit_or_loose_says,
    proposal_numbers,
    proposals,
    proposals_for,
)
from kits.planning.questions.shelf_answer import ShelfAnswer, choice_numbers, choice_of, is_quick, shelf_answer
from kits.planning.questions.wear_watch import WearWatch, weakest_numbers, wear_watch
from kits.planning.words.item_names import ItemName

SECONDS = 2.0


@dataclass(frozen=True, slots=True)
class BatchAdvice:
    """Everything on a batch's sheet that is advice; ``shelf`` is None where it has to be asked for."""

    watch: WearWatch
    frees: tuple[Frees, ...]
    proposals: tuple[Proposal, ...]
    kit_or_loose: KitOrLoose | None
    shelf: ShelfAnswer | None


class AdviceDraft:
    """The advice of the plan for some jobs, before the names of its parts have been read."""

    def __init__(self, plan: Plan, jobs: Sequence[str]) -> None:
        self.as_of, self.jobs = plan.shop.as_of, frozenset(jobs)
        self.outlook = look_at_wear(plan, self.jobs)
        mix = shared_beside(plan, "mix", lambda: kit_or_loose(plan, time_limit=SECONDS))
        self.raw = proposals_for(plan, self.jobs, mix)
        self.releases = releases_for(what_frees(plan, instead_of_buying(self.raw, plan)), self.jobs)
        self.choice = choice_of(plan) if is_quick(plan) else None

    def numbers(self) -> Iterator[str]:
        """The parts whose names are needed."""
        yield from weakest_numbers(self.outlook)
        yield from freeing_numbers(self.releases)
        yield from proposal_numbers(self.raw)
        if self.choice:
            yield from choice_numbers(self.choice, self.jobs)

    def named(self, names: Mapping[str, ItemName]) -> BatchAdvice:
        """The advice as it is shown."""
        return BatchAdvice(
            watch=wear_watch(self.outlook, names, self.as_of),
            frees=frees_rows(self.releases, self.jobs, names, self.as_of),
            proposals=proposals(self.raw, names, self.as_of),
            kit_or_loose=kit_or_loose_says(self.raw, names),
            shelf=shelf_answer(self.choice, self.jobs, names) if self.choice else None,
        )
