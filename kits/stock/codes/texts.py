"""The text of a code: what kind of thing it names, then its own number, as a person may read and type it."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import TextChoices


class CodeKind(TextChoices):
    """What a label can be stuck on. The value is the word with which the text of the code begins."""

    PLACE = "PLACE", "place"
    LOT = "LOT", "lot"
    BAG = "BAG", "bag"
    JOB = "JOB", "job"
    PART = "PART", "part"
    ORDER = "ORDER", "order"


@dataclass(frozen=True, slots=True)
class Code:
    """One thing, as a label names it: ``BAG 17``, ``PLACE A-12``, ``LOT OR-210-N70 NV-2336``.

    A space stands between the words, for it is the one sign that a scanner types alike on every keyboard. A lot is
    named with its part, for two makers may use the same code.
    """

    kind: CodeKind
    number: str

    def __str__(self) -> str:
        return f"{self.kind.value} {self.number}"


def code_of_lot(part_number: str, lot: str) -> Code:
    """Return the code of a lot."""
    return Code(CodeKind.LOT, f"{part_number} {lot}")


def read_text(text: str) -> Code | None:
    """Return the code that a text is, however its first word is written; None where it is no code of ours."""
    word, _, number = text.strip().partition(" ")
    number = number.strip()
    return Code(CodeKind(word.upper()), number) if word.upper() in CodeKind and number else None
