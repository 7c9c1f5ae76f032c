"""What was said of how files are to be read: of headings kept from one upload to the next, of the rest with its own."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from kits.exchange.models import HeadingChoice, Upload
from kits.exchange.reading.asking.instructions import Instructions
from kits.exchange.reading.asking.strange_headings import NO_CHOICES, Choices
from kits.people.models import User


def remembered_choices(by: User | None) -> Choices:
    """Every choice that a person made before; one statement."""
    if by is None:
        return NO_CHOICES
    return {(one.sheet, one.header_set): one.columns for one in HeadingChoice.objects.filter(by=by)}


def recall_instructions(by: User | None, upload: Upload | None = None) -> Instructions:
    """What a person said of headings before, with what was said of one upload."""
    instructions = upload.instructions if upload else {}
    return Instructions(remembered_choices(by), instructions.get("lists", {}), instructions.get("charsets", {}))


def read_instructions(upload: Upload) -> Instructions:
    """Everything that an upload was read by at its last check."""
    instructions = upload.instructions
    return Instructions(
        choices_from_json(upload.headings), instructions.get("lists", {}), instructions.get("charsets", {})
    )


def remember_choices(by: User, choices: Choices, at: datetime) -> None:
    """Keep choices over those made before for the same sets of headings; inside a transaction only."""
    HeadingChoice.objects.bulk_create(
        [
            HeadingChoice(by=by, sheet=sheet, header_set=headings, columns=dict(columns), at=at)
            for (sheet, headings), columns in choices.items()
        ],
        update_conflicts=True,
        unique_fields=["by", "sheet", "header_set"],
        update_fields=["columns", "at"],
    )


def choices_as_json(choices: Choices) -> dict[str, dict[str, dict[str, str]]]:
    """Choices as plain values, sheet by sheet, to be kept with an upload."""
    kept: dict[str, dict[str, dict[str, str]]] = {}
    for (sheet, headings), columns in choices.items():
        kept.setdefault(sheet, {})[headings] = dict(columns)
    return kept


def choices_from_json(kept: Mapping[str, Mapping[str, Mapping[str, str]]]) -> Choices:
    """Choices as they were kept with an upload."""
    return {(sheet, headings): columns for sheet, sets in kept.items() for headings, columns in sets.items()}
