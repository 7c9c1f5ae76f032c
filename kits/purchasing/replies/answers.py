"""What is accepted of a line of a reply, once everything that was asked about it is answered."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

from bom.values import ONE
from kits.catalog.amounts import price_text
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.purchasing.models import ReplyLine, Supplier

_BREAK = re.compile(r"(\d{1,7})\s*(?:packs?)?\s+(\d{1,12}(?:\.\d{1,6})?)")
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
    breaks: tuple[tuple[int, Decimal], ...] = ()
    alternative: str = ""


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
        breaks=read_breaks(stated.get("breaks", "")),
        alternative=stated.get("alternative", ""),
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


def breaks_text(breaks: Iterable[tuple[int, Decimal]]) -> str:
    """Price breaks as a text: ``10 packs 17.50; 50 packs 16.00``."""
    return "; ".join(f"{packs} packs {price_text(price)}" for packs, price in breaks)


def read_breaks(text: str) -> tuple[tuple[int, Decimal], ...]:
    """Price breaks out of such a text, from fewer packs to more; refused where it is none."""
    found = []
    for one in filter(None, (part.strip() for part in text.split(";"))):
        match = _BREAK.fullmatch(one)
        if match is None:
            raise Refusal(f"“{one}” is no price break: write it as 10 packs 17.50, with a semicolon between several.")
        found.append((int(match[1]), Decimal(match[2])))
    if any(later <= earlier for (earlier, _), (later, _) in pairwise([(1, Decimal(0)), *found])):
        raise Refusal("Price breaks begin above 1 pack, each from more packs on than the one before.")
    return tuple(found)


def _millionths(text: str) -> int:
    return int(Decimal(text) * ONE)


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
