"""Which kits could serve a job: one for the whole pump or kits for its sections, and which of them waste least."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from bom.errors import ShopError
from bom.plan import Plan
from bom.questions.kits.advice import KitWay, kit_advice
from bom.values import ONE
from kits.planning.lists.buy_lists import money
from kits.planning.questions.kit_uses import SomeParts
from kits.planning.questions.proposals import some
from kits.planning.words.item_names import ItemName

MOST_WAYS = 6


@dataclass(frozen=True, slots=True)
class WayRow:
    """One way of covering a job with kits; ``loose`` are the parts still given loose, ``value`` what is left over."""

    kits: tuple[SomeParts, ...]
    left_over: tuple[SomeParts, ...]
    value: Decimal | None
    kit_price: Decimal | None
    loose: int
    is_planned: bool
    beyond_scope: bool


@dataclass(frozen=True, slots=True)
class KitWays:
    """The ways of a job, the one that wastes least on top; ``says`` by what they are ranked."""

    says: str
    rows: tuple[WayRow, ...]
    more: int


class WaysDraft:
    """The ways of one job before their parts have names; empty where there is no choice."""

    def __init__(self, plan: Plan, job: str) -> None:
        self.ranked_by, self.complete = "", True
        self.ways: Sequence[KitWay] = ()
        try:
            found = kit_advice(plan, job)
        except ShopError:  # the plan has said already what is wrong
            return
        if len(found.ways) > 1:
            self.ways, self.ranked_by, self.complete = found.ways, found.ranked_by, found.is_complete

    def numbers(self) -> Iterator[str]:
        """The parts whose names are needed."""
        for way in self.ways[:MOST_WAYS]:
            yield from (use.kit for use in way.uses)
            yield from (part for part, _ in way.surplus)

    def named(self, names: Mapping[str, ItemName]) -> KitWays | None:
        """The ways as they are shown."""
        if not self.ways:
            return None
        by = "what is left over is worth least" if self.ranked_by == "value" else "the fewest pieces are left over"
        says = f"The way by which {by} stands on top; the plan never changes by itself."
        if not self.complete:
            says += " There are too many ways to compare them all."
        rows = tuple(way_row(way, names) for way in self.ways[:MOST_WAYS])
        return KitWays(says, rows, max(0, len(self.ways) - MOST_WAYS))


def way_row(way: KitWay, names: Mapping[str, ItemName]) -> WayRow:
    """One way as it is shown."""
    return WayRow(
        kits=tuple(some(names, use.kit, use.count * ONE) for use in way.uses),
        left_over=tuple(some(names, part, quantity) for part, quantity in way.surplus),
        value=money(way.value),
        kit_price=money(way.kit_price),
        loose=len(way.loose),
        is_planned=way.is_planned,
        beyond_scope=way.beyond_scope,
    )
