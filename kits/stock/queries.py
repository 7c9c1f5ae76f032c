"""Reads of the storeroom."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db.models import F, IntegerField, Sum, Value
from django.db.models.functions import Coalesce

from kits.catalog.amounts import Amount
from kits.catalog.fields import quantity_text
from kits.stock.models import Balance, Lot, Movement, Posting, Reservation
from kits.stock.words import Condition, HeldAs, PlaceKind, PostingKind

RETURNS = frozenset(
    {
        PostingKind.RETURN_TO_LOT.value,
        PostingKind.TO_QUARANTINE.value,
        PostingKind.SCRAP.value,
        PostingKind.OPENING_RETURN.value,
    }
)
"""Kinds by which issued pieces leave a job again."""


@dataclass(frozen=True, slots=True)
class JobStock:
    """What of one lot is with a job, in the words of the Issued sheet; ``quantity`` in millionths."""

    job_id: int
    job: str
    part_number: str
    lot_id: int
    lot: str
    quantity: int
    state: str  # reserved, bagged, issued, returned
    place: str = ""


def job_stock() -> list[JobStock]:
    """Return what is reserved for, bagged for, issued to and returned from jobs, by job, part, lot and state."""
    rows = [*_reserved(), *_bagged(), *_issued_and_returned()]
    return sorted(rows, key=lambda row: (row.job, row.part_number, row.lot, row.state))


def ledger_differences() -> list[str]:
    """Return one sentence for each balance that is not the sum of its movements."""
    moved = Coalesce(Sum("movements__quantity"), Value(0), output_field=IntegerField())
    wrong = Balance.objects.annotate(moved=moved).exclude(quantity=F("moved")).order_by("pk").values_list("pk", "moved")
    sums = dict(wrong)
    balances = Balance.objects.select_related("lot__item", "place", "job").in_bulk(sums)
    return [
        f"{balances[pk]} holds {quantity_text(balances[pk].quantity)}, its movements come to {quantity_text(total)}."
        for pk, total in sums.items()
    ]


def _reserved() -> list[JobStock]:
    rows = Reservation.objects.values_list(
        "job_id", "job__job", "lot__item__part_number", "lot_id", "lot__lot", "quantity", "place__place"
    )
    return [JobStock(*row[:6], state="reserved", place=row[6] or "") for row in rows]


def _bagged() -> list[JobStock]:
    rows = (
        Balance.objects.of_jobs()
        .filter(state=HeldAs.BAGGED, quantity__gt=0)
        .values_list("job_id", "job__job", "lot__item__part_number", "lot_id", "lot__lot", "quantity", "place__place")
    )
    return [JobStock(*row[:6], state="bagged", place=row[6] or "") for row in rows]


def _issued_and_returned() -> list[JobStock]:
    # The sheet knows no word for what was issued besides: there it is issued like the rest.
    # A reversal counts with the kind of what it reverses, so that a return taken back is no issue.
    moved: dict[tuple[int, str, str, int, str], list[int]] = {}
    places: dict[tuple[int, str, str, int, str], str] = {}
    rows = (
        Movement.objects.filter(balance__job__isnull=False, balance__state__in=(HeldAs.ISSUED, HeldAs.EXTRA))
        .values_list(
            "balance__job_id",
            "balance__job__job",
            "balance__lot__item__part_number",
            "balance__lot_id",
            "balance__lot__lot",
            "balance__place__place",
            Coalesce("posting__reverses__kind", "posting__kind"),
        )
        .annotate(moved=Sum("quantity"))
        .order_by()
    )
    for *key, place, kind, quantity in rows:
        totals = moved.setdefault(key := tuple(key), [0, 0])
        totals[kind in RETURNS] += -quantity if kind in RETURNS else quantity
        places[key] = max(places.get(key, ""), place or "")
    return [
        JobStock(*key, quantity=quantity, state=state, place=places[key] if state == "issued" else "")
        for key, totals in moved.items()
        for state, quantity in zip(("issued", "returned"), totals, strict=True)
        if quantity
    ]


def lots_moved(postings: Iterable[Posting]) -> list[Lot]:
    """Return the lots that some postings moved, in the order of the movements; one statement."""
    moved = Movement.objects.filter(posting__in=[posting.pk for posting in postings]).select_related("balance__lot")
    return list(dict.fromkeys(movement.balance.lot for movement in moved.order_by("pk")))


def amounts_on_shelf(item_ids: Collection[int]) -> dict[int, Amount]:
    """Return what lies usable on the shelf of each item, whatever its date; one statement."""
    rows = Balance.objects.on_shelf().filter(lot__item__in=item_ids, condition=Condition.USABLE, quantity__gt=0)
    rows = rows.exclude(place__kind=PlaceKind.QUARANTINE).order_by()
    found = rows.values_list("lot__item", "lot__item__stock_unit").annotate(held=Sum("quantity"))
    return {item: Amount.of(held, unit) for item, unit, held in found}
