"""Deciding against a proposed change of the lists."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import DismissedChange
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.picking.care.proposals import ProposedChange
from kits.picking.errors import PickRefusal


def let_list_stand(*, change: ProposedChange, why: str, by: User, at: datetime, key: str) -> None:
    """Decide once against a proposal: it comes back only if rebuilds that are closed from now on show it anew."""
    if not why.strip():
        raise PickRefusal(f"{change.part} is still proposed: write why the list stays as it is.")
    with transaction.atomic(durable=True):
        mark_shop()
        if log_request(key):
            DismissedChange.objects.create(
                of=change.of,
                scope=change.scope,
                item=change.part,
                showing=change.found.showing,
                pumps=change.found.pumps,
                why=why.strip()[:500],
                key=key,
                by=by,
                at=at,
            )
