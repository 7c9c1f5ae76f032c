"""What stands in a notice: plain sentences of what waits for somebody, no photo, no customer, no price list."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from bom.plan import Plan
from kits.catalog.days.words import words_for_day
from kits.people.models import User
from kits.planning.lists.order_calls import OrderCall
from kits.planning.notice_models import NoticeChoice
from kits.planning.sheets.today.rows import FirstRows, Incoming, NextBuild, StageRow
from kits.planning.sheets.today.sheet import TodaySheet, today_sheet
from kits.planning.sheets.today.whose import WHOSE, whose_todays
from kits.planning.words.states import plural
from kits.purchasing.models import OrderLine
from kits.stock.suspect_models import Suspicion

Row = TypeVar("Row")
LONGEST_SUBJECT = 120
OFF = "You get this because you asked for it; under your name, Notices, you put an end to it."


@dataclass(frozen=True, slots=True)
class Letter:
    """One mail; ``about`` names each thing that it tells, so that nobody is told of it again."""

    about: tuple[str, ...]
    subject: str
    text: str


def letters_for(choice: NoticeChoice, plan: Plan | None, *, at: datetime, today: date) -> Iterator[Letter]:
    """What somebody wants to be told, whether or not it was already; without a plan no morning letter."""
    on = timezone.localdate(at)
    if choice.morning and plan is not None and (sheets := sheets_of(choice.person, plan)):
        yield morning_letter(sheets, on)
    if choice.promises:
        begins = timezone.localdate(choice.since)
        lines = OrderLine.objects.open().filter(promised_on__gte=begins, promised_on__lt=today)
        for line in lines.select_related("item", "supplier"):
            yield promise_letter(line, today)
    if choice.suspects:
        doubts = Suspicion.objects.filter(at__gte=choice.since, lifted_at__isnull=True)
        for suspicion in doubts.select_related("lot__item").order_by("pk"):
            yield suspect_letter(suspicion)


def sheets_of(person: User, plan: Plan) -> list[TodaySheet]:
    """The sheets of today that wait for somebody: those of their roles, the planner's for an administrator."""
    names = whose_todays(person)
    own = {role for _, role in WHOSE.values()} & set(person.groups.values_list("name", flat=True))
    return [today_sheet(plan, name) for name in (names if own else names[:1])]


def morning_letter(sheets: Sequence[TodaySheet], on: date) -> Letter:
    """The first sentences and lists of somebody's Today."""
    paragraphs: list[str] = []
    for sheet in sheets:
        paragraphs += [" ".join(filter(None, (sheet.says, sheet.follows)))]
        paragraphs += [part for part in _lists(sheet) if part]
    subject = _subject(f"Today, {words_for_day(sheets[0].as_of, on)}: {sheets[0].says}")
    return Letter((f"morning {on.isoformat()}",), subject, _text(paragraphs, reverse("today")))


def promise_letter(line: OrderLine, today: date) -> Letter:
    """An order line that should have come."""
    said = f"{line}, {line.item} from {line.supplier}, was promised for {words_for_day(line.promised_on, today)}"
    subject = _subject(f"Broken promise: {line}, {line.item}")
    about = f"promise {line.pk} {line.promised_on.isoformat()}"
    return Letter((about,), subject, _text([f"{said} and has not come.", "Call the supplier."], reverse("purchasing")))


def suspect_letter(suspicion: Suspicion) -> Letter:
    """A lot that may be bad."""
    lot = suspicion.lot
    said = f"Lot {lot.lot} of {lot.item} is under suspicion: {suspicion.reason}"
    follows = "Nothing of it may be used until somebody has looked into it. Where it went stands on its sheet."
    subject = _subject(f"Suspect lot: {lot.item}, {lot.lot}")
    return Letter((f"suspicion {suspicion.pk}",), subject, _text([said, follows], reverse("lot", args=[lot.pk])))


def _lists(sheet: TodaySheet) -> Iterator[str]:
    def day(on: date | None) -> str:
        return words_for_day(on, sheet.as_of) if on else ""

    def build(one: NextBuild) -> str:
        return _line(f"{one.row.job}, {one.row.pump}", day(one.row.build_on), one.row.state.says, one.blocking)

    def stage(one: StageRow) -> str:
        left = f"{plural(one.to_inspect, 'position')} to inspect" if one.to_inspect else ""
        return _line(f"{one.job}, {one.pump}", one.stage, left)

    yield _list("Next builds", sheet.builds, build)
    yield _list("To be picked for", sheet.picks, build)
    yield _list("To be opened", sheet.strips, lambda one: _line(f"{one.job}, {one.pump}", day(one.strip_on)))
    yield _list("Open", sheet.opened, stage)
    yield _list("To be tested or shipped", sheet.to_test, stage)
    yield _list("To order", sheet.to_order, lambda one: _line(one.part_number, f"short {one.short}", day(one.order_by)))
    yield _list("To call about", sheet.chase, lambda one: _order(one, one.supplier, day(one.promised)))
    yield _list("To come", sheet.arrivals, lambda one: _order(one, day(one.promised)))
    yield _list("Running out of life", sheet.dying, lambda one: _line(one.part_number, one.lot, day(one.last_use)))


def _list(title: str, rows: FirstRows[Row], says: Callable[[Row], str]) -> str:
    if not rows.rows:
        return ""
    more = [f"  and {rows.count - len(rows.rows)} more"] if rows.more else []
    return "\n".join((f"{title}:", *(f"  {says(one)}" for one in rows.rows), *more))


def _order(one: OrderCall | Incoming, *more: str) -> str:
    return _line(f"{one.order} line {one.line}", one.part_number, *more)


def _line(*parts: str) -> str:
    return "; ".join(filter(None, parts))


def _text(paragraphs: Sequence[str], place: str) -> str:
    where = site_address()
    return "\n\n".join((*paragraphs, *([f"{where}{place}"] if where else []), OFF)) + "\n"


def site_address() -> str:
    """Where the site is opened, as far as it was told its names."""
    hosts: list[str] = settings.SHOP_HOSTS
    return f"{'https' if settings.SECURE else 'http'}://{hosts[0]}" if hosts else ""


def _subject(said: str) -> str:
    line = " ".join(said.split())
    return line if len(line) <= LONGEST_SUBJECT else f"{line[: LONGEST_SUBJECT - 1]}…"
