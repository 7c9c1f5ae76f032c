"""Certificates found by lot, by part, by reference, or by the serial of the pump that the pieces went into."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db.models import Count, Q, Sum

from kits.catalog.folding import fold
from kits.schedule.models import Job
from kits.stock.certificates.files import name_to_save
from kits.stock.models import Certificate, KitPiece, Lot, Movement

MOST_LOTS = 2000


@dataclass(frozen=True, slots=True)
class CertificateFile:
    """A file that is kept."""

    pk: int
    reference: str
    file_name: str
    kilobytes: int


@dataclass(frozen=True, slots=True)
class CertifiedLot:
    """A lot with its certificate: the reference, the files, and for which jobs it was found."""

    lot_id: int
    part_number: str
    item_kind: str
    what: str
    lot: str
    maker_batch: str
    reference: str
    files: tuple[CertificateFile, ...]
    needed: bool
    missing: str
    jobs: str


@dataclass(frozen=True, slots=True)
class SerialFound:
    """A pump whose lots were looked up."""

    job: str
    serial: str
    pump: str


def certified_lots(*, words: str = "", serial: str = "", missing_only: bool = False) -> list[CertifiedLot]:
    """Lots with their certificates: those whose part, lot, batch or reference holds the words; at most five statements.

    With a serial, what went into the pumps that bear it, kits opened into their pieces.
    """
    lots = Lot.objects.select_related("item").order_by("item__folded", "folded")
    jobs_of: dict[int, set[str]] = {}
    if serial:
        jobs_of = _lots_of(_jobs(serial))
        lots = lots.filter(pk__in=jobs_of)
    for word in words.split():
        key = fold(word)
        lots = lots.filter(
            Q(folded__contains=key)
            | Q(item__folded__contains=key)
            | Q(maker_batch__icontains=word)
            | Q(certificate__icontains=word)
            | Q(certificates__reference__icontains=word)
        ).distinct()
    if missing_only:
        # Which lots have no file: asked of the count, so that no join makes a lot appear twice.
        lots = lots.filter(item__certificate_needed=True).annotate(kept=Count("certificates")).filter(kept=0)
    elif not words and not serial:
        lots = lots.filter(Q(item__certificate_needed=True) | ~Q(certificate="") | Q(certificates__isnull=False))
        lots = lots.distinct()
    found = list(lots[:MOST_LOTS])
    files = _files({lot.pk for lot in found})
    return [_certified(lot, files.get(lot.pk, ()), jobs_of.get(lot.pk, ())) for lot in found]


def serials_found(serial: str) -> list[SerialFound]:
    """The jobs on pumps of this serial; one statement."""
    return [SerialFound(job.job, job.serial, job.pump.part_number) for job in _jobs(serial)]


def files_of(lot: Lot) -> tuple[CertificateFile, ...]:
    """The files kept for one lot; one statement."""
    return _files({lot.pk}).get(lot.pk, ())


def _jobs(serial: str) -> list[Job]:
    found = Job.objects.filter(Q(serial__iexact=serial.strip()) | Q(folded=fold(serial))).select_related("pump")
    return list(found)


def _lots_of(jobs: Collection[Job]) -> dict[int, set[str]]:
    """The lots that were picked for or issued to jobs and did not all come back, kits' pieces too."""
    names = {job.pk: job.job for job in jobs}
    # What a closing used up left the job's account as well, but into the pump; only what came back does not count.
    moved = (
        Movement.objects.filter(balance__job__in=names)
        .exclude(posting__kind="consume")
        .exclude(posting__reverses__kind="consume")
        .order_by()
        .values_list("balance__lot_id", "balance__job_id")
        .annotate(Sum("quantity"))
    )
    found: dict[int, set[str]] = {}
    for lot_id, job_id, quantity in moved:
        if quantity > 0:
            found.setdefault(lot_id, set()).add(names[job_id])
    pieces = KitPiece.objects.filter(piece_lot__isnull=False, quantity__gt=0).order_by()
    inside: dict[int, list[int]] = {}
    for kit_lot, piece_lot in pieces.values_list("kit_lot_id", "piece_lot_id"):
        if piece_lot is not None:
            inside.setdefault(kit_lot, []).append(piece_lot)
    open_ends = list(found)
    while open_ends:
        kit = open_ends.pop()
        for piece in inside.get(kit, ()):
            if not found[kit] <= found.get(piece, set()):
                found.setdefault(piece, set()).update(found[kit])
                open_ends.append(piece)
    return found


def _files(lot_ids: Collection[int]) -> dict[int, tuple[CertificateFile, ...]]:
    rows = Certificate.lots.through.objects.filter(lot_id__in=lot_ids).values_list(
        "lot_id",
        "certificate_id",
        "certificate__reference",
        "certificate__file_name",
        "certificate__media_type",
        "certificate__size",
    )
    found: dict[int, list[CertificateFile]] = {}
    for lot_id, pk, reference, name, kind, size in rows.order_by("certificate__reference", "certificate_id"):
        found.setdefault(lot_id, []).append(
            CertificateFile(pk, reference, name_to_save(name, kind), max(size // 1024, 1))
        )
    return {lot_id: tuple(files) for lot_id, files in found.items()}


def _certified(lot: Lot, files: tuple[CertificateFile, ...], jobs: Iterable[str]) -> CertifiedLot:
    needed = lot.item.certificate_needed
    missing = "" if files or not needed else "file missing" if lot.certificate else "no certificate"
    return CertifiedLot(
        lot_id=lot.pk,
        part_number=lot.item.part_number,
        item_kind=lot.item.kind,
        what=lot.item.description,
        lot=lot.lot,
        maker_batch=lot.maker_batch,
        reference=lot.certificate,
        files=files,
        needed=needed,
        missing=missing,
        jobs=", ".join(sorted(jobs)),
    )
