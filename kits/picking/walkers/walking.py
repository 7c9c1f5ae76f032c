"""Who has which lines of a round in hand, and who may book them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max, Min, Q, QuerySet
from django.utils import timezone

from kits.catalog.words import Cleanliness
from kits.people.models import User
from kits.people.names import name_of
from kits.people.roles import PICK_CLEAN
from kits.picking.errors import PickRefusal
from kits.picking.models import PickLine, PickRound
from kits.picking.walk_models import Walker
from kits.picking.words import LineState

SIGNS_IN = "django.contrib.auth.backends.ModelBackend"
MAY_BOOK = "picking.change_pickline"


@dataclass(frozen=True, slots=True)
class WalkerRow:
    """One who walks a round: the open lines that are theirs, from the first to the last, and since when they rest."""

    key: int
    person_id: int
    name: str
    rests_since: datetime | None
    still_open: int
    first: int | None
    last: int | None

    @property
    def lines_say(self) -> str:
        """Which lines are theirs, in words."""
        if self.still_open == 1:
            return f"line {self.first}"
        return f"{self.still_open} lines from {self.first} to {self.last}"


def walker_rows(pick_round: PickRound) -> tuple[WalkerRow, ...]:
    """Return everybody who walks or walked a round, in the order in which they came to it; one statement."""
    return tuple(_walkers([pick_round.pk])[pick_round.pk])


def walks_say(rounds: Collection[int]) -> dict[int, str]:
    """Return who walks which lines where somebody rests or shares, by round; one statement."""
    return {
        number: "; ".join(_walk_says(one) for one in walkers if one.still_open)
        for number, walkers in _walkers(rounds).items()
        if is_shared(walkers) or any(one.rests_since for one in walkers)
    }


def _walk_says(walker: WalkerRow) -> str:
    if walker.rests_since is None:
        return f"{walker.name}: {walker.lines_say}"
    return f"{walker.name}: {walker.lines_say}, at rest since {timezone.localtime(walker.rests_since):%H:%M}"


def _walkers(rounds: Collection[int]) -> dict[int, list[WalkerRow]]:
    is_open = Q(lines__state=LineState.OPEN)
    rows = (
        Walker.objects.filter(pick_round__in=rounds)
        .select_related("person")
        .annotate(
            still_open=Count("lines", filter=is_open),
            first=Min("lines__number", filter=is_open),
            last=Max("lines__number", filter=is_open),
        )
        .order_by("pk")
    )
    found: dict[int, list[WalkerRow]] = {number: [] for number in rounds}
    for row in rows:
        found[row.pick_round_id].append(
            WalkerRow(row.pk, row.person_id, name_of(row.person), row.rests_since, row.still_open, row.first, row.last)
        )
    return found


def is_shared(walkers: Sequence[WalkerRow]) -> bool:
    """Whether lines have an owner: a round that one person walks is booked by whoever stands at the bin."""
    return len(walkers) > 1


def is_in_hand(walkers: Sequence[WalkerRow], walker_id: int | None, person: User | None) -> bool:
    """Whether a line with this walker is for this person to book, were nobody resting."""
    owner = next((one for one in walkers if one.key == walker_id), None)
    return owner is None or not is_shared(walkers) or (person is not None and owner.person_id == person.pk)


def lines_in_hand(pick_round: PickRound, person: User) -> list[PickLine]:
    """Return the open lines that are for this person to walk, in the order of the walk; two statements."""
    walkers = walker_rows(pick_round)
    rows = PickLine.objects.filter(pick_round=pick_round, state=LineState.OPEN).order_by("number")
    return [line for line in rows if is_in_hand(walkers, line.walker_id, person)]


def refuse_other_hand(line: PickLine, person: User | None) -> None:
    """Refuse a line that waits, or that another walks: two hands in one bin book it twice or not at all."""
    walkers = walker_rows(line.pick_round)
    owner = next((one for one in walkers if one.key == line.walker_id), None)
    if owner is None:
        return
    if not is_in_hand(walkers, line.walker_id, person):
        raise PickRefusal(
            f"Line {line.number} of {line.pick_round} is walked by {owner.name}: leave it, or take over what is still "
            "open of it first."
        )
    if owner.rests_since is not None:
        since = timezone.localtime(owner.rests_since)
        raise PickRefusal(
            f"{str(line.pick_round).capitalize()} rests since {since:%H:%M}, by {owner.name}: go on with it first."
        )


def colleagues(cleanliness: str, person: User) -> QuerySet[User]:
    """Return who else may walk a round of this class: they may pick, and are trained where it is clean work."""
    found = User.objects.with_perm(MAY_BOOK, backend=SIGNS_IN).exclude(pk=person.pk).order_by("username")
    if cleanliness != Cleanliness.NORMAL:
        found = found.filter(pk__in=User.objects.with_perm(f"picking.{PICK_CLEAN}", backend=SIGNS_IN).values("pk"))
    return found
