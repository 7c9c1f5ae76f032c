"""What the back office does to rows of any table, beyond one entry at a time."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import models, transaction

from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.history.versions import keep_versions, rows_to_go
from kits.people.models import User


def delete_rows(*, rows: models.QuerySet[Any], of_catalog: bool, by: User, at: datetime, why: str) -> None:
    """Delete chosen rows of the back office with what hangs on them, and keep what they held."""
    with transaction.atomic(durable=True):
        mark_catalog() if of_catalog else mark_shop()
        going = rows_to_go(rows)
        rows.delete()
        for model, found in going.items():
            keep_versions(model, found, {}, by=by, at=at, why=why)
