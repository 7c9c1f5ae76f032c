"""What kits fit and what scopes open, said on a page: stored like by hand, and only if the lists stay sound."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import models, transaction

from bom.demand.checks import check
from bom.errors import BomError, Fault
from kits.catalog.caching.revisions import mark_catalog
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.models import Item, KitFit, ScopeSection
from kits.people.models import User
from kits.planning.fitting.queries import rows_of_scope, seen_of
from kits.planning.snapshot.shop import take_snapshot


def say_kit_fits(
    *,
    kit: Item,
    fits: Item,
    option: str,
    instances: int,
    set_name: str,
    preferred: bool,
    why: str,
    by: User,
    at: datetime,
    today: date,
) -> None:
    """Say that a kit fits an assembly; the same fit said again takes the new number and preference."""
    fit = KitFit(kit=kit, fits=fits, option=option, instances=instances, set_name=set_name, preferred=preferred)
    _clean(fit)
    with _catalog_locked(today):
        key = fold(fit.option), fold(fit.set_name)
        stored = next(
            (one for one in kit.fits.filter(fits=fits) if (fold(one.option), fold(one.set_name)) == key), None
        )
        before = {stored.pk: stored} if stored else {}
        fit.pk = stored.pk if stored else None
        fit.save(force_update=stored is not None, force_insert=stored is None)
        keep_versions(KitFit, before, rows_of(KitFit, [fit.pk]), by=by, at=at, why=why)


def take_fit_away(*, fit: int, why: str, by: User, at: datetime, today: date) -> None:
    """Say no longer that a kit fits something."""
    with _catalog_locked(today):
        before = rows_of(KitFit, [fit])
        if not KitFit.objects.filter(pk=fit).delete()[0]:
            raise Refusal("This fit was taken away already: look at the page again.")
        keep_versions(KitFit, before, {}, by=by, at=at, why=why)


def set_scope(
    *,
    pump: Item,
    scope: str,
    counts: Mapping[int, int],
    use_kits: bool,
    option: str,
    signed_for: bool,
    seen: str,
    why: str,
    by: User,
    at: datetime,
    today: date,
) -> None:
    """Make a scope, change what it opens, or give it up when it opens nothing; ``seen`` tells what was changed from."""
    wanted = [
        ScopeSection(
            pump=pump,
            scope=scope,
            section_id=section,
            how_many=how_many,
            use_kits=use_kits,
            option=option,
            signed_for=signed_for,
        )
        for section, how_many in counts.items()
    ]
    for row in wanted:
        _clean(row)
    with _catalog_locked(today):
        stored = rows_of_scope(pump, scope)
        if not stored and not wanted and seen == seen_of(()):
            raise Refusal("The scope opens nothing: say how many of a section it opens.")
        if seen_of(stored) == seen_of(wanted):
            return
        if stored and seen == seen_of(()):
            raise Refusal(f"{pump} has a scope {stored[0].scope} already: change that one, or choose another name.")
        if seen_of(stored) != seen:
            raise Refusal(f"Somebody changed the scope {scope} of {pump} meanwhile: look at it again.")
        before = {row.pk: row for row in stored}
        by_section = {row.section_id: row.pk for row in stored}
        for row in wanted:
            row.pk = by_section.get(row.section_id)
            row.scope = stored[0].scope if stored else scope
            row.save(force_update=row.pk is not None, force_insert=row.pk is None)
        kept = {row.pk for row in wanted}
        ScopeSection.objects.filter(pk__in=set(before) - kept).delete()
        keep_versions(ScopeSection, before, rows_of(ScopeSection, kept), by=by, at=at, why=why)


def _clean(row: models.Model) -> None:
    """Refuse a row that its own table would not take."""
    try:
        row.clean_fields()
        row.clean()
    except ValidationError as error:
        raise Refusal(" ".join(error.messages)) from error


@contextmanager
def _catalog_locked(today: date) -> Iterator[None]:
    """One transaction that nobody else writes the catalog in; a fault that it brings into the lists undoes it."""
    with transaction.atomic(durable=True):
        mark_catalog()
        before = set(_faults(today))
        yield
        for fault in _faults(today):
            if fault not in before:
                raise Refusal(fault.says)


def _faults(today: date) -> tuple[Fault, ...]:
    try:
        return check(take_snapshot(today))
    except BomError as error:
        raise Refusal(str(error)) from error
