"""The snapshot: the shop's tables as one frozen input of the engine, in a fixed number of statements."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from functools import lru_cache
from typing import Any, NamedTuple, cast

from bom.values import Catalog, Finding, Issue, Job, Lot, OrderLine, OtherNeed, Shop, Verdict
from kits.catalog.caching.asked_often import ask_often
from kits.catalog.caching.revisions import read_marks
from kits.catalog.folding import fold
from kits.catalog.options import parse_options
from kits.catalog.queries import read_holidays, read_settings
from kits.planning.snapshot.actions import read_while_others_wait
from kits.planning.snapshot.catalog import read_catalog
from kits.planning.snapshot.days import ReadDay, day_of, to_day
from kits.planning.snapshot.rows import kept_or_made
from kits.purchasing import models as purchasing
from kits.schedule import models as schedule
from kits.schedule.words import Stage
from kits.service.models import PastStrip, PastVerdict
from kits.service.testing.queries import strip_name
from kits.stock.last_use import last_use_day
from kits.stock.lists.stand_ins import StandingIn, named_as
from kits.stock.models import Balance, Reservation
from kits.stock.packed_kits.last_uses import earliest, kit_contents, kit_last_uses, kits_owed_pieces
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, HeldAs, PlaceKind

TRIES = 5


def take_snapshot(as_of: date, staging_days: int | None = None) -> Shop:
    """Return everything that a plan is made from, at one moment; ``staging_days`` None takes the setting."""
    for _ in range(TRIES):
        before = read_marks()
        shop = _read_shop(as_of, staging_days, before)
        # Readers hold no lock: what was written meanwhile would mix two moments, so it is read again.
        if read_marks() == before:
            return shop
    # Others write faster than it is read: now they wait for as long as that takes.
    return read_while_others_wait(lambda marks: _read_shop(as_of, staging_days, marks))


def stamp_of(marks: tuple[str, str]) -> str:
    """Return one text that changes with every write; empty when the records were never written to by an action."""
    return ".".join(marks) if any(marks) else ""


def _read_shop(as_of: date, staging_days: int | None, marks: tuple[str, str]) -> Shop:
    settings = read_settings()
    catalog = read_catalog(marks[0], settings.currency)
    last_uses = kit_last_uses()
    lots = _lots(last_uses)
    with_jobs, in_bags = _with_jobs(last_uses)
    on_shelf = {(lot.part_number, lot.lot) for lot in lots}
    past = list(ask_often(lambda: PastStrip.objects.select_related("job", "pump").order_by("job__folded", "number")))
    return Shop(
        as_of=as_of,
        catalog=catalog,
        staging_days=settings.staging_days if staging_days is None else staging_days,
        workdays=settings.workdays,
        holidays=read_holidays(),
        lots=(*lots, *(lot for lot in in_bags if (lot.part_number, lot.lot) not in on_shelf)),
        orders=_orders(),
        jobs=(*_jobs(catalog, Counter(strip.job.job for strip in past)), *map(_past_job, past)),
        needs=_needs(),
        issues=(*_reserved(), *with_jobs),
        verdicts=(*_verdicts(), *(_past_verdicts(past) if past else ())),
        findings=_findings(catalog),
        stamp=stamp_of(marks),
    )


def _lots(last_uses: Mapping[int, date]) -> tuple[Lot, ...]:
    suspect, owed, contents = lots_under_suspicion(), kits_owed_pieces(), kit_contents()
    rows = ask_often(
        lambda: (
            Balance.objects.on_shelf()
            .filter(quantity__gt=0)
            .order_by("lot__item__folded", "lot__folded", "place__folded", "pk")
            .values_list(
                "lot_id",
                "lot__item__part_number",
                "lot__lot",
                "quantity",
                "place__place",
                "condition",
                "packet",
                "place__kind",
                day_of("lot__cure_on"),
                day_of("lot__printed_last_use_on"),
                "lot__item__shelf_life_months",
                day_of("lot__received_on"),
                "lot__owner",
            )
        )
    )
    told_more = {*suspect, *owed, *contents, *last_uses}

    def read_with(row: tuple[Any, ...]) -> tuple[Any, ...]:
        lot = row[0]
        if lot not in told_more:
            return row
        return *row, lot in suspect, lot in owed, last_uses.get(lot), contents.get(lot)

    return kept_or_made("lots", map(read_with, rows), lambda row: _lot(_ShelfRow(*row)))


class _ShelfRow(NamedTuple):
    """What lies of one lot at one place; days as they are read."""

    lot_id: int
    part_number: str
    lot: str
    quantity: int
    place: str
    condition: str
    packet: str
    place_kind: str
    cure_on: ReadDay
    printed_on: ReadDay
    life_months: int | None
    received_on: ReadDay
    owner: str
    is_suspect: bool = False
    is_owed: bool = False
    pieces_last_use: date | None = None
    contents: tuple[tuple[str, int], ...] | None = None


def _lot(row: _ShelfRow) -> Lot:
    held_back = row.place_kind == PlaceKind.QUARANTINE or row.is_suspect
    return Lot(
        part_number=row.part_number,
        lot=row.lot,
        quantity=row.quantity,
        place=row.place,
        condition=_condition(row.condition, held_back, row.is_owed),
        packet=row.packet,
        last_use=earliest(_last_use(row.cure_on, row.printed_on, row.life_months), row.pieces_last_use),
        received=to_day(row.received_on),
        owner=row.owner,
        contents=row.contents,
    )


@lru_cache(maxsize=1 << 16)
def _last_use(cure_on: ReadDay, printed_on: ReadDay, life_months: int | None) -> date | None:
    return last_use_day(to_day(cure_on), to_day(printed_on), life_months)


def _condition(of_lot: str, held_back: bool, owes: bool) -> str:
    """What planning has to know of a lot; a robbed kit is no whole kit until it is filled up."""
    if held_back or of_lot == Condition.QUARANTINE:
        return Condition.QUARANTINE.value
    return "owing" if owes else of_lot


def _orders() -> tuple[OrderLine, ...]:
    rows = ask_often(
        lambda: (
            purchasing.OrderLine.objects.open()
            .order_by("promised_on", "folded_order", "folded")
            .values_list("order", "line", "item__part_number", "quantity", day_of("promised_on"), "supplier__supplier")
        )
    )
    return kept_or_made("orders", rows, _order_line)


def _order_line(row: tuple[Any, ...]) -> OrderLine:
    order, line, part_number, quantity, promised_on, supplier = row
    return OrderLine(order, line, part_number, quantity, cast(date, to_day(promised_on)), supplier)


def _jobs(catalog: Catalog, past: Mapping[str, int]) -> tuple[Job, ...]:
    spelled = {(section.pump, fold(section.scope)): section.scope for section in catalog.scopes}
    rows = ask_often(
        lambda: schedule.Job.objects.order_by("folded").values_list(
            "job",
            "pump__part_number",
            "scope",
            "build_on",
            "quantity",
            "batch__name",
            "priority",
            "option",
            "cleanliness",
            "use_kits",
            "serial",
            "customer",
            "strip_on",
            "stage",
        )
    )
    return tuple(
        Job(
            job=row[0],
            pump=row[1],
            scope=spelled.get((row[1], fold(row[2])), row[2]),
            build_on=row[3],
            quantity=row[4],
            batch=row[5] or "",
            priority=row[6],
            options=parse_options(row[7]),
            cleanliness=row[8],
            use_kits=row[9],
            serial=row[10],
            customer=row[11],
            strip_on=row[12],
            stage=row[13],
            strip=1 + past[row[0]],
        )
        for row in rows
    )


def _past_job(strip: PastStrip) -> Job:
    """A strip that was followed by another, as a job of the past: what was found then teaches rates as it did."""
    return Job(
        job=strip_name(strip.job, strip.number),
        pump=strip.pump.part_number,
        scope=strip.scope,
        build_on=strip.build_on,
        quantity=strip.quantity,
        options=parse_options(strip.option),
        cleanliness=strip.job.cleanliness,
        serial=strip.job.serial,
        stage=Stage.BUILT.value,
        strip=strip.number,
    )


def _past_verdicts(past: Iterable[PastStrip]) -> Iterator[Verdict]:
    jobs = {strip.pk: _past_job(strip).job for strip in past}
    rows = ask_often(
        lambda: PastVerdict.objects.order_by("strip", "pk").values_list(
            "strip", "where", "item__part_number", "verdict", "found", "with_group"
        )
    )
    return (Verdict(jobs[row[0]], *row[1:]) for row in rows)


def _needs() -> tuple[OtherNeed, ...]:
    rows = ask_often(
        lambda: schedule.OtherNeed.objects.order_by("folded").values_list(
            "need", "item__part_number", "quantity", "need_on", "for_whom", "priority"
        )
    )
    return tuple(OtherNeed(*row) for row in rows)


def _reserved() -> tuple[Issue, ...]:
    rows = ask_often(
        lambda: Reservation.objects.order_by("job__folded", "lot__item__folded", "lot__folded").values_list(
            "job__job", "lot__item__part_number", "lot__lot", "quantity", "place__place"
        )
    )
    return tuple(Issue(*row[:4], state="reserved", place=row[4] or "") for row in rows)


def _with_jobs(last_uses: Mapping[int, date]) -> tuple[tuple[Issue, ...], tuple[Lot, ...]]:
    """What jobs have; and the lots of which something lies in a bag, for their last use, with nothing of them."""
    # The issued account of a job holds what was issued less what came back, which is what the engine asks for. What was
    # issued besides raises the need by as much as it gives, so that neither is told.
    rows = ask_often(
        lambda: (
            Balance.objects.of_jobs()
            .filter(quantity__gt=0)
            .exclude(state=HeldAs.EXTRA)
            .order_by("job__folded", "lot__item__folded", "lot__folded", "state")
            .values_list(
                "job__job",
                "lot__item__part_number",
                "lot__lot",
                "quantity",
                "state",
                "place__place",
                "lot_id",
                "lot__cure_on",
                "lot__printed_last_use_on",
                "lot__item__shelf_life_months",
                "job_id",
            )
        )
    )
    issues, lots, standing = [], {}, StandingIn()
    for job, part_number, lot, held, state, place, lot_id, cure_on, printed_on, months, job_id in rows:
        for counts_as, quantity in standing.counted(job_id, lot_id, part_number, held):
            named = named_as(counts_as, part_number, lot)
            issues.append(Issue(job, counts_as, named, quantity, state, place or ""))
            if state == "bagged":
                last_use = earliest(last_use_day(cure_on, printed_on, months), last_uses.get(lot_id))
                lots[lot_id, counts_as] = Lot(counts_as, named, 0, last_use=last_use)
    return tuple(issues), tuple(lots.values())


def _verdicts() -> tuple[Verdict, ...]:
    rows = ask_often(
        lambda: schedule.Verdict.objects.order_by("job__folded", "pk").values_list(
            "job__job", "where", "item__part_number", "verdict", "found", "with_group"
        )
    )
    return kept_or_made("verdicts", rows, lambda row: Verdict(*row))


def _findings(catalog: Catalog) -> tuple[Finding, ...]:
    spelled = {fold(rule.finding): rule.finding for rule in catalog.finding_rules}
    rows = ask_often(
        lambda: schedule.Finding.objects.order_by("job__folded", "pk").values_list(
            "job__job", "finding", "section__part_number", "found_on", "note"
        )
    )
    return tuple(
        Finding(job, spelled.get(fold(finding), finding), section or "", found_on, note)
        for job, finding, section, found_on, note in rows
    )
