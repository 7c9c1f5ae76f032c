"""Changes of the lists that past rebuilds speak for, each with its evidence, less those that were decided against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from bom.plan import Plan
from bom.questions.lists.list_care import LEAST_PUMPS as LEAST_PUMPS
from bom.questions.lists.list_care import CareProposal, always_left_over, taken_besides
from kits.catalog.folding import fold
from kits.catalog.models import DismissedChange, Item
from kits.picking.care.evidence import Seen, closed_after, rebuilds_seen

Key = tuple[str, str, str]
"""Pump or kit, scope (empty for a kit) and part, folded."""


@dataclass(frozen=True, slots=True)
class ProposedChange:
    """A list that past rebuilds speak against: a kit leaves the part over, or a pump takes it besides."""

    of: Item
    scope: str
    part: Item
    found: CareProposal

    @property
    def is_kit(self) -> bool:
        """Whether a kit leaves it over."""
        return not self.scope

    @property
    def thing(self) -> tuple[str, str, str]:
        """What it is about: pump or kit, scope, part."""
        return self.of.part_number, self.scope, self.part.part_number

    @property
    def seen(self) -> str:
        """What was seen, in words."""
        found, each = self.found, f"{self.found.each}{'' if self._even else ' or more'}"
        pumps = f"{found.showing} of {found.pumps} rebuilds"
        return f"{each} left over of each kit, in {pumps}" if self.is_kit else f"{each} beyond the list, in {pumps}"

    @property
    def _even(self) -> bool:
        return len({one.shows for one in self.found.witnesses if one.shows}) < 2

    @property
    def key(self) -> Key:
        """What tells it from any other proposal."""
        return self.of.folded, fold(self.scope), self.part.folded


def proposed_changes(plan: Plan) -> list[ProposedChange]:
    """Everything that past rebuilds speak for, kits last; two statements besides those of the evidence."""
    seen = rebuilds_seen(plan)
    found = [*taken_besides(closed_after(seen, None)), *always_left_over(closed_after(seen, None))]
    numbers = {number for one in found for number in (one.of, one.part_number)}
    items = {item.part_number: item for item in Item.objects.filter(part_number__in=numbers)}
    decided = _decided_against() if found else {}
    changes = []
    for one in found:
        change = ProposedChange(items[one.of], one.scope, items[one.part_number], one)
        if since := decided.get(change.key):
            again = _shown_since(seen, one, since)
            if again is None:
                continue
            change = ProposedChange(change.of, change.scope, change.part, again)
        changes.append(change)
    return changes


def find_proposal(plan: Plan, of: str, scope: str, part_number: str) -> ProposedChange | None:
    """One proposal that stands now, however its numbers are spelled."""
    key = fold(of), fold(scope), fold(part_number)
    return next((one for one in proposed_changes(plan) if one.key == key), None)


def _decided_against() -> Mapping[Key, datetime]:
    """When each proposal was decided against last; one statement."""
    rows = DismissedChange.objects.order_by("pk").values_list("of__folded", "scope", "item__folded", "at")
    return {(of, fold(scope), item): at for of, scope, item, at in rows}


def _shown_since(seen: Seen, one: CareProposal, since: datetime) -> CareProposal | None:
    rows = list(closed_after(seen, since))
    found = always_left_over(rows) if not one.scope else taken_besides(rows)
    key = one.of, one.scope, one.part_number
    return next((other for other in found if (other.of, other.scope, other.part_number) == key), None)
