"""The run that sends what is due. A mail server that is away is told of once; the next run tries again."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime, time
from smtplib import SMTPException

from django.core.mail import EmailMessage, get_connection
from django.utils import timezone

from bom.errors import BomError
from bom.plan import Plan
from kits.planning.notice_models import NoticeChoice, SentNotice
from kits.planning.notices.actions import settle, take_in_hand
from kits.planning.notices.letters import letters_for
from kits.planning.queries import plan_now, today

WRITTEN_BY_A_PROGRAM = {"Auto-Submitted": "auto-generated"}
"""RFC 3834, section 5: whoever is away does not answer it by a program of theirs."""

MORNING_BEGINS = time(5)
"""By the shop's clock; a run earlier in the day sends no morning letter."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Run:
    """What a run came to: how many were sent, and why it stopped, if it did."""

    sent: int
    stopped: str = ""


def send_notices(*, at: datetime) -> Run:
    """Send to everybody what they want to be told and were not told yet."""
    wants = NoticeChoice.objects.filter(person__is_active=True).exclude(person__email="").select_related("person")
    choices = [choice for choice in wants if choice.morning or choice.promises or choice.suspects]
    is_morning = timezone.localtime(at).time() >= MORNING_BEGINS
    plan = _plan() if is_morning and any(choice.morning for choice in choices) else None
    sent, server = 0, get_connection()
    for choice in choices:
        told = set(
            SentNotice.objects.filter(person=choice.person, sent_at__isnull=False).values_list("about", flat=True)
        )
        for letter in letters_for(choice, plan, at=at, today=today()):
            if told.issuperset(letter.about) or not take_in_hand(person=choice.person, about=letter.about, at=at):
                continue
            try:
                EmailMessage(
                    letter.subject,
                    letter.text,
                    to=[choice.person.email],
                    connection=server,
                    headers=WRITTEN_BY_A_PROGRAM,
                ).send()
            except (OSError, SMTPException) as error:
                settle(person=choice.person, about=letter.about, at=at, sent=False)
                _log.warning("A notice could not be mailed (%s); the next run tries again.", error)
                if not isinstance(error, SMTPException):
                    return Run(sent, f"the mail server is away ({error})")
                continue
            settle(person=choice.person, about=letter.about, at=at, sent=True)
            sent += 1
    return Run(sent)


def _plan() -> Plan | None:
    try:
        return plan_now()
    except BomError as error:
        _log.warning("No morning letters: the shop cannot be planned (%s).", error)
        return None
