"""What is asked about a line of a reply before it is accepted, and the readings that are offered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal
from typing import Any

from kits.catalog.amounts import price_text

PART, SUPPLIER, PRICE, CURRENCY, QUANTITY, PROMISED, REFUSED, LINE = (
    "part", "supplier", "price", "currency", "quantity", "promised", "refused", "line"
)  # fmt: skip
"""What a question is about. All that is odd about one of them is one question, for one answer settles it."""


@dataclass(slots=True)
class Question:
    """What is odd about one thing, and how it may be meant: in words, and what of the stated it takes instead."""

    says: list[str] = field(default_factory=list)
    readings: list[tuple[str, dict[str, str]]] = field(default_factory=list)


@dataclass(slots=True)
class Questions:
    """The questions of one line."""

    by_topic: dict[str, Question] = field(default_factory=dict)

    def ask(self, topic: str, says: str, *readings: tuple[str, Mapping[str, str]]) -> None:
        """Ask about something; the same readings are offered once."""
        question = self.by_topic.setdefault(topic, Question())
        question.says.append(says)
        offered = [takes for _, takes in question.readings]
        question.readings += [(words, dict(takes)) for words, takes in readings if takes not in offered]

    def as_json(self) -> list[dict[str, Any]]:
        """The questions as they are kept with the line."""
        return [
            {
                "topic": topic,
                "says": question.says,
                "readings": [{"says": words, "takes": takes} for words, takes in question.readings],
            }
            for topic, question in self.by_topic.items()
        ]


def price_readings(price: Decimal, packs_of: list[Decimal], *, whole_line: Decimal) -> list[tuple[str, dict[str, str]]]:
    """A price of a pack, of a piece, or of so many packs together."""
    found = []
    for pack in packs_of:
        found.append(
            (
                f"{price_text(price)} for a pack of {as_text(pack)}",
                {"price": as_text(price), "pack": as_text(pack)},
            )
        )
    for pack in packs_of:
        if pack != 1:
            of_pack = price * pack
            words = f"{price_text(price)} a piece, {price_text(of_pack)} for a pack of {as_text(pack)}"
            found.append((words, {"price": as_text(of_pack), "pack": as_text(pack)}))
    if whole_line > 1 and whole_line == whole_line.to_integral_value():
        of_one = (price / whole_line).quantize(Decimal("0.0001"))
        words = f"{price_text(price)} for all {as_text(whole_line)} packs, {price_text(of_one)} for one"
        found.append((words, {"price": as_text(of_one), "pack": as_text(packs_of[0])}))
    return found


def quantity_readings(number: Decimal, pack: Decimal, unit: str) -> list[tuple[str, dict[str, str]]]:
    """So many packs, so many pieces, or the next whole packs."""
    pieces = "" if unit == "each" else f" {unit}"
    found = [(f"{as_text(number)}{pieces}, not in whole packs", {"quantity": as_text(number)})]
    if number == number.to_integral_value():
        found.insert(
            0,
            (
                f"{_packs(number)} of {as_text(pack)}: {as_text(number * pack)}{pieces}",
                {"packs": as_text(number)},
            ),
        )
    whole = (number / pack).to_integral_value(ROUND_CEILING)
    if number % pack and whole != number:
        says = f"{_packs(whole)} of {as_text(pack)}, the next whole: {as_text(whole * pack)}{pieces}"
        found.append((says, {"packs": as_text(whole)}))
    return found


def _packs(number: Decimal) -> str:
    return f"{as_text(number)} pack{'' if number == 1 else 's'}"


def as_text(number: Decimal | int | None) -> str:
    """A number without needless zeros, empty for none."""
    if number is None:
        return ""
    plain = f"{Decimal(number):f}"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain
