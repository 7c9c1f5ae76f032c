"""One account of the shelf, and one lot with everything that is known of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.stock.certificates.queries import CertificateFile, files_of
from kits.stock.ledger import OnShelf, WithJob, account_of
from kits.stock.lists.movements import MovementRow, lot_movements
from kits.stock.lists.words import PACKET_WORDS, account_says
from kits.stock.models import Balance, Hold, Lot, Place
from kits.stock.words import Condition, Packet, PlaceKind

MOVEMENTS_SHOWN = 60


@dataclass(frozen=True, slots=True)
class AccountSheet:
    """One lot at one place in one condition and packet, and the places to which it could go."""

    balance: Balance
    account: OnShelf
    lot: Lot
    quantity: Amount
    packet: str
    held: bool
    past: bool
    last_use_on: date | None
    home_id: int | None
    cage_id: int | None
    places: tuple[tuple[int, str], ...]
    hold: Hold | None

    @property
    def shows(self) -> int:
        """What lies there as it stands before whoever does something with it."""
        return self.quantity.millionths


@dataclass(frozen=True, slots=True)
class LotPlace:
    """Where pieces of a lot are; ``balance_id`` None with a job."""

    balance_id: int | None
    where: str
    quantity: Amount


@dataclass(frozen=True, slots=True)
class LotPage:
    """One lot: where its pieces are, its certificates and its last movements."""

    lot: Lot
    total: Amount
    places: tuple[LotPlace, ...]
    last_use_on: date | None
    past: bool
    files: tuple[CertificateFile, ...]
    hold: Hold | None
    movements: tuple[MovementRow, ...]


def account_sheet(balance_id: int, *, today: date) -> AccountSheet | None:
    """One account of the shelf; three statements."""
    balance = Balance.objects.on_shelf().select_related("lot__item", "place").filter(pk=balance_id).first()
    if balance is None:
        return None
    account = account_of(balance)
    assert isinstance(account, OnShelf)
    places = list(Place.objects.order_by("walk_order", "folded"))
    item, last_use_on = balance.lot.item, balance.lot.last_use_on
    home = fold(item.home_place)
    held = balance.condition == Condition.QUARANTINE
    return AccountSheet(
        balance=balance,
        account=account,
        lot=balance.lot,
        quantity=Amount.of(balance.quantity, item.stock_unit),
        packet=PACKET_WORDS[Packet(balance.packet)],
        held=held,
        past=last_use_on is not None and last_use_on < today,
        last_use_on=last_use_on,
        home_id=next((place.pk for place in places if home and place.folded == home), None),
        cage_id=next((place.pk for place in places if place.kind == PlaceKind.QUARANTINE), None),
        places=tuple((place.pk, place.place) for place in places),
        hold=Hold.objects.filter(lot=balance.lot).select_related("by").first() if held else None,
    )


def lot_sheet(lot_id: int, *, today: date) -> LotPage | None:
    """One lot with everything known of it; five statements."""
    lot = Lot.objects.select_related("item").filter(pk=lot_id).first()
    if lot is None:
        return None
    balances = list(Balance.objects.filter(lot=lot, quantity__gt=0).select_related("place", "job").order_by("id"))
    unit, last_use_on = lot.item.stock_unit, lot.last_use_on
    held = any(balance.condition == Condition.QUARANTINE for balance in balances)
    return LotPage(
        lot=lot,
        total=Amount.of(sum(balance.quantity for balance in balances), unit),
        places=tuple(
            LotPlace(None if one.job_id else one.pk, account_says(one), Amount.of(one.quantity, unit))
            for one in balances
        ),
        last_use_on=last_use_on,
        past=last_use_on is not None and last_use_on < today,
        files=files_of(lot),
        hold=Hold.objects.filter(lot=lot).select_related("by").first() if held else None,
        movements=tuple(lot_movements(lot, MOVEMENTS_SHOWN)),
    )


def job_account(balance_id: int) -> tuple[Balance, WithJob] | None:
    """What a job holds in one account, or None."""
    balance = Balance.objects.of_jobs().select_related("lot__item", "job").filter(pk=balance_id).first()
    if balance is None:
        return None
    account = account_of(balance)
    assert isinstance(account, WithJob)
    return balance, account
