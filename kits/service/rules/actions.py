"""What the service lead writes into the shop's tables: compounds in fluids, and what to open for which sign."""

from __future__ import annotations

from datetime import datetime
from typing import TypeVar

from django.db import models, transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.folding import fold_key
from kits.catalog.history.versions import keep_versions, rows_of
from kits.catalog.models import Item
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.service.errors import ServiceRefusal
from kits.service.models import FluidRule, SignRule
from kits.service.rules.published import PUBLISHED

Rule = TypeVar("Rule", FluidRule, SignRule)


def say_of_compound(
    *,
    fluid: str,
    compound: str,
    says: str,
    source: str,
    note: str,
    why: str,
    by: User,
    at: datetime,
    key: str,
) -> None:
    """Say what holds of a compound in a fluid; the same two said again are changed."""
    with transaction.atomic(durable=True):
        mark_shop()
        if log_request(key):
            known = FluidRule.objects.filter(folded=fold_key(fluid, compound)).first()
            rule = FluidRule(fluid=fluid, compound=compound, says=says, source=source, note=note)
            _store(FluidRule, known, rule, by, at, why)


def say_of_sign(
    *, seen: str, section: Item | None, scope: str, note: str, why: str, by: User, at: datetime, key: str
) -> None:
    """Say which scope a sign suggests, and in which section to look; the same said again takes the new note."""
    with transaction.atomic(durable=True):
        mark_shop()
        if log_request(key):
            known = SignRule.objects.filter(folded=fold_key(seen, scope), section=section).first()
            _store(SignRule, known, SignRule(seen=seen, section=section, scope=scope, note=note), by, at, why)


def take_rule_away(*, rule: FluidRule | SignRule, why: str, by: User, at: datetime) -> None:
    """Take a row of one of the two tables away, and keep what it held."""
    if not why.strip():
        raise ServiceRefusal("The row stands: write why it is taken away.")
    model = type(rule)
    with transaction.atomic(durable=True):
        mark_shop()
        before = rows_of(model, [rule.pk])
        if not model._default_manager.filter(pk=rule.pk).delete()[0]:
            raise ServiceRefusal("This row was taken away already: look at the table again.")
        keep_versions(model, before, {}, by=by, at=at, why=why.strip())


def take_published_cautions(*, by: User, at: datetime, key: str) -> int:
    """Take the published cautions into the shop's table, but for compounds of which it says something; return how many.

    Fluids that the shop has under names of its own stay as they are.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        known = set(FluidRule.objects.values_list("folded", flat=True))
        new = [
            FluidRule(fluid=fluid, compound=compound, says=says, source=source, note=note)
            for fluid, compound, says, source, note in PUBLISHED
            if fold_key(fluid, compound) not in known
        ]
        FluidRule.objects.bulk_create(new)
        stored = FluidRule.objects.filter(folded__in=[rule.folded for rule in new]).values_list("pk", flat=True)
        keep_versions(FluidRule, {}, rows_of(FluidRule, list(stored)), by=by, at=at, why="published cautions")
        return len(new)


def _store(model: type[Rule], known: Rule | None, rule: Rule, by: User, at: datetime, why: str) -> None:
    """Store a row in the place of the one that says the same, and keep what that held."""
    before: dict[object, models.Model] = {known.pk: known} if known else {}
    rule.pk = known.pk if known else None
    rule.save(force_insert=known is None, force_update=known is not None)
    keep_versions(model, before, rows_of(model, [rule.pk]), by=by, at=at, why=why)
