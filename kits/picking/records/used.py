"""What went into the pump of a job, lot by lot, as the ledger has it; and into which pumps a lot went."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.schedule.models import Job, JobStep
from kits.schedule.stages import DONE
from kits.service.models import PastStrip
from kits.stock.models import KitPiece, Lot, Movement
from kits.stock.suspicions import with_kits
from kits.stock.words import PostingKind


@dataclass(frozen=True, slots=True)
class PartOnRecord:
    """A lot that went into the pump at one of its strips; ``depth`` 1 is what lay inside the kit above it."""

    strip: int
    depth: int
    part_number: str
    what: str
    lot_id: int | None
    lot: str
    quantity: Amount
    cure: str
    last_use_on: date | None
    maker_batch: str
    certificate: str


@dataclass(frozen=True, slots=True)
class PumpOfLot:
    """A pump that a lot went into, by itself or in the kit that ``inside`` names."""

    job: str
    pump: str
    serial: str
    customer: str
    stage: str
    build_on: date
    quantity: Amount
    inside: str


def strips_by_closing(job: Job, past: Iterable[PastStrip]) -> dict[str, int]:
    """Return at which strip each closing of a job stands, by the key of its step; one statement."""
    ended = [strip.test.step_id for strip in past]
    closings = JobStep.objects.filter(job=job, after="built").order_by("pk").values_list("pk", "key")
    return {key: 1 + sum(pk > before for before in ended if before is not None) for pk, key in closings}


def parts_on_record(job: Job, past: Iterable[PastStrip]) -> list[PartOnRecord]:
    """Return what went into the pump of a job and stayed there, kits with what lay in them; four statements."""
    strips = strips_by_closing(job, past)
    rows = Movement.objects.filter(
        balance__job=job, posting__kind=PostingKind.CONSUME, posting__reversed_by__isnull=True
    ).values_list("posting__key", "balance__lot", "quantity")
    used: dict[tuple[int, int], int] = defaultdict(int)
    for key, lot, quantity in rows:
        used[strips.get(key.rpartition(":")[0], 1), lot] -= quantity
    lots = Lot.objects.select_related("item").in_bulk({lot for _, lot in used})
    inside = _inside_kits(lots.values())
    found = []
    for (strip, lot_id), quantity in sorted(used.items(), key=lambda one: (one[0][0], _name(lots[one[0][1]]))):
        lot = lots[lot_id]
        found.append(_part(strip, 0, lot, lot.item.part_number, lot.item.description, quantity, lot.item.stock_unit))
        for piece in inside.get(lot_id, ()):
            each = piece.quantity * quantity // ONE
            item = piece.item
            found.append(_part(strip, 1, piece.piece_lot, item.part_number, item.description, each, item.stock_unit))
    return found


def pumps_of_lot(lot: Lot) -> list[PumpOfLot]:
    """Return the pumps that a lot went into, by itself or inside a kit, the latest first; five statements."""
    kits = with_kits({lot.pk})
    rows = (
        Movement.objects.filter(
            balance__lot__in=kits, posting__kind=PostingKind.CONSUME, posting__reversed_by__isnull=True
        )
        .filter(balance__job__stage__in=DONE)
        .values_list("balance__job", "balance__lot", "quantity")
    )
    used: dict[tuple[int, int], int] = defaultdict(int)
    for job_id, lot_id, quantity in rows:
        used[job_id, lot_id] -= quantity
    jobs = Job.objects.select_related("pump").in_bulk({job_id for job_id, _ in used})
    kit_lots = Lot.objects.select_related("item").in_bulk({lot_id for _, lot_id in used} - {lot.pk})
    held = _held_of(lot, kit_lots)
    found = [
        PumpOfLot(
            job=jobs[job_id].job,
            pump=jobs[job_id].pump.part_number,
            serial=jobs[job_id].serial,
            customer=jobs[job_id].customer,
            stage=jobs[job_id].get_stage_display().lower(),
            build_on=jobs[job_id].build_on,
            quantity=Amount.of(quantity * held.get(lot_id, ONE) // ONE, lot.item.stock_unit),
            inside="" if lot_id == lot.pk else f"{kit_lots[lot_id].item.part_number}, lot {kit_lots[lot_id].lot}",
        )
        for (job_id, lot_id), quantity in used.items()
    ]
    return sorted(found, key=lambda row: (row.build_on, row.job), reverse=True)


def _held_of(lot: Lot, kit_lots: Mapping[int, Lot]) -> dict[int, int]:
    """How much of a lot lies in one kit of each lot of kits, kits inside kits counted."""
    pieces = KitPiece.objects.filter(piece_lot__isnull=False, quantity__gt=0).values_list(
        "kit_lot", "piece_lot", "quantity"
    )
    inside: dict[int, list[tuple[int, int]]] = defaultdict(list)
    if kit_lots:
        for kit, piece, quantity in pieces:
            if piece is not None:
                inside[kit].append((piece, quantity))

    def held(kit: int) -> int:
        return sum(quantity if piece == lot.pk else quantity * held(piece) // ONE for piece, quantity in inside[kit])

    return {kit: held(kit) for kit in kit_lots}


def _inside_kits(lots: Iterable[Lot]) -> dict[int, list[KitPiece]]:
    kits = [lot.pk for lot in lots if lot.item.kind == "kit"]
    found: dict[int, list[KitPiece]] = defaultdict(list)
    if kits:
        rows = KitPiece.objects.filter(kit_lot__in=kits, quantity__gt=0).select_related("item", "piece_lot__item")
        for piece in rows.order_by("item__folded", "pk"):
            found[piece.kit_lot_id].append(piece)
    return found


def _name(lot: Lot) -> tuple[str, str]:
    return lot.item.folded, lot.folded


def _part(
    strip: int, depth: int, lot: Lot | None, part_number: str, what: str, quantity: int, unit: str
) -> PartOnRecord:
    return PartOnRecord(
        strip=strip,
        depth=depth,
        part_number=part_number,
        what=what,
        lot_id=lot.pk if lot else None,
        lot=lot.lot if lot else "",
        quantity=Amount.of(quantity, unit),
        cure=lot.cure if lot else "",
        last_use_on=lot.last_use_on if lot else None,
        maker_batch=lot.maker_batch if lot else "",
        certificate=lot.certificate if lot else "",
    )
