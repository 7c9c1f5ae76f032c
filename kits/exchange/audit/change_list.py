"""Who changed what, over all tables that keep it: put together, sorted, counted and cut into pages by the database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from kits.catalog.days.moments import start_of
from kits.exchange.audit.events import ChangeEvent, ChangeSource, Told
from kits.exchange.audit.sources import all_sources
from kits.people.models import User

DAYS_SHOWN = 7
AT_ONCE = 500
SORTS = {"at": "event_at", "by": "event_by", "of": "event_of"}
SEES_ALL, SEES_THE_SHOP = "people.view_peoplechange", "catalog.change_item"
"""Whoever keeps people sees everything; whoever keeps the lists sees all but people, roles and sign-ins."""
Event = tuple[datetime, str, str, int]


@dataclass(frozen=True, slots=True)
class ChangesAsked:
    """Which changes are asked for; ``since`` and ``until`` are days, both included, ``of`` names a source."""

    of: str = ""
    by: str = ""
    since: date | None = None
    until: date | None = None


class ChangeList:
    """Changes of the sources given; each page is one statement for all of them and a few for each that stands on it."""

    def __init__(self, sources: Sequence[ChangeSource], asked: ChangesAsked, sort: str = "-at") -> None:
        self._sources, self._asked, self._sort = sources, asked, sort

    def sorted_by(self, sort: str) -> ChangeList:
        """The same changes by a column of `SORTS`, downwards with a dash before it; the last first otherwise."""
        return ChangeList(self._sources, self._asked, sort if sort.removeprefix("-") in SORTS else "-at")

    def count(self) -> int:
        """How many there are."""
        return self._united().count()

    def __len__(self) -> int:
        return self.count()

    def __getitem__(self, part: slice) -> list[ChangeEvent]:
        return self._told(self._ordered()[part])

    def __iter__(self) -> Iterator[ChangeEvent]:
        events = iter(self._ordered())
        while some := list(islice(events, AT_ONCE)):
            yield from self._told(some)

    def _parts(self) -> list[QuerySet[Any, Any]]:
        asked = self._asked
        since = start_of(asked.since) if asked.since else None
        until = start_of(asked.until + timedelta(days=1)) if asked.until else None
        return [source.events(since, until, asked.by) for source in self._sources]

    def _ordered(self) -> QuerySet[Any, Any]:
        down, column = self._sort.startswith("-"), SORTS[self._sort.removeprefix("-")]
        by = f"-{column}" if down else column
        return self._united().order_by(by, "-event_at", "event_of", "-event_number")

    def _united(self) -> QuerySet[Any, Any]:
        first, *others = self._parts()
        return first.union(*others, all=True)

    def _told(self, events: Iterable[Event]) -> list[ChangeEvent]:
        known, found = all_sources(), list(events)
        numbers: dict[str, list[int]] = defaultdict(list)
        for _, _, name, number in found:
            numbers[name].append(number)
        told = {name: known[name].tell(asked) for name, asked in numbers.items()}
        return [
            ChangeEvent(
                timezone.localtime(at),
                by or "by command",
                known[name].says,
                told[name].get(number, Told("", str(number))),
            )
            for at, by, name, number in found
        ]


def change_list(asked: ChangesAsked, person: User, *, today: date) -> tuple[ChangeList, ChangesAsked]:
    """The changes asked for that somebody may see, and what was asked: of the last days where none is named."""
    sources = sources_for(person)
    chosen = [source for source in sources if source.name == asked.of] or sources
    since = asked.since or (asked.until or today) - timedelta(days=DAYS_SHOWN)
    asked = ChangesAsked(chosen[0].name if len(chosen) == 1 else "", asked.by, since, asked.until)
    return ChangeList(chosen, asked), asked


def sources_for(person: User) -> list[ChangeSource]:
    """The sources that somebody may see."""
    everything = person.has_perm(SEES_ALL)
    return [source for source in all_sources().values() if everything or not source.of_people]


def may_see_changes(person: User) -> bool:
    """Whether somebody may see who changed what at all."""
    return person.has_perm(SEES_ALL) or person.has_perm(SEES_THE_SHOP)
