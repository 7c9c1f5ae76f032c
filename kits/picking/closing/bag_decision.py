"""What closing a job comes to: what is left in its bag goes back, into quarantine or out, the rest was used up."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from bom.values import ONE
from kits.catalog.fields import quantity_text
from kits.picking.errors import PickRefusal
from kits.picking.words import LeftGoes
from kits.schedule.models import Job
from kits.stock.ledger import Entry, OnShelf, account_of
from kits.stock.models import Balance, Place
from kits.stock.packets import may_be_resealed
from kits.stock.words import Condition, Packet, PostingKind


@dataclass(frozen=True, slots=True)
class LeftOver:
    """Millionths of a lot that are left in the bag, and where they go; ``place_id`` None takes where they came from."""

    lot_id: int
    quantity: int
    goes: LeftGoes
    place_id: int | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Places:
    """Where pieces of a lot came from, by lot, and the quarantine cage, None where the shop has none."""

    came_from: Mapping[int, int]
    cage: Place | None


@dataclass(frozen=True, slots=True)
class ClosingBooking:
    """Entries by kind of posting, and the reasons given."""

    entries: Mapping[PostingKind, Sequence[Entry]]
    reasons: Mapping[PostingKind, str]


class BagDecision:
    """The bag of one job while it is decided upon."""

    def __init__(self, job: Job, balances: Sequence[Balance], places: Places, suspects: Collection[int] = ()) -> None:
        self.job, self.places, self.suspects = job, places, suspects
        self._bag: dict[int, list[Balance]] = {}
        for balance in balances:
            self._bag.setdefault(balance.lot_id, []).append(balance)
        self._left = {balance.pk: balance.quantity for balance in balances}
        self._entries: dict[PostingKind, list[Entry]] = {}
        self._reasons: dict[PostingKind, list[str]] = {}

    def book(self, decisions: Sequence[LeftOver]) -> ClosingBooking:
        """Lay out every decision, and the rest as used up."""
        for decision in decisions:
            if decision.quantity:
                self._lay(decision)
        for balance in (balance for balances in self._bag.values() for balance in balances):
            if self._left[balance.pk]:
                self._add(PostingKind.CONSUME, Entry(account_of(balance), -self._left[balance.pk]))
        reasons = {kind: "; ".join(dict.fromkeys(says))[:500] for kind, says in self._reasons.items()}
        return ClosingBooking(self._entries, reasons)

    def _lay(self, decision: LeftOver) -> None:
        balances = self._bag.get(decision.lot_id)
        if balances is None:
            raise PickRefusal(f"{self.job} has nothing of one of the lots named in its bag: look at the bag again.")
        self._refuse_quantity(decision, balances)
        kind, account = self._where(decision, balances[0])
        if decision.reason.strip():
            self._reasons.setdefault(kind, []).append(decision.reason.strip())
        rest = decision.quantity
        for balance in balances:
            off = min(rest, self._left[balance.pk])
            if off:
                self._left[balance.pk] -= off
                rest -= off
                self._add(kind, Entry(account_of(balance), -off))
        if account is not None:
            self._add(kind, Entry(account, decision.quantity))

    def _where(self, decision: LeftOver, balance: Balance) -> tuple[PostingKind, OnShelf | None]:
        lot = balance.lot
        if decision.goes == LeftGoes.SCRAP:
            self._refuse_no_reason(decision, balance, "scrapped")
            return PostingKind.SCRAP, None
        place_id = decision.place_id or self.places.came_from.get(lot.pk) or balance.place_id
        if decision.goes == LeftGoes.QUARANTINE:
            self._refuse_no_reason(decision, balance, "put into quarantine")
            place_id = self.places.cage.pk if self.places.cage else place_id
        if place_id is None:
            raise PickRefusal(f"Nobody knows where lot {lot.lot} of {lot.item} came from: choose the place it goes to.")
        if decision.goes == LeftGoes.QUARANTINE or lot.pk in self.suspects or not may_be_resealed(lot.item):
            account = OnShelf(lot.pk, place_id, Condition.QUARANTINE.value, Packet.RESEALED.value)
            return PostingKind.TO_QUARANTINE, account
        return PostingKind.RETURN_TO_LOT, OnShelf(lot.pk, place_id, Condition.USABLE.value, Packet.RESEALED.value)

    def _refuse_quantity(self, decision: LeftOver, balances: Sequence[Balance]) -> None:
        lot, left = balances[0].lot, sum(self._left[balance.pk] for balance in balances)
        if decision.quantity < 0 or (lot.item.countable and decision.quantity % ONE):
            raise PickRefusal(
                f"{quantity_text(decision.quantity)} of {lot.item} left over is no quantity: write a "
                f"{'whole ' if lot.item.countable else ''}number, 0 for none."
            )
        if decision.quantity > left:
            raise PickRefusal(
                f"The bag of {self.job} holds {quantity_text(left)} of {lot.item}, lot {lot.lot}: "
                f"{quantity_text(decision.quantity)} cannot be left over."
            )

    def _refuse_no_reason(self, decision: LeftOver, balance: Balance, what: str) -> None:
        if not decision.reason.strip():
            raise PickRefusal(
                f"{quantity_text(decision.quantity)} of {balance.lot.item}, lot {balance.lot.lot}, cannot be {what} "
                "without a reason: write one."
            )

    def _add(self, kind: PostingKind, entry: Entry) -> None:
        self._entries.setdefault(kind, []).append(entry)
