"""What jobs hold that belongs to them no more: out of a bag back to the shelf, or set aside and to be freed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from bom.plan import Plan
from bom.questions.bag_check import Beyond, held_beyond_need
from kits.catalog.amounts import Amount
from kits.catalog.days.words import in_full
from kits.planning.queries import kept_beside
from kits.schedule.change_list import latest_changes
from kits.stock.lists.stand_ins import StandingIn, named_as
from kits.stock.models import Balance, Reservation
from kits.stock.packed_kits.last_uses import earliest, kit_last_uses, recorded_kits
from kits.stock.packets import may_be_resealed
from kits.stock.words import HeldAs

FOREVER = date.max


@dataclass(frozen=True, slots=True)
class ReturnRow:
    """Pieces of one lot. ``balance_id`` is the account of the bag they lie in, None for what is set aside.

    ``place`` is where they go, or where they lie set aside; ``comes_back`` whether they stay usable.
    """

    job: str
    job_id: int
    part_number: str
    what: str
    is_kit: bool
    lot_id: int
    lot: str
    quantity: Amount
    balance_id: int | None
    place: str
    comes_back: bool
    why: str

    @property
    def leads_to(self) -> str:
        """Whose sheet the part has."""
        return "kit" if self.is_kit else "part"

    @property
    def where(self) -> str:
        """Where they are now."""
        return "set aside on the shelf" if self.balance_id is None else "in its bag"


def return_rows(plan: Plan, job: str = "") -> list[ReturnRow]:
    """What is to be brought back or freed, of one job if named, by job and part; nine statements once for each plan."""
    return kept_beside(plan, f"return list {job}", lambda: _ReturnList(plan, job).rows())


class _ReturnList:
    """The list while it is made."""

    def __init__(self, plan: Plan, job: str) -> None:
        self.today = plan.shop.as_of
        self.beyond = held_beyond_need(plan, recorded_kits(), {job} if job else None)
        self.changes = latest_changes({one.job for one in self.beyond})
        self.packed = kit_last_uses()
        bags = Balance.objects.of_jobs().filter(quantity__gt=0).select_related("lot__item", "job")
        bags = (bags.filter(job__job=job) if job else bags).order_by("state", "pk")
        self.bags: dict[tuple[str, str], list[tuple[Balance, int]]] = defaultdict(list)
        standing = StandingIn()
        for balance in bags:
            assert balance.job is not None, "only jobs were asked for"
            for counts_as, quantity in standing.of_balance(balance):
                self.bags[balance.job.job, counts_as].append((balance, quantity))
        self.held = list(bags)
        self.left = {balance.pk: balance.quantity for balance in self.held}

    def rows(self) -> list[ReturnRow]:
        """What dies before the build, then what is beyond the need."""
        found = [*self._dying(), *(row for one in self.beyond for row in self._bagged(one)), *self._set_aside()]
        return sorted(found, key=lambda row: (row.job, row.part_number, row.lot, row.balance_id is None))

    def _last_use(self, balance: Balance) -> date | None:
        return earliest(balance.lot.last_use_on, self.packed.get(balance.lot_id))

    def _dying(self) -> Iterator[ReturnRow]:
        for balance in self.held:
            job, last = balance.job, self._last_use(balance)
            assert job is not None, "only jobs were asked for"
            built_on = max(job.build_on, self.today)
            if job.asks and last is not None and last < built_on:
                says = f"may be used up to {in_full(last)}, and the pump is built on {in_full(built_on)}"
                yield self._from_bag(balance, self._take(balance, balance.quantity), says)

    def _bagged(self, one: Beyond) -> Iterator[ReturnRow]:
        """From which lots of the bag it comes: the one that lasts longest first, for others can use that best."""
        if one.state == "reserved":
            return
        state = HeldAs.BAGGED if one.state == "bagged" else HeldAs.ISSUED
        held = [
            (balance, quantity)
            for balance, quantity in self.bags.get((one.job, one.part_number), ())
            if balance.state == state
            and one.lot in ("", named_as(one.part_number, balance.lot.item.part_number, balance.lot.lot))
        ]
        rest = one.quantity
        held.sort(key=lambda row: (self._last_use(row[0]) or FOREVER, row[0].pk), reverse=True)
        for balance, quantity in held:
            taken = self._take(balance, min(rest, quantity))
            rest -= taken
            if taken:
                yield self._from_bag(balance, taken, self.changes.get(one.job, "beyond what the job needs"))

    def _take(self, balance: Balance, quantity: int) -> int:
        taken = min(self.left[balance.pk], quantity)
        self.left[balance.pk] -= taken
        return taken

    def _from_bag(self, balance: Balance, quantity: int, why: str) -> ReturnRow:
        lot, item, job = balance.lot, balance.lot.item, balance.job
        assert job is not None, "only jobs were asked for"
        return ReturnRow(
            job=job.job,
            job_id=job.pk,
            part_number=item.part_number,
            what=item.description,
            is_kit=item.kind == "kit",
            lot_id=lot.pk,
            lot=lot.lot,
            quantity=Amount.of(quantity, item.stock_unit),
            balance_id=balance.pk,
            place=item.home_place,
            comes_back=may_be_resealed(item),
            why=why,
        )

    def _set_aside(self) -> Iterator[ReturnRow]:
        freed: dict[tuple[str, str, str], int] = defaultdict(int)
        for one in self.beyond:
            if one.state == "reserved":
                freed[one.job, one.part_number, one.lot] += one.quantity
        for row in self._reservations(freed):
            item = row.lot.item
            beyond = min(freed[row.job.job, item.part_number, row.lot.lot], row.quantity)
            yield ReturnRow(
                job=row.job.job,
                job_id=row.job_id,
                part_number=item.part_number,
                what=item.description,
                is_kit=item.kind == "kit",
                lot_id=row.lot_id,
                lot=row.lot.lot,
                quantity=Amount.of(beyond, item.stock_unit),
                balance_id=None,
                place=row.place.place if row.place else item.home_place,
                comes_back=True,
                why=self.changes.get(row.job.job, "beyond what the job needs"),
            )

    def _reservations(self, freed: Mapping[tuple[str, str, str], int]) -> list[Reservation]:
        if not freed:
            return []
        rows = Reservation.objects.filter(job__job__in={job for job, _, _ in freed})
        rows = rows.select_related("job", "lot__item", "place").order_by("pk")
        return [row for row in rows if (row.job.job, row.lot.item.part_number, row.lot.lot) in freed]
