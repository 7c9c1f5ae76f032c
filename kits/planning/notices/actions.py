"""Notices: who wants them, and that each is sent once. They are sent by a command; no page ever waits for a mail."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction

from kits.catalog.caching.revisions import hold_marks
from kits.people.history import facts_of
from kits.people.models import User
from kits.people.writes import note_change
from kits.planning.notice_models import NoticeChoice, SentNotice

LOST_AFTER = timedelta(minutes=30)
"""What was taken in hand longer ago and not sent was left by a run that was killed."""


def choose_notices(
    *, person: User, email: str, morning: bool, promises: bool, suspects: bool, at: datetime
) -> NoticeChoice:
    """Keep what somebody wants to be told and where; what happened before is not told afterwards."""
    with transaction.atomic(durable=True):
        hold_marks()
        before = facts_of(person)
        User.objects.filter(pk=person.pk).update(email=email)
        person.email = email
        note_change(person, before, facts_of(person), by=person, at=at)
        wanted = {"morning": morning, "promises": promises, "suspects": suspects}
        choice, made = NoticeChoice.objects.get_or_create(person=person, defaults={**wanted, "since": at})
        if not made and any(getattr(choice, name) != value for name, value in wanted.items()):
            NoticeChoice.objects.filter(pk=choice.pk).update(**wanted, since=at)
            choice.refresh_from_db()
    return choice


def take_in_hand(*, person: User, about: tuple[str, ...], at: datetime) -> bool:
    """Take a notice in hand unless it was sent or another run is at it, and say whether it is to be sent now."""
    with transaction.atomic(durable=True):
        hold_marks()
        taken = False
        for one in about:
            row, made = SentNotice.objects.get_or_create(person=person, about=one, defaults={"taken_at": at})
            lost = SentNotice.objects.filter(pk=row.pk, sent_at=None, taken_at__lt=at - LOST_AFTER)
            taken = bool(made or lost.update(taken_at=at)) or taken
    return taken


def settle(*, person: User, about: tuple[str, ...], at: datetime, sent: bool) -> None:
    """Keep that a notice was sent; one that was not is tried again by the next run."""
    with transaction.atomic(durable=True):
        hold_marks()
        rows = SentNotice.objects.filter(person=person, about__in=about, sent_at=None)
        if sent:
            rows.update(sent_at=at)
        else:
            rows.delete()
