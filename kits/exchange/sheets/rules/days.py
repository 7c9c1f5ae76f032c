"""Build days and promises that can hardly be meant: asked about, never refused, for a list of the past must load."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from django.utils import timezone

from bom.errors import BomError
from bom.structure.calendar import ShopCalendar
from bom.values import ASKING_STAGES
from kits.catalog.days.doubts import DayDoubts
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.queries import ShopSettings, read_holidays
from kits.exchange.columns.work_layouts import HOLIDAYS
from kits.exchange.records.names import Names
from kits.exchange.records.records import SheetRecord
from kits.purchasing.models import OrderLine
from kits.schedule.models import Job, OtherNeed
from kits.schedule.words import Stage


def day_doubts(records: Iterable[SheetRecord], names: Names, today: date) -> DayDoubts | None:
    """By the settings and closed days as they will be; none where these cannot be read, as their own rows tell."""
    days = (record.values.get("date") for record in records if record.sheet is HOLIDAYS)
    closed = {day for day in days if isinstance(day, date)}.union(read_holidays())
    try:
        settings = ShopSettings(names.settings)
        return DayDoubts(today, ShopCalendar(settings.workdays, tuple(sorted(closed))), settings.years_ahead)
    except (Refusal, BomError):
        return None


_Doubted = Iterable[tuple[SheetRecord, str]]


def odd_days_of_jobs(records: Sequence[SheetRecord], doubts: DayDoubts) -> _Doubted:
    """Ask about the build days that a row brings or changes; of jobs that ask for nothing any more, about none."""
    stored = {job: (on, stage) for job, on, stage in Job.objects.values_list("folded", "build_on", "stage")}
    for record in records:
        on, key = record.values.get("build_date"), fold(record.text("job"))
        was_on, was = stored.get(key, (None, Stage.EXPECTED))
        as_it_was = on == was_on and was in ASKING_STAGES
        if isinstance(on, date) and not as_it_was and record.values.get("stage", was) in ASKING_STAGES:
            yield record, doubts.of_build(on)


def odd_days_of_needs(records: Sequence[SheetRecord], doubts: DayDoubts) -> _Doubted:
    """Ask about the days that a row brings or changes."""
    stored = dict(OtherNeed.objects.values_list("folded", "need_on"))
    for record in records:
        on = record.values.get("need_date")
        if isinstance(on, date) and on != stored.get(fold(record.text("need"))):
            yield record, doubts.of_build(on)


def odd_days_of_orders(records: Sequence[SheetRecord], doubts: DayDoubts) -> _Doubted:
    """Ask about the promises that a row brings or changes."""
    stored = {
        (order, line): (promised_on, timezone.localdate(at) if at else None)
        for order, line, promised_on, at in OrderLine.objects.values_list(
            "folded_order", "folded", "promised_on", "entry__at"
        )
    }
    for record in records:
        key = (fold(record.text("order")), fold(record.text("line")))
        on, (was_on, ordered_on) = record.values.get("promised"), stored.get(key, (None, None))
        if isinstance(on, date) and on != was_on:
            yield record, doubts.of_promise(on, ordered_on)
