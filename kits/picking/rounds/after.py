"""What comes after a round: packets to be labelled, what is missing in whose bag."""

from __future__ import annotations

from dataclasses import dataclass

from kits.catalog.amounts import Amount
from kits.picking.models import Confirmation
from kits.picking.rounds.sheet import RoundSheet
from kits.picking.words import LineState
from kits.stock.models import Posting


@dataclass(frozen=True, slots=True)
class MissingRow:
    """Pieces that a bag did not get, from which place and why."""

    job: str
    bag: int
    part_number: str
    what: str
    missing: Amount
    place: str
    reason: str


@dataclass(frozen=True, slots=True)
class AfterRound:
    """What is to be done when the last line is booked; ``opened`` are the postings of packets that were opened."""

    opened: tuple[Posting, ...]
    missing: tuple[MissingRow, ...]


def after_round(sheet: RoundSheet) -> AfterRound:
    """What a round that is not walked any more leaves to be done; one statement."""
    standing = Confirmation.objects.filter(
        line__pick_round=sheet.number, undone_at__isnull=True, opened__isnull=False
    ).select_related("opened")
    missing = (
        MissingRow(
            job=one.bag.job,
            bag=one.bag.number,
            part_number=line.part_number,
            what=line.what,
            missing=Amount(one.asked.millionths - (one.picked.millionths if one.picked else 0), one.asked.unit),
            place=line.place,
            reason=line.reason or ("not walked" if line.state == LineState.LEFT else ""),
        )
        for line in sheet.lines
        for one in line.into
        if (one.picked.millionths if one.picked else 0) < one.asked.millionths
    )
    opened = tuple(said.opened for said in standing if said.opened is not None)
    return AfterRound(opened, tuple(sorted(missing, key=lambda row: (row.bag, row.part_number))))
