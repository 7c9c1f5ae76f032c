"""What jobs hold beyond their need, in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection

from bom.plan import Plan
from bom.questions.bag_check import held_beyond_need
from kits.planning.words.item_names import item_names
from kits.stock.packed_kits.last_uses import recorded_kits

HELD_SAYS = {"issued": "in its bag", "bagged": "in its bag", "reserved": "set aside on the shelf"}


def beyond_words(plan: Plan, jobs: Collection[str]) -> dict[str, list[str]]:
    """Return what each of some jobs holds beyond its need, such as ``2 of OR-014 in its bag``; three statements."""
    found: dict[tuple[str, str, str], int] = defaultdict(int)
    for row in held_beyond_need(plan, recorded_kits(), jobs):
        found[row.job, row.part_number, HELD_SAYS[row.state]] += row.quantity
    names = item_names({part for _, part, _ in found})
    words: dict[str, list[str]] = defaultdict(list)
    for (job, part, where), quantity in found.items():
        words[job].append(f"{names[part].amount(quantity).text} of {part} {where}")
    return dict(words)
