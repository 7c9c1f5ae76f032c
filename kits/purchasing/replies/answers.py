"""What is accepted of a line of a reply, once everything that was asked about it is answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.purchasing.models import ReplyLine, Supplier

BY_HAND = "put right by hand"
"""The answer to a question of which none of the offered readings was meant, or to which there is none."""


@dataclass(frozen=True, slots=True)
class SupplierAnswer:
    """What a supplier says of something to buy, or that he does not bid. Blank fields change nothing."""

    supplier: Supplier
    item: Item
    pack_size: int = ONE
    price_per_pack: Decimal | None = None
    currency: str = ""
    lead_days: int | None = None
    quantity: int | None = None
    promised_on: date | None = None
    valid_to_on: date | None = None
    refused: bool = False
    note: str = ""


def answer_as_stated(line: ReplyLine) -> SupplierAnswer:
    """The answer that a line of which nothing is asked gives by itself."""
    stated: dict[str, str] = line.stated
    supplier = Supplier.objects.by_name(stated.get("supplier", ""))
    if supplier is None or line.item is None:
        raise Refusal(f"{line.key}: the supplier or the part is not known any more: look at the line.")
    return SupplierAnswer(
        supplier=supplier,
        item=line.item,
        pack_size=_millionths(stated.get("pack", "1")) or ONE,
        price_per_pack=Decimal(stated["price"]) if "price" in stated else None,
        currency=stated.get("currency", ""),
        lead_days=int(stated["lead"]) if "lead" in stated else None,
        quantity=_millionths(stated["quantity"]) if "quantity" in stated else None,
        promised_on=_day(stated.get("promised")),
        valid_to_on=_day(stated.get("valid")),
        refused="refused" in stated,
        note=stated.get("note", ""),
    )


def require_answers(line: ReplyLine, answers: Mapping[str, str]) -> None:
    """Refuse to take up a line as long as something that is asked about it has no answer."""
    open_ones = [question for question in line.questions if not answers.get(question["topic"])]
    if open_ones:
        says = " ".join(open_ones[0]["says"])
        raise Refusal(f"{line.key}: {says.rstrip('.')}. Look at the line and say how it is meant.")


def with_readings(line: ReplyLine, chosen: Mapping[str, str]) -> dict[str, str]:
    """What the chosen readings make of a line, in the words of the answer; ``chosen`` are their numbers by topic."""
    taken: dict[str, str] = {}
    for question in line.questions:
        number = chosen.get(question["topic"], "")
        if number.isascii() and number.isdigit() and int(number) < len(question["readings"]):
            taken |= question["readings"][int(number)]["takes"]
    packs = taken.pop("packs", "")
    if packs:
        pack = Decimal(taken.get("pack") or line.stated.get("pack") or 1)
        taken["quantity"] = f"{(Decimal(packs) * pack).normalize():f}"
    return taken


def answers_in_words(line: ReplyLine, chosen: Mapping[str, str]) -> dict[str, str]:
    """What was said to each question, by topic, as it is kept."""
    said: dict[str, str] = {}
    for question in line.questions:
        topic, readings = question["topic"], question["readings"]
        number = chosen.get(topic, "")
        if number == BY_HAND:
            said[topic] = BY_HAND
        elif number.isascii() and number.isdigit() and int(number) < len(readings):
            said[topic] = readings[int(number)]["says"]
    return said


def _millionths(text: str) -> int:
    return int(Decimal(text) * ONE)


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
