"""What people do with quotes: store a version, write the customer's go-ahead down, take it back, enter hours."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.folding import fold
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.models import Item, ScopeSection
from kits.catalog.request_log import log_request
from kits.catalog.words import ItemKind
from kits.people.models import User
from kits.schedule.models import Job
from kits.service.errors import ServiceRefusal
from kits.service.models import GoAhead, Quote, QuoteLine, WorkHours
from kits.service.quoting.said import QuoteSaid


def store_quote(*, job: Job, said: QuoteSaid, note: str, by: User, at: datetime, key: str) -> Quote:
    """Store the next version of the quote of a job once, line by line as it was shown, and return it."""
    if not said.lines:
        raise ServiceRefusal(f"There is nothing to quote for {job}: its scope takes no part and no hours are known.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := Quote.objects.filter(key=key).first()) is not None:
            return earlier
        Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
        quote = Quote.objects.create(
            job=job,
            version=Quote.objects.filter(job=job).count() + 1,
            work=said.work[:300],
            note=note.strip(),
            currency=said.currency,
            total=said.total,
            unpriced=said.unpriced,
            ceiling_percent=said.ceiling_percent,
            new_price=said.new_price,
            key=key,
            by=by,
            at=at,
        )
        QuoteLine.objects.bulk_create(
            QuoteLine(
                quote=quote,
                what_for=line.what_for,
                item_id=line.item_id,
                says=line.says,
                quantity=line.quantity,
                unit=line.unit,
                unit_price=line.unit_price,
                price=line.price,
            )
            for line in said.lines
        )
        return quote


def record_go_ahead(*, quote: Quote, says: str, by: User, at: datetime, key: str) -> GoAhead:
    """Write down once that the customer agreed to a version, and in which words; only to the latest one."""
    if not says.strip():
        raise ServiceRefusal("Nothing says who gave the go-ahead: write the name, or the number of the order.")
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := GoAhead.objects.filter(key=key).first()) is not None:
            return earlier
        latest = Quote.objects.filter(job=quote.job_id).order_by("-version").first()
        if latest is not None and latest.pk != quote.pk:
            raise ServiceRefusal(
                f"Version {quote.version} has been followed by version {latest.version}: "
                "ask the customer about that one."
            )
        if (standing := quote.go_aheads.filter(taken_back_at__isnull=True).first()) is not None:
            raise ServiceRefusal(f"Version {quote.version} has its go-ahead already: {standing.says}.")
        return GoAhead.objects.create(quote=quote, says=says.strip(), by=by, at=at, key=key)


def take_go_ahead_back(*, go_ahead: GoAhead, why: str, by: User, at: datetime, key: str) -> None:
    """Take a go-ahead back once, with the reason: the job waits for one again."""
    if not why.strip():
        raise ServiceRefusal("A go-ahead is not taken back without a reason: write in a few words why.")
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        standing = GoAhead.objects.filter(pk=go_ahead.pk, taken_back_at__isnull=True)
        if not standing.update(taken_back_why=why.strip(), taken_back_by=by, taken_back_at=at):
            raise ServiceRefusal("This go-ahead was taken back already: look at the quote again.")


def set_hours(
    *, item: Item, scope: str, hours: Decimal, why: str, by: User | None, at: datetime, key: str = ""
) -> None:
    """Enter how long the shop takes for a section, or for a pump to a scope; 0 hours take the entry away."""
    known_scopes = set(ScopeSection.objects.filter(pump=item).values_list("scope", flat=True))
    if item.kind == ItemKind.PUMP and fold(scope) not in {fold(one) for one in known_scopes}:
        known = ", ".join(sorted(known_scopes)) or "none"
        raise ServiceRefusal(f"{item} has no scope “{scope}”; known for it: {known}. Name one of them.")
    if item.kind != ItemKind.PUMP and (scope or item.kind != ItemKind.ASSEMBLY):
        kind = ItemKind(item.kind).label.lower()
        raise ServiceRefusal(
            f"{item} is of the kind {kind}: hours are for a section without a scope, or a pump with one."
        )
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        row = WorkHours.objects.select_for_update(of=("self",)).filter(item=item, folded=fold(scope)).first()
        before = rows_of(WorkHours, [row.pk] if row else [])
        if not hours:
            WorkHours.objects.filter(pk__in=before).delete()
            keep_versions(WorkHours, before, {}, by=by, at=at, why=why.strip())
            return
        row = row or WorkHours(item=item, scope=scope.strip())
        row.hours = hours
        try:
            row.clean_fields()
        except ValidationError as error:
            raise ServiceRefusal(" ".join(error.messages)) from error
        row.save()
        keep_versions(WorkHours, before, rows_of(WorkHours, [row.pk]), by=by, at=at, why=why.strip())
