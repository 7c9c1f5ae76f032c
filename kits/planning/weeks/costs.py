"""What parts cost: the item's own cost, else the cheapest offer, else what its contents cost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from bom.reading import Asker, Lists, Reading
from bom.values import ONE
from kits.catalog.models import Item
from kits.catalog.queries import read_settings
from kits.planning.lists.shelf_value import CENT, offered_costs
from kits.planning.queries import lists_now


@dataclass(frozen=True, slots=True)
class Cost:
    """A sum of money, and how many parts are not in it because nobody knows what they cost."""

    sum: Decimal
    unknown: int = 0

    @classmethod
    def total(cls, costs: Iterable[Cost]) -> Cost:
        """Several costs together."""
        known = list(costs)
        return cls(sum((cost.sum for cost in known), Decimal(0)), sum(cost.unknown for cost in known))


class PartCosts:
    """What one stock unit of each item costs the shop; three statements."""

    def __init__(self, lists: Lists | None = None) -> None:
        offered = offered_costs(read_settings().currency)
        self._lists = lists or lists_now()
        self._own: dict[str, Decimal] = {}
        for pk, part_number, unit_cost in Item.objects.values_list("pk", "part_number", "unit_cost"):
            cost = unit_cost if unit_cost is not None else offered.get(pk, (None, ""))[0]
            if cost is not None:
                self._own[part_number] = cost
        self._found: dict[str, Decimal | None] = {}

    def of(self, part_number: str) -> Decimal | None:
        """The cost of one stock unit; None where it is not known, or that of a piece inside is not."""
        if part_number not in self._found:
            self._found[part_number] = self._worked_out(part_number)
        return self._found[part_number]

    def _worked_out(self, part_number: str) -> Decimal | None:
        own = self._own.get(part_number)
        if own is not None or part_number not in self._lists:
            return own
        inside = [(self.of(held.child), held.quantity) for held in self._lists.inside(part_number)]
        if not inside or any(cost is None for cost, _ in inside):
            return None
        return sum((cost * quantity / ONE for cost, quantity in inside if cost is not None), Decimal(0))

    def sum_of(self, amounts: Iterable[tuple[str, int | Fraction]]) -> Cost:
        """The cost of amounts in millionths, in cents."""
        wanted: dict[str, int | Fraction] = defaultdict(int)
        for part_number, quantity in amounts:
            wanted[part_number] += quantity
        found, unknown = Decimal(0), 0
        for part_number, quantity in wanted.items():
            cost = self.of(part_number)
            if cost is None:
                unknown += 1
            else:
                found += cost * _decimal(quantity) / ONE
        return Cost(found.quantize(CENT), unknown)


def planned_costs(reading: Reading, costs: PartCosts) -> dict[Asker, Cost]:
    """What the parts of each job are planned to cost: what it has, what it is sure to need, what may be found worn."""
    expected = expected_wear(reading)
    has: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for issue in reading.plan.shop.issues:
        if issue.state == "issued":
            has[issue.job].append((issue.part_number, issue.quantity))
    return {
        asker: costs.sum_of((*has[asker.name], *_sure(reading, asker), *expected.get(asker, ())))
        for asker in reading.jobs.values()
    }


def expected_wear(reading: Reading) -> dict[Asker, list[tuple[str, Fraction]]]:
    """Millionths of each part that each job is expected to renew after a look, less the spares of its kits."""
    found: dict[Asker, list[tuple[str, Fraction]]] = defaultdict(list)
    for part_number in reading.worn_in(reading.jobs.values()):
        for wear in reading.wear_in_jobs(part_number):
            expected = sum((quantity * chance for quantity, chance in wear.looked_at), Fraction(0)) - wear.spares
            if expected > 0:
                found[wear.asker].append((part_number, expected))
    return dict(found)


def _sure(reading: Reading, asker: Asker) -> Iterator[tuple[str, int]]:
    for part_number, served in reading.served_of(asker):
        yield part_number, served.quantity


def _decimal(quantity: int | Fraction) -> Decimal:
    return Decimal(quantity.numerator) / quantity.denominator
