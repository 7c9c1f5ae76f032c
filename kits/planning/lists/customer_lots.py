"""Lots that belong to a customer: what lies there of his, and which of his jobs it goes into."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.planning.queries import reading_of
from kits.planning.words.item_names import item_names


@dataclass(frozen=True, slots=True)
class OwnedLot:
    """One lot of a customer; ``taken`` is what the plan puts into his jobs, ``jobs`` their names."""

    part_number: str
    what: str
    leads_to: str
    lot: str
    place: str
    quarantined: bool
    owing: bool
    quantity: Amount
    last_use_on: date | None
    past: bool
    taken: Amount
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Customer:
    """A customer with lots here; ``open_jobs`` are his jobs that still ask for parts."""

    customer: str
    open_jobs: tuple[str, ...]
    rows: tuple[OwnedLot, ...]


def customer_lots(plan: Plan) -> tuple[Customer, ...]:
    """The lots that customers own, by customer; one statement."""
    reading = reading_of(plan)
    owned = list(reading.shelf.where(lambda lot: bool(lot.owner.strip() and lot.quantity)))
    names = item_names(row.lot.part_number for row in owned)
    spelled: dict[str, str] = {}
    rows: dict[str, list[OwnedLot]] = defaultdict(list)
    for row in owned:
        lot, name = row.lot, names[row.lot.part_number]
        spelled.setdefault(fold(lot.owner), lot.owner)
        rows[fold(lot.owner)].append(
            OwnedLot(
                part_number=lot.part_number,
                what=name.what,
                leads_to=name.leads_to,
                lot=lot.lot,
                place=lot.place,
                quarantined=lot.condition == "quarantine",
                owing=lot.condition == "owing",
                quantity=name.amount(lot.quantity),
                last_use_on=lot.last_use,
                past=lot.last_use is not None and lot.last_use < plan.shop.as_of,
                taken=name.amount(row.taken),
                jobs=tuple(sorted({take.asker.name for take in row.takes if take.asker})),
            )
        )
    open_jobs: dict[str, list[str]] = defaultdict(list)
    for asker in reading.askers:
        if asker.job:
            open_jobs[fold(asker.job.customer)].append(asker.name)
    return tuple(
        Customer(
            spelled[key], tuple(sorted(open_jobs[key])), tuple(sorted(lots, key=lambda row: (row.part_number, row.lot)))
        )
        for key, lots in sorted(rows.items())
    )
