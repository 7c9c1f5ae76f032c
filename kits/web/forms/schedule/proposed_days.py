"""The form in which proposed build days are accepted row by row."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.http import QueryDict

from kits.catalog.errors import Refusal

ODD = "A row of this page does not read as a day and a job: open the proposal anew and tick its rows again."


def accepted_days(data: QueryDict) -> Mapping[str, date]:
    """The days of the rows that are ticked, by job."""
    found: dict[str, date] = {}
    for row in data.getlist("move"):
        day, _, job = row.partition(" ")
        try:
            found[job] = date.fromisoformat(day)
        except ValueError:
            raise Refusal(ODD) from None
    return found
