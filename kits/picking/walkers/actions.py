"""What people do with a round that is not done in one go by one person: let it rest, take it over, share it out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.clean_work import refuse_untrained
from kits.picking.errors import PickRefusal
from kits.picking.models import PickLine, PickRound, Walker
from kits.picking.walkers.walking import colleagues, lines_in_hand
from kits.picking.words import LineState, RoundState


def rest_round(*, pick_round: PickRound, by: User, at: datetime, key: str) -> None:
    """Let the lines that somebody walks rest, once per key: nobody books them before they are gone on with."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        lines = _in_hand(pick_round, by)
        walker = _walker(pick_round, by)
        _give(lines, walker)
        Walker.objects.filter(pk=walker.pk).update(rests_since=at)


def take_over(*, pick_round: PickRound, walker: int, by: User, key: str) -> None:
    """Go on with the lines of one who walks a round, be it oneself after a rest or a colleague; once per key."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        held = _running(pick_round)
        refuse_untrained(by, held.cleanliness, held)
        lines = PickLine.objects.filter(pick_round=held, walker=walker, state=LineState.OPEN)
        if not lines:
            raise PickRefusal(f"Nothing of it is open any more: look at {held} as it stands.")
        mine = _walker(held, by)
        _give(lines, mine)
        Walker.objects.filter(pk=mine.pk).update(rests_since=None)


def hand_over(*, pick_round: PickRound, to: int, by: User, key: str) -> User:
    """Give all open lines that somebody walks to a colleague, once per key; return who walks them now."""
    with transaction.atomic(durable=True):
        mark_shop()
        is_new, colleague = log_request(key), _colleague(pick_round, to, by)
        if is_new:
            _give(_in_hand(pick_round, by), _taken_up(pick_round, colleague, by))
        return colleague


def share_round(*, pick_round: PickRound, to: int, by: User, key: str) -> User:
    """Give the second half of the open lines to a colleague, by the order of the walk; once per key."""
    with transaction.atomic(durable=True):
        mark_shop()
        is_new, colleague = log_request(key), _colleague(pick_round, to, by)
        if is_new:
            lines = _in_hand(pick_round, by)
            if len(lines) < 2:
                raise PickRefusal("One open line is not shared: walk it, or hand it over.")
            cut = half_way([line.place_id for line in lines])
            _give(lines[:cut], _walker(pick_round, by))
            _give(lines[cut:], _taken_up(pick_round, colleague, by))
        return colleague


def half_way(places: Sequence[int]) -> int:
    """Return how many of some stops the first of two people walks: half, but nobody stops in the middle of a bin."""
    half = (len(places) + 1) // 2
    between = [at for at in range(1, len(places)) if places[at] != places[at - 1]]
    return min(between, key=lambda at: (abs(at - half), at)) if between else half


def _running(pick_round: PickRound) -> PickRound:
    held = PickRound.objects.select_for_update(of=("self",)).get(pk=pick_round.pk)
    if held.state != RoundState.RUNNING:
        raise PickRefusal(f"{str(held).capitalize()} is {held.get_state_display().lower()}: nobody walks it any more.")
    return held


def _in_hand(pick_round: PickRound, by: User) -> list[PickLine]:
    lines = lines_in_hand(_running(pick_round), by)
    if not lines:
        raise PickRefusal(f"None of the open lines of {pick_round} is yours: take over those of a colleague first.")
    return lines


def _walker(pick_round: PickRound, person: User) -> Walker:
    return Walker.objects.get_or_create(pick_round=pick_round, person=person)[0]


def _taken_up(pick_round: PickRound, colleague: User, by: User) -> Walker:
    """The colleague on the round, not resting; who gives lines away is on it too, so that the rest stays theirs."""
    _walker(pick_round, by)
    walker = _walker(pick_round, colleague)
    Walker.objects.filter(pk=walker.pk).update(rests_since=None)
    return walker


def _colleague(pick_round: PickRound, to: int, by: User) -> User:
    found = colleagues(pick_round.cleanliness, by).filter(pk=to).first()
    if found is None:
        raise PickRefusal("Choose a colleague who may walk this round.")
    return found


def _give(lines: Iterable[PickLine], walker: Walker) -> None:
    PickLine.objects.filter(pk__in=[line.pk for line in lines]).update(walker=walker)
