"""The quote of a job: what it comes to by the plan of now, the versions that are stored, and what changed since."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone

from bom.plan import Plan
from bom.questions.bag_check import check_bags
from bom.reading import Lists
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.catalog.models import Item, ScopeSection
from kits.catalog.queries import ShopSettings, read_settings
from kits.people.names import name_of
from kits.planning.lists.shelf_value import offered_costs
from kits.planning.queries import kept_beside, reading_of
from kits.schedule.models import Job
from kits.service.models import GoAhead, Quote, QuoteLine, WorkHours
from kits.service.quoting.queries import (
    LineChange,
    changed_lines,
    lines_by_name,
    quotes_of,
    share_percent,
    standing_go_ahead,
)
from kits.service.quoting.said import EXACT, LineSaid, QuoteSaid, in_cents
from kits.service.testing.queries import strip_number
from kits.service.words import QuoteFor

HOURS_UNIT = "h"
Needs = tuple[Mapping[str, int], Mapping[str, int]]
"""Millionths by part number: what is needed in any case, and what the strip report and findings add."""


@dataclass(frozen=True, slots=True)
class QuotedRow:
    """One line as it is read."""

    what_for: str
    part_number: str
    says: str
    quantity: str
    unit_price: Decimal | None
    price: Decimal | None


@dataclass(frozen=True, slots=True)
class QuoteChange:
    """What differs in one line: quantities in words, and by how much it is dearer."""

    says: str
    before: str
    after: str
    dearer: Decimal | None


MOST_LINES = 30
"""So many lines of a quote stand open."""


@dataclass(frozen=True, slots=True)
class QuoteVersion:
    """A quote, or the one that would be stored now (``version`` None): its groups of lines, total and ceiling."""

    version: int | None
    quote: Quote | None
    work: str
    groups: tuple[tuple[str, tuple[QuotedRow, ...], Decimal], ...]
    currency: str
    total: Decimal
    unpriced: int
    new_price: Decimal | None
    ceiling_percent: Decimal
    note: str = ""
    by: str = ""
    at: datetime | None = None
    go_ahead: GoAhead | None = None
    taken_back: tuple[GoAhead, ...] = ()
    changes: tuple[QuoteChange, ...] = ()
    dearer: Decimal | None = None

    @property
    def is_long(self) -> bool:
        """Whether its totals stand first, and its lines are opened."""
        return sum(len(rows) for _, rows, _ in self.groups) > MOST_LINES

    @property
    def less(self) -> Decimal:
        """By how much it is cheaper than the version before."""
        return -(self.dearer or Decimal(0))

    @property
    def before(self) -> int:
        """The version before."""
        return (self.version or 1) - 1

    @property
    def on(self) -> date | None:
        """The day on which it was stored."""
        return timezone.localdate(self.at) if self.at else None

    @property
    def share(self) -> Decimal | None:
        """Which percentage of the price of a new pump it is."""
        return share_percent(self.total, self.new_price)

    @property
    def is_over(self) -> bool:
        """Whether it lies over the ceiling."""
        return self.share is not None and self.share > self.ceiling_percent


@dataclass(frozen=True, slots=True)
class QuoteSheet:
    """Everything about the quote of a job; ``now`` is None for a job that asks for no parts any more."""

    job: Job
    as_of: date
    said: QuoteSaid | None
    now: QuoteVersion | None
    versions: tuple[QuoteVersion, ...]
    needs_go_ahead: bool
    unseen: int
    strip: int

    @property
    def latest(self) -> QuoteVersion | None:
        """The version that stands."""
        return self.versions[0] if self.versions else None

    @property
    def next_version(self) -> int:
        """The number under which the next one is stored."""
        return len(self.versions) + 1

    @property
    def is_current(self) -> bool:
        """Whether the version that stands says what would be stored now."""
        return self.latest is not None and self.now is not None and not self.now.changes

    @property
    def shows(self) -> tuple[object, ...]:
        """What stands before whoever stores the next version."""
        lines = [(line.says, line.quantity, str(line.price)) for line in self.said.lines] if self.said else []
        return lines, [version.version for version in self.versions]


def quote_sheet(plan: Plan, job: Job) -> QuoteSheet:
    """The quote of a job; some nine statements."""
    settings, stored = read_settings(), quotes_of(job)
    needs = needs_of_job(plan, job)
    said = quote_said(plan, job, needs, settings) if needs is not None else None
    latest = list(stored[0].lines.all()) if stored else None
    unseen = reading_of(plan).to_inspect.get(reading_of(plan).jobs[job.job], 0) if needs is not None else 0
    return QuoteSheet(
        job=job,
        as_of=plan.shop.as_of,
        said=said,
        now=_version_now(said, latest) if said else None,
        versions=tuple(
            _stored(quote, stored[place + 1] if place + 1 < len(stored) else None) for place, quote in enumerate(stored)
        ),
        needs_go_ahead=settings.quotes_need_go_ahead,
        unseen=unseen,
        strip=strip_number(job),
    )


def needs_of_job(plan: Plan, job: Job) -> Needs | None:
    """What a job takes, whatever of it was given to it already: in any case, and found; None where it asks no more."""
    reading = reading_of(plan)
    if job.job not in reading.jobs:
        return None

    def work() -> Needs:
        structure, nothing = reading.lists.compiled, {job.job: ()}
        bare = replace(plan.shop, verdicts=(), findings=())
        whole = check_bags(structure, plan.shop, nothing)[job.job].missing
        sure = check_bags(structure, bare, nothing)[job.job].missing
        found = {part: quantity - sure.get(part, 0) for part, quantity in whole.items() if quantity > sure.get(part, 0)}
        return {part: min(quantity, whole.get(part, 0)) for part, quantity in sure.items() if whole.get(part)}, found

    return kept_beside(plan, f"quoted:{job.pk}", work)


def parts_of_job(plan: Plan, job: Job) -> Mapping[str, int] | None:
    """Everything that a job takes, sure and found, in millionths by part number; None where it asks no more."""
    needs = needs_of_job(plan, job)
    if needs is None:
        return None
    sure, found = needs
    return {part: sure.get(part, 0) + found.get(part, 0) for part in (*sure, *found)}


def quote_said(plan: Plan, job: Job, needs: Needs, settings: ShopSettings) -> QuoteSaid:
    """The quote as it would be stored now; five statements."""
    prices = _Prices(reading_of(plan).lists, {job.pump.part_number, *needs[0], *needs[1]}, settings)
    sections = list(ScopeSection.objects.filter(pump=job.pump, folded=fold(job.scope)).select_related("section"))
    lines = [
        *_parts(QuoteFor.SURE, needs[0], prices),
        *_parts(QuoteFor.FOUND, needs[1], prices),
        *_hours(job, sections, settings.hourly_rate),
    ]
    new_price = prices.cost(job.pump.part_number)
    opened = "; ".join(f"{row.how_many * job.quantity} × {row.section.description}" for row in sections)
    return QuoteSaid(
        work=f"{job.scope}: {opened}" if opened else job.scope,
        lines=tuple(lines),
        currency=settings.currency,
        ceiling_percent=settings.quote_ceiling_percent,
        new_price=None if new_price is None else in_cents(new_price * job.quantity),
    )


class _Prices:
    """What one stock unit of an item is quoted at: its own cost, else the lowest offer, else what a kit holds."""

    def __init__(self, lists: Lists, parts: Collection[str], settings: ShopSettings) -> None:
        self.lists, self.settings = lists, settings
        named, new = set(parts), set(parts)
        while new:
            new = {held.child for part in new for held in lists.inside(part) if lists.items[part].kind == "kit"} - named
            named |= new
        self.items = {item.part_number: item for item in Item.objects.filter(part_number__in=named)}
        self.offered = offered_costs(settings.currency)

    def cost(self, part_number: str) -> Decimal | None:
        """The cost of one stock unit, None where nobody knows it."""
        item = self.items[part_number]
        if item.unit_cost is not None:
            return item.unit_cost
        if item.pk in self.offered:
            return self.offered[item.pk][0]
        inside = self.lists.inside(part_number) if item.kind == "kit" else ()
        costs = [(self.cost(held.child), held.quantity) for held in inside]
        if not costs or any(cost is None for cost, _ in costs):
            return None
        return sum((cost * quantity / ONE for cost, quantity in costs if cost is not None), Decimal(0))

    def quoted(self, part_number: str) -> Decimal | None:
        """The same with what the shop adds to it."""
        cost = self.cost(part_number)
        return None if cost is None else (cost * (1 + self.settings.parts_markup_percent / 100)).quantize(EXACT)


def _parts(what_for: QuoteFor, parts: Mapping[str, int], prices: _Prices) -> Iterator[LineSaid]:
    for part_number, quantity in sorted(parts.items()):
        item = prices.items[part_number]
        yield LineSaid(
            what_for=what_for,
            item_id=item.pk,
            part_number=part_number,
            says=item.description,
            quantity=quantity,
            unit=item.stock_unit,
            unit_price=prices.quoted(part_number),
        )


def _hours(job: Job, sections: list[ScopeSection], rate: Decimal | None) -> Iterator[LineSaid]:
    """Hours for the pump to this scope where they are written down, else section by section."""
    rows = WorkHours.objects.filter(item__in=[job.pump_id, *(row.section_id for row in sections)])
    by_name = {(row.item_id, row.folded): row.hours for row in rows}
    whole = by_name.get((job.pump_id, fold(job.scope)))
    if whole is not None:
        yield _work(job.scope, whole * job.quantity, rate)
        return
    for row in sections:
        hours, count = by_name.get((row.section_id, "")), row.how_many * job.quantity
        says = f"{count} × {row.section.description}" if count > 1 else row.section.description
        yield _work(says, None if hours is None else hours * count, rate)


def _work(says: str, hours: Decimal | None, rate: Decimal | None) -> LineSaid:
    quantity = ONE if hours is None else int(hours * ONE)
    unit = "" if hours is None else HOURS_UNIT
    return LineSaid(QuoteFor.HOURS, None, "", says, quantity, unit, None if hours is None else rate)


def _version_now(said: QuoteSaid, latest: list[QuoteLine] | None) -> QuoteVersion:
    rows = [
        (line.what_for, QuotedRow(line.what_for, line.part_number, line.says, _amount(line.quantity, line.unit),
                                 line.unit_price, line.price))
        for line in said.lines
    ]  # fmt: skip
    after = {
        (line.what_for.value, line.part_number or line.says): (line.says, line.unit, line.quantity, line.price)
        for line in said.lines
    }
    changes = tuple(map(_change, changed_lines(latest, after))) if latest is not None else ()
    return QuoteVersion(
        version=None,
        quote=None,
        work=said.work,
        groups=_groups(rows),
        currency=said.currency,
        total=said.total,
        unpriced=said.unpriced,
        new_price=said.new_price,
        ceiling_percent=said.ceiling_percent,
        changes=changes,
    )


def _stored(quote: Quote, before: Quote | None) -> QuoteVersion:
    lines = list(quote.lines.all())
    rows = [
        (QuoteFor(line.what_for), QuotedRow(line.what_for, line.item.part_number if line.item else "", line.says,
                                           _amount(line.quantity, line.unit), line.unit_price, line.price))
        for line in lines
    ]  # fmt: skip
    changes = changed_lines(list(before.lines.all()), lines_by_name(lines)) if before else []
    return QuoteVersion(
        version=quote.version,
        quote=quote,
        work=quote.work,
        groups=_groups(rows),
        currency=quote.currency,
        total=quote.total,
        unpriced=quote.unpriced,
        new_price=quote.new_price,
        ceiling_percent=quote.ceiling_percent,
        note=quote.note,
        by=name_of(quote.by),
        at=quote.at,
        go_ahead=standing_go_ahead(quote),
        taken_back=tuple(one for one in quote.go_aheads.all() if one.taken_back_at is not None),
        changes=tuple(map(_change, changes)),
        dearer=quote.total - before.total if before else None,
    )


def _groups(rows: list[tuple[QuoteFor, QuotedRow]]) -> tuple[tuple[str, tuple[QuotedRow, ...], Decimal], ...]:
    found = []
    for what_for in QuoteFor:
        mine = tuple(row for of, row in rows if of == what_for)
        if mine:
            total = sum((row.price for row in mine if row.price is not None), Decimal("0.00"))
            found.append((str(what_for.label), mine, total))
    return tuple(found)


def _change(change: LineChange) -> QuoteChange:
    before, after = change.price_before, change.price_after
    known = (before is not None or not change.before) and (after is not None or not change.after)
    return QuoteChange(
        says=change.says,
        before=_amount(change.before, change.unit) if change.before else "",
        after=_amount(change.after, change.unit) if change.after else "",
        dearer=(after or Decimal(0)) - (before or Decimal(0)) if known else None,
    )


def _amount(quantity: int, unit: str) -> str:
    return Amount.of(quantity, unit).text if unit else ""
