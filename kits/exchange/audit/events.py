"""What is told of one change: who, when, in which list, of what, and what it held before and after."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import CharField, F, Model, Q, QuerySet, Value
from django.db.models.functions import Coalesce, Concat, NullIf, Trim

EVENT = ("event_at", "event_by", "event_of", "event_number")


@dataclass(frozen=True, slots=True)
class Told:
    """What the record itself says of a change; ``where`` is what its own page is found by."""

    done: str
    named: str
    before: str = ""
    after: str = ""
    why: str = ""
    where: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class ChangeEvent:
    """One change as it is shown."""

    at: datetime
    by: str
    of: str
    told: Told


@dataclass(frozen=True, slots=True)
class ChangeSource:
    """One table that keeps who did what: where the moment and the person stand, and how its rows are told.

    ``of_people`` is what only whoever keeps people may see. Where ``by`` is no key of a person it is a name.
    """

    name: str
    says: str
    model: type[Model]
    tell: Callable[[Iterable[int]], dict[int, Told]]
    at: str = "at"
    by: str = "by"
    found: Q | None = None
    of_people: bool = False
    by_name: bool = False

    def events(self, since: datetime | None, until: datetime | None, person: str) -> QuerySet[Any, Any]:
        """The moment, person, source and number of every change asked for, to be put together with others."""
        rows = self.model._base_manager.filter(self.found or Q()).order_by()
        if since:
            rows = rows.filter(**{f"{self.at}__gte": since})
        if until:
            rows = rows.filter(**{f"{self.at}__lt": until})
        if person:
            rows = rows.filter(**{self.by if self.by_name else f"{self.by}__username": person})
        key = self.model._meta.pk.attname if self.model._meta.pk else "pk"
        told: QuerySet[Any, Any] = rows.annotate(
            event_at=F(self.at),
            event_by=self._person(),
            event_of=Value(self.name, CharField()),
            event_number=F(key),
        ).values_list(*EVENT)
        return told

    def _person(self) -> Any:
        if self.by_name:
            return F(self.by)
        full = NullIf(Trim(Concat(f"{self.by}__first_name", Value(" "), f"{self.by}__last_name")), Value(""))
        return Coalesce(full, f"{self.by}__username", Value(""), output_field=CharField())
