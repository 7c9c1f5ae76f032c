"""What may be booked on a line, and what it comes to in the ledger: decided here, posted by the action."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from bom.values import ONE
from kits.catalog.days.words import in_full
from kits.catalog.fields import quantity_text
from kits.catalog.queries import SCAN_NEEDED, read_settings
from kits.catalog.words import Cleanliness
from kits.picking.errors import PickRefusal
from kits.picking.models import PickLine, PickShare
from kits.picking.words import CLASS_SAYS, LeftGoes
from kits.schedule.models import Job
from kits.schedule.stages import is_done
from kits.schedule.words import Stage
from kits.stock.ledger import Account, Entry, OnShelf, WithJob, account_of
from kits.stock.models import Balance
from kits.stock.packets import is_kept_sealed
from kits.stock.suspicions import lots_under_suspicion
from kits.stock.words import Condition, HeldAs, Packet

COUNTED, DAMAGED, WRONG = "counted", "damaged", "wrong"
"""Figures of a line that a refusal may be about; besides, what goes to one job (`about_job`)."""


@dataclass(frozen=True, slots=True)
class Damage:
    """Pieces that were found damaged (millionths), where they go, and what is wrong with them."""

    quantity: int
    goes: LeftGoes
    wrong: str


@dataclass(frozen=True, slots=True)
class LineBooking:
    """What one line comes to: the difference of a count, what is damaged, the pick, and a packet opened for it."""

    picked: Mapping[int, int]  # by share
    short: bool
    count: tuple[Entry, ...]
    count_says: str
    damaged: tuple[Entry, ...]
    damage_says: str
    pick: tuple[Entry, ...]
    opened: tuple[Entry, ...]


def book_line(
    line: PickLine,
    shares: Sequence[PickShare],
    balances: Sequence[Balance],
    quantities: Mapping[int, int],
    *,
    counted: int | None,
    damage: Damage | None,
    cage_id: int | None,
    reason: str,
    today: date,
) -> LineBooking:
    """Work out what a line comes to; refuse what cannot be true.

    ``quantities`` are millionths by job, ``balances`` the usable accounts of the lot at the place, the packet that is
    used up first in front, ``counted`` the good pieces that lay there before anything was taken, ``cage_id`` the place
    to which goes what is damaged, None where the shop has no such place.
    """
    picked = {share.pk: _picked(line, share, quantities, today) for share in shares}
    _refuse_strangers(line, shares, quantities)
    taken, asked = sum(picked.values()), sum(share.asked for share in shares)
    held = {account_of(balance): balance.quantity for balance in balances}
    accounts = list(held) or [OnShelf(line.lot_id, line.place_id)]
    _refuse_count(line, counted, taken)
    _refuse_damage(line, damage)
    bad = damage.quantity if damage else 0
    difference = 0 if counted is None else counted + bad - sum(held.values())
    count = _spread(held, accounts, difference)
    lay = _changed(held, accounts, count)
    total = sum(lay.values())
    _refuse_more_than_lay(line, taken, bad, total)
    if taken < asked and counted is None and not reason.strip():
        _refuse_unexplained(line, taken, asked, bad, total)
    off = _spread(lay, accounts, -bad)
    after = _changed(lay, accounts, off)
    shelf = _spread(after, accounts, -taken)
    count_says = reason.strip() or (
        f"{line}: {line.place} held {_amount(line, counted or 0)}, not {_amount(line, sum(held.values()))}"
    )
    return LineBooking(
        picked=picked,
        short=taken < asked,
        count=tuple(count),
        count_says=count_says,
        damaged=_damaged(line, damage, off, cage_id),
        damage_says=_damage_says(line, damage),
        pick=(*shelf, *_into_bags(line, shares, picked)),
        opened=_opened(line, lay, [*off, *shelf]),
    )


def about_job(job_id: int) -> str:
    """Return how a refusal names the figure of what goes to one job."""
    return f"job {job_id}"


def _into_bags(line: PickLine, shares: Iterable[PickShare], picked: Mapping[int, int]) -> Iterator[Entry]:
    for share in shares:
        if picked[share.pk]:
            yield Entry(
                WithJob(line.lot_id, share.bag.job_id, HeldAs.BAGGED.value, share.bag.place_id), picked[share.pk]
            )


def _refuse_more_than_lay(line: PickLine, taken: int, bad: int, total: int) -> None:
    if taken + bad > total:
        besides = f" taken and {_amount(line, bad)} damaged" if bad else ""
        raise PickRefusal(
            f"{line.place} holds {_amount(line, total)} of lot {line.lot.lot} by the book, "
            f"{_amount(line, taken)}{besides} cannot come from it: count the bin and write what it held.",
            COUNTED,
        )


def _refuse_unexplained(line: PickLine, taken: int, asked: int, bad: int, total: int) -> None:
    """Refuse fewer than asked for, without a word, where more lay there by the book."""
    if total - bad > taken:
        besides = f" and {_amount(line, bad)} found damaged" if bad else ""
        raise PickRefusal(
            f"{_amount(line, taken)} of {_amount(line, asked)} taken{besides}, but by the book {line.place} held "
            f"{_amount(line, total)}: write how many {'good ones ' if bad else ''}lay there, or why not all were "
            "taken.",
            COUNTED,
        )


def refuse_quiet_job(job: Job) -> None:
    """Refuse a job that asks for no parts at its stage."""
    if job.asks:
        return
    because = f" ({job.held_because})" if job.stage == Stage.HELD and job.held_because else ""
    remedy = "open it again" if is_done(job.stage) else "set its stage in the schedule to one in which it is built"
    raise PickRefusal(
        f"{job.job} is {job.get_stage_display().lower()}{because} and asks for no parts: leave it out, or {remedy}."
    )


def _picked(line: PickLine, share: PickShare, quantities: Mapping[int, int], today: date) -> int:
    job = share.bag.job
    quantity = quantities.get(job.pk, 0)
    item = line.lot.item
    if quantity < 0 or (item.countable and quantity % ONE):
        raise PickRefusal(
            f"{quantity_text(quantity)} of {item.part_number} for {job.job} is no quantity that can be taken: write a "
            f"{'whole ' if item.countable else ''}number, 0 for none.",
            about_job(job.pk),
        )
    if quantity > share.asked:
        raise PickRefusal(
            f"{job.job} asks for {_amount(line, share.asked)} of {item.part_number}, "
            f"{_amount(line, quantity)} is more: put the rest back into the bin.",
            about_job(job.pk),
        )
    if quantity:
        _refuse_unfit(line, job, today)
    return quantity


def _refuse_unfit(line: PickLine, job: Job, today: date) -> None:
    """What has changed since the round was laid out: of the job, of its build day, of what is known of the lot."""
    refuse_quiet_job(job)
    if job.cleanliness != line.pick_round.cleanliness:
        raise PickRefusal(
            f"{job.job} is {CLASS_SAYS[Cleanliness(job.cleanliness)]} by now, and {line.pick_round} is "
            f"{CLASS_SAYS[Cleanliness(line.pick_round.cleanliness)]}: book 0 for it, and start another round for it.",
            about_job(job.pk),
        )
    if line.lot_id in lots_under_suspicion():
        raise PickRefusal(
            f"{line.lot} is under suspicion: book 0, leave it where it lies, and the plan takes another.",
            about_job(job.pk),
        )
    last_use_on, build_on = line.lot.last_use_on, max(job.build_on, today)
    if last_use_on is not None and last_use_on < build_on:
        raise PickRefusal(
            f"Lot {line.lot.lot} may be used up to {in_full(last_use_on)}, but {job.job} is built on "
            f"{in_full(build_on)}: book 0 for it, then the plan takes another lot.",
            about_job(job.pk),
        )


def _refuse_strangers(line: PickLine, shares: Sequence[PickShare], quantities: Mapping[int, int]) -> None:
    if set(quantities) - {share.bag.job_id for share in shares}:
        raise PickRefusal(f"{line} gives nothing to one of the jobs named: book only the bags that stand on it.")


def _refuse_count(line: PickLine, counted: int | None, taken: int) -> None:
    if counted is None:
        return
    if counted < 0 or (line.lot.item.countable and counted % ONE):
        raise PickRefusal(f"A bin that holds {quantity_text(counted)} cannot be: count it again.", COUNTED)
    if counted < taken:
        raise PickRefusal(
            f"{line.place} cannot have held {_amount(line, counted)}, with {_amount(line, taken)} taken from it: "
            "write what lay there before anything was taken.",
            COUNTED,
        )


def _refuse_damage(line: PickLine, damage: Damage | None) -> None:
    if damage is None:
        return
    if damage.quantity <= 0 or (line.lot.item.countable and damage.quantity % ONE):
        raise PickRefusal(
            f"{quantity_text(damage.quantity)} damaged of {line.lot.item.part_number} cannot be: write how many are.",
            DAMAGED,
        )
    if not damage.wrong.strip():
        raise PickRefusal(
            f"Nothing says what is wrong with the {_amount(line, damage.quantity)} damaged of "
            f"{line.lot.item.part_number}: write it, for whoever decides about it.",
            WRONG,
        )


def _damaged(line: PickLine, damage: Damage | None, off: Sequence[Entry], cage_id: int | None) -> tuple[Entry, ...]:
    """What is damaged leaves the bin: into the cage, or where there is none into quarantine where it lies, or out."""
    if damage is None or damage.goes == LeftGoes.SCRAP:
        return tuple(off)
    held = [
        Entry(
            replace(entry.account, place_id=cage_id or line.place_id, condition=Condition.QUARANTINE.value),
            -entry.quantity,
        )
        for entry in off
        if isinstance(entry.account, OnShelf)
    ]
    return (*off, *held)


def _damage_says(line: PickLine, damage: Damage | None) -> str:
    if damage is None:
        return ""
    return f"{_amount(line, damage.quantity)} damaged, {damage.goes.label.lower()}: {damage.wrong.strip()}"


def _changed(held: Mapping[Account, int], accounts: Sequence[Account], by: Sequence[Entry]) -> dict[Account, int]:
    """What accounts hold after some entries."""
    return {
        account: held.get(account, 0) + sum(entry.quantity for entry in by if entry.account == account)
        for account in accounts
    }


def _spread(held: Mapping[Account, int], accounts: Sequence[Account], change: int) -> list[Entry]:
    """Lay a change onto accounts: what goes is taken from the first ones first, what is added lies in the last one."""
    if change >= 0:
        return [Entry(accounts[-1], change)] if change else []
    entries = []
    for account in accounts:
        off = min(held.get(account, 0), -change)
        if off:
            entries.append(Entry(account, -off))
            change += off
    return entries


def _opened(line: PickLine, lay: Mapping[Account, int], off: Sequence[Entry]) -> tuple[Entry, ...]:
    """What is left of a sealed packet that was opened is closed again with a label: another account of the same lot."""
    if not is_kept_sealed(line.lot.item):
        return ()
    left = _changed(lay, list(lay), off)
    for account in {entry.account: None for entry in off}:
        if not isinstance(account, OnShelf) or account.packet != Packet.SEALED:
            continue
        rest = left[account]
        if rest > 0:
            closed = OnShelf(account.lot_id, account.place_id, account.condition, Packet.RESEALED.value)
            return Entry(account, -rest), Entry(closed, rest)
    return ()


def _amount(line: PickLine, quantity: int) -> str:
    unit = "" if line.lot.item.countable else f" {line.lot.item.stock_unit}"
    return f"{quantity_text(quantity)}{unit}"


def refuse_unscanned(line: PickLine) -> None:
    """Refuse a line of which nothing was scanned, in a shop that wants a scan at every bin."""
    if not line.scanned and read_settings().scan_at_bin == SCAN_NEEDED:
        raise PickRefusal(
            f"Line {line.number} is booked after a scan: scan its bin or its packet first. (The shop's setting "
            "scan_at_bin says so.)"
        )
