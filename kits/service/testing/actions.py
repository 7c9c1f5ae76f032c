"""What the lead enters of tests: the limits of a pump, and gauges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import models, transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.folding import fold
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.service.errors import ServiceRefusal
from kits.service.models import Gauge, PumpLimit


@dataclass(frozen=True, slots=True)
class LimitSaid:
    """One limit as it is to be."""

    at_least: Decimal | None
    at_most: Decimal | None
    unit: str
    how: str = ""
    source: str = ""


def set_limits(
    *, pump: Item, limits: Mapping[str, LimitSaid], why: str, by: User | None, at: datetime, key: str = ""
) -> int:
    """Store the limits of a pump by what they are of, those left out being given up; return how many changed."""
    if not why.strip():
        raise ServiceRefusal(f"The limits of {pump} are not changed without a reason: say in a few words why.")
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        stored = PumpLimit.objects.select_for_update(of=("self",)).filter(pump=pump).order_by("pk")
        rows = {row.check_of: row for row in stored}
        before = rows_of(PumpLimit, [row.pk for row in rows.values()])
        for check, said in limits.items():
            row = rows.setdefault(check, PumpLimit(pump=pump, check_of=check))
            row.at_least, row.at_most, row.unit = said.at_least, said.at_most, said.unit
            row.how, row.source = said.how.strip(), said.source.strip()
            clean_row(row)
            row.save()
        PumpLimit.objects.filter(pump=pump).exclude(check_of__in=limits).delete()
        after = rows_of(PumpLimit, [rows[check].pk for check in limits])
        keep_versions(PumpLimit, before, after, by=by, at=at, why=why.strip())
        return sum(not _same(before.get(key), after.get(key)) for key in before.keys() | after.keys())


def set_gauge(
    *,
    gauge: str,
    reads: str,
    calibrated_on: date | None,
    due_on: date,
    certificate: str,
    why: str,
    by: User | None,
    at: datetime,
    key: str = "",
) -> Gauge:
    """Enter a gauge, or the new calibration of one that is known by this name, and return it."""
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        known = Gauge.objects.select_for_update().filter(folded=fold(gauge)).first()
        row, before = known or Gauge(), rows_of(Gauge, [known.pk] if known else [])
        row.gauge, row.reads, row.certificate = gauge.strip(), reads.strip(), certificate.strip()
        row.calibrated_on, row.due_on = calibrated_on, due_on
        clean_row(row)
        row.save()
        keep_versions(Gauge, before, rows_of(Gauge, [row.pk]), by=by, at=at, why=why.strip())
        return row


def clean_row(row: models.Model) -> None:
    """Refuse a row that its own table would not take, with the sentence that the table has for it."""
    try:
        row.clean_fields()
        row.clean()
        row.validate_constraints()
    except ValidationError as error:
        raise ServiceRefusal(" ".join(error.messages)) from error


def _same(row: models.Model | None, other: models.Model | None) -> bool:
    if row is None or other is None:
        return row is other
    return all(getattr(row, field.attname) == getattr(other, field.attname) for field in row._meta.concrete_fields)
