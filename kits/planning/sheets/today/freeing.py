"""What frees most jobs of the whole shop: a purchase, a call about an overdue order, or what lies there already."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bom.plan import Plan
from bom.questions.feasible import Release, what_frees
from kits.planning.queries import kept_beside, reading_of
from kits.planning.questions.batch_advice import AdviceDraft
from kits.planning.questions.freeing import Frees, freeing_numbers, frees_rows, releases_for
from kits.planning.questions.shelf_answer import is_quick
from kits.planning.words.item_names import item_names


def releases_of_shop(plan: Plan) -> Sequence[Release]:
    """What frees jobs of the whole shop, worked out once for each plan.

    In a shop of many jobs the ways of doing without a purchase, which take long, are told on the sheets of its batches.
    """
    return kept_beside(plan, "freeing of the shop", lambda: _releases(plan))


def best_first(releases: Iterable[Release]) -> list[Release]:
    """By how many jobs each frees in time, then by how many it frees at all; one thing before two together."""
    return sorted(releases, key=lambda row: (len(row.holds) > 1, -len(row.in_time), -len(row.jobs)))


def shop_frees(plan: Plan, releases: Sequence[Release]) -> tuple[Frees, ...]:
    """Some of them as they are shown; one statement."""
    names = item_names(freeing_numbers(releases))
    return frees_rows(releases, reading_of(plan).jobs, names, plan.shop.as_of)


def _releases(plan: Plan) -> Sequence[Release]:
    jobs = list(reading_of(plan).jobs)
    return AdviceDraft(plan, jobs).releases if is_quick(plan) else releases_for(what_frees(plan), jobs)
