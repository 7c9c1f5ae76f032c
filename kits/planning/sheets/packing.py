"""What stands before somebody who packs a kit: for which jobs, how many the shelf gives, what limits it, which lots."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from bom.plan import Plan
from bom.values import ONE, Options
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.planning.queries import reading_of
from kits.planning.questions.kept_pieces import KeptFor, KeptForOthers, kept_for_others
from kits.schedule.models import Job
from kits.stock.packed_kits.contents import listed
from kits.stock.packed_kits.draws import Alike, Free, PackLimit, fill_kits, leave_kept, limits
from kits.stock.packed_kits.shelf import free_pieces


@dataclass(frozen=True, slots=True)
class WantedBy:
    """A job, another need or wear (no name) that the plan packs kits for."""

    name: str
    is_job: bool
    build_on: date | None
    kits: int


@dataclass(frozen=True, slots=True)
class KeptForRow:
    """What of one part is kept for a job or another need (or, without a name, for another kit in stock)."""

    name: str
    build_on: date
    quantity: Amount


@dataclass(frozen=True, slots=True)
class LimitRow:
    """How many kits one part is enough for; ``lies`` is what could be taken if nothing were kept for others."""

    part_number: str
    what: str
    in_one: Amount
    lies: Amount
    free: Amount
    kits: int
    limits: bool
    kept_for: tuple[KeptForRow, ...]

    @property
    def kept(self) -> Amount:
        """What is kept of it."""
        return Amount(self.lies.millionths - self.free.millionths, self.free.unit)


@dataclass(frozen=True, slots=True)
class DrawRow:
    """What is taken of one lot for some kits that are alike."""

    place: str
    part_number: str
    lot: str
    packet: str
    quantity: Amount
    last_use_on: date | None
    sets: bool


@dataclass(frozen=True, slots=True)
class AlikeRow:
    """Kits that will hold the same lots, and so are one lot."""

    count: int
    last_use_on: date | None
    draws: tuple[DrawRow, ...]


@dataclass(frozen=True, slots=True)
class PackingSheet:
    """The sheet for one kit, one number and one build day.

    ``at_most`` is how many could be packed if nothing were kept for what is built up to that day, ``takes_kept``
    whether that is asked.
    """

    kit: Item
    as_of: date
    lives_to: date
    count: int
    asked: int
    at_most: int
    takes_kept: bool
    wanted_by: tuple[WantedBy, ...]
    limits: tuple[LimitRow, ...]
    groups: tuple[AlikeRow, ...]

    @property
    def shows(self) -> list[object]:
        """What stands before whoever packs: how many kits, and what of which lot goes into them."""
        return [
            (group.count, [(row.place, row.part_number, row.lot, row.quantity.millionths) for row in group.draws])
            for group in self.groups
        ]

    @property
    def possible(self) -> int:
        """How many can be packed."""
        return self.limits[0].kits if self.limits else 0

    @property
    def limited_by(self) -> str:
        """The part that limits it."""
        return self.limits[0].part_number if self.limits else ""

    @property
    def keeps(self) -> bool:
        """Whether more could be packed if nothing were kept for others."""
        return self.at_most > self.possible


def wanted_by(plan: Plan, kit: Item) -> list[WantedBy]:
    """Whom the plan packs a kit for, by build day."""
    return [
        WantedBy(
            name=asker.name if asker else "",
            is_job=asker is not None and asker.is_job,
            build_on=build_on,
            kits=-(-quantity // ONE),
        )
        for build_on, asker, quantity in reading_of(plan).packed(kit.part_number)
    ]


def packing_sheet(
    plan: Plan,
    kit: Item,
    *,
    count: int | None,
    lives_to: date | None,
    options: Options = (),
    takes_kept: bool = False,
    job: Job | None = None,
) -> PackingSheet:
    """What packing a kit would take, nothing stored; eight statements.

    Left open, the number and the day are those of the first job that the plan packs for. What others are sure to need
    up to that day is left on the shelf, unless ``takes_kept``. For a job also what belongs to its customer may go in.
    """
    wanted = wanted_by(plan, kit)
    first = next(iter(wanted), None)
    day = lives_to or (first.build_on if first else None) or plan.shop.as_of
    asked = count or (first.kits if first else 1)
    pieces = listed(kit, day, options)
    kept = kept_for_others(plan, kit, day)
    shelf = free_pieces(kit, list(pieces), lives_to=day, job=job)
    left = leave_kept(shelf, kept.accounts)
    free = shelf if takes_kept else left
    found, most = limits(pieces, free), limits(pieces, shelf)
    possible = min(asked, found[0].kits) if found else 0
    groups = fill_kits(pieces, [replace(one) for one in free], possible)
    return PackingSheet(
        kit=kit,
        as_of=plan.shop.as_of,
        lives_to=day,
        count=possible,
        asked=asked,
        at_most=most[0].kits if most else 0,
        takes_kept=takes_kept,
        wanted_by=tuple(wanted),
        limits=tuple(_limit_row(one, found[0].kits, {row.item.pk: row for row in most}, kept) for one in found),
        groups=tuple(_group(one) for one in groups),
    )


def _limit_row(one: PackLimit, least: int, most: Mapping[int, PackLimit], kept: KeptForOthers) -> LimitRow:
    unit = one.item.stock_unit
    waiting: tuple[KeptFor, ...] = kept.needs.get(one.item.part_number, ())
    return LimitRow(
        part_number=one.item.part_number,
        what=one.item.description,
        in_one=Amount.of(one.in_one, unit),
        lies=Amount.of(most[one.item.pk].free, unit),
        free=Amount.of(one.free, unit),
        kits=one.kits,
        limits=one.kits == least,
        kept_for=tuple(KeptForRow(row.name, row.build_on, Amount.of(row.quantity, unit)) for row in waiting),
    )


def _group(alike: Alike) -> AlikeRow:
    return AlikeRow(alike.count, alike.last_use_on, tuple(_draws(alike)))


def _draws(alike: Alike) -> Iterator[DrawRow]:
    for draw in alike.draws:
        free: Free = draw.free
        yield DrawRow(
            place=free.place,
            part_number=free.lot.item.part_number,
            lot=free.lot.lot,
            packet="" if free.account.packet == "sealed" else "opened bag",
            quantity=Amount.of(draw.quantity * alike.count, free.lot.item.stock_unit),
            last_use_on=free.last_use_on,
            sets=free.last_use_on is not None and free.last_use_on == alike.last_use_on,
        )


def parts_of(sheet: PackingSheet) -> Sequence[str]:
    """The parts that go into the kit."""
    return [row.part_number for row in sheet.limits]
