"""Plain proposals about kits and loose parts for the jobs of one sheet; the plan never counts on them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.plan import Plan
from bom.questions.kits.kit_or_loose import ChangedOrder, Mix, PutTogether
from bom.questions.kits.pack_when import PackWhen, pack_when
from bom.questions.kits.proposals import TakeFromKit, UseLoose, take_from_kit, use_loose
from bom.values import ONE
from kits.catalog.days.words import words_for_day
from kits.catalog.formats.in_force import formats
from kits.planning.lists.buy_lists import ForWhom, money
from kits.planning.questions.kit_uses import SomeParts
from kits.planning.words.item_names import ItemName
from kits.planning.words.states import in_words


@dataclass(frozen=True, slots=True)
class Proposal:
    """What could be done for a job that one thing holds: give ``parts`` from where ``source`` says, and what then."""

    job: str
    parts: tuple[SomeParts, ...]
    source: str
    then: str


@dataclass(frozen=True, slots=True)
class Together:
    """Kits put together instead of bought, and where their parts come from."""

    kit: SomeParts
    jobs: tuple[ForWhom, ...]
    from_shelf: tuple[SomeParts, ...]
    from_purchase: tuple[SomeParts, ...]
    not_bought: Decimal
    in_time: int


@dataclass(frozen=True, slots=True)
class OpenedKitRow:
    """Kits bought to be opened, and what is used of them."""

    kit: SomeParts
    parts: tuple[SomeParts, ...]


@dataclass(frozen=True, slots=True)
class OrderChange:
    """An order as the plan lists it and as the mix has it."""

    part_number: str
    what: str
    leads_to: str
    listed_packs: int
    listed_price: Decimal
    packs: str
    price: Decimal
    supplier: str


@dataclass(frozen=True, slots=True)
class KitOrLoose:
    """The cheapest mix of kits and loose parts beside the list of the plan."""

    says: str
    together: tuple[Together, ...]
    opened: tuple[OpenedKitRow, ...]
    orders: tuple[OrderChange, ...]


@dataclass(frozen=True, slots=True)
class Raw:
    """What the plan gave for a sheet, before anything of it has a name."""

    loose: tuple[UseLoose, ...]
    taken: tuple[TakeFromKit, ...]
    packed: tuple[PackWhen, ...]
    mix: Mix | None


def proposals_for(plan: Plan, shown: Collection[str], mix: Mix) -> Raw:
    """The proposals for these jobs; the mix is that of the whole shop, shown where it touches one of them."""
    touched = any(job in shown for row in mix.put_together for job in row.jobs) or bool(mix.opened)
    return Raw(
        loose=tuple(row for row in use_loose(plan) if row.job in shown),
        taken=tuple(row for row in take_from_kit(plan) if row.job in shown),
        packed=tuple(row for row in pack_when(plan) if row.job in shown),
        mix=mix if mix.is_shown and touched else None,
    )


def proposal_numbers(raw: Raw) -> Iterator[str]:
    """The parts whose names are needed."""
    for loose in raw.loose:
        yield loose.kit
        yield from (part.part_number for part in loose.parts)
    for taken in raw.taken:
        yield taken.part_number
        yield from (debt.kit for debt in taken.debts)
    for packed in raw.packed:
        yield packed.kit
        yield from (share.part_number for share in packed.orders)
        yield from (number for number, _ in packed.from_shelf)
    if raw.mix:
        for together in raw.mix.put_together:
            yield together.kit
            yield from (part.part_number for part in together.parts)
        for opened in raw.mix.opened:
            yield opened.kit
            yield from (number for number, _ in opened.parts)
        yield from (order.part_number for order in raw.mix.orders)


def proposals(raw: Raw, names: Mapping[str, ItemName], as_of: date) -> tuple[Proposal, ...]:
    """The proposals as they are shown, by job."""
    rows = [loose_says(row, names) for row in raw.loose] + [taken_says(row, names, as_of) for row in raw.taken]
    rows += [packed_says(row, names, as_of) for row in raw.packed]
    return tuple(sorted(rows, key=lambda row: row.job))


def loose_says(row: UseLoose, names: Mapping[str, ItemName]) -> Proposal:
    """Give the pieces of a kit loose."""
    lots = [f"{part.part_number} lot {share.lot} at {share.place}" for part in row.parts for share in part.lots]
    wear = [part.part_number for part in row.parts if part.for_wear]
    then = f"{in_words(wear)} would be kept for wear that may be found" if wear else ""
    return Proposal(
        job=row.job,
        parts=tuple(some(names, part.part_number, part.quantity) for part in row.parts),
        source=f"loose instead of {row.count} × {row.kit}: {in_words(lots, longest=8)}",
        then=then,
    )


def taken_says(row: TakeFromKit, names: Mapping[str, ItemName], as_of: date) -> Proposal:
    """Take a piece out of a kit, which then owes it."""
    bags = [f"{debt.kits} × {debt.kit}, lot {debt.lot} at {debt.place}" for debt in row.debts]
    then = "nobody waits for the kit"
    if row.planned_for:
        by = f" by {words_for_day(row.repay_by, as_of)}" if row.repay_by else ""
        then = f"the kit is meant for {in_words(row.planned_for)} and owes the piece{by}"
    if row.refill_on:
        then += f"; ordered today it is here on {words_for_day(row.refill_on, as_of)}"
    return Proposal(row.job, (some(names, row.part_number, row.quantity),), f"out of {in_words(bags)}", then)


def packed_says(row: PackWhen, names: Mapping[str, ItemName], as_of: date) -> Proposal:
    """Pack a kit that would be bought, once the orders for its pieces have come."""
    orders = sorted({share.order for share in row.orders})
    coming = [
        f"{amount_of(names, share.part_number, share.quantity)} on {words_for_day(share.promised, as_of)}"
        for share in row.orders
    ]
    there = [amount_of(names, number, quantity) for number, quantity in row.from_shelf]
    comes, packed, needed = (words_for_day(on, as_of) for on in (row.comes_on, row.packed_on, row.need_on))
    source = (
        f"packed here when {in_words(orders)} {'comes' if len(orders) == 1 else 'come'}: {in_words(coming, longest=8)}"
    )
    return Proposal(
        job=row.job,
        parts=(some(names, row.kit, row.count * ONE),),
        source=f"{source}; {in_words(there, longest=8)} from the shelf" if there else source,
        then=f"the last piece comes on {comes}, packed by {packed}, needed by {needed}; then it need not be bought",
    )


def amount_of(names: Mapping[str, ItemName], number: str, millionths: int) -> str:
    """An amount of one part, in a sentence."""
    return f"{names[number].amount(millionths).text} × {number}"


def kit_or_loose_says(raw: Raw, names: Mapping[str, ItemName]) -> KitOrLoose | None:
    """The mix as it is shown, where there is one worth a reader's time."""
    mix = raw.mix
    if mix is None:
        return None
    return KitOrLoose(
        says=mix_says(mix),
        together=tuple(together_row(row, names) for row in mix.put_together),
        opened=tuple(
            OpenedKitRow(
                some(names, row.kit, row.count * ONE), tuple(some(names, number, used) for number, used in row.parts)
            )
            for row in mix.opened
        ),
        orders=tuple(order_row(row, names) for row in mix.orders),
    )


def mix_says(mix: Mix) -> str:
    """What the mix does for what money."""
    done = [f"putting {row.count} × {row.kit} together instead of buying them" for row in mix.put_together]
    done += [f"buying {row.count} × {row.kit} to be opened" for row in mix.opened]
    text = in_words(done)
    saved = f"saves {_money(mix.saves)}" if mix.saves > 0 else f"costs {_money(-mix.saves)} more"
    rest = f", {_money(mix.costs)} instead of {_money(mix.listed)}"
    sooner = sum(row.in_time for row in mix.put_together)
    brings = f", and brings {sooner} of them in time" if sooner else ""
    return f"{text[:1].upper()}{text[1:]} {saved}{rest}{brings} ({mix.says})."


def together_row(row: PutTogether, names: Mapping[str, ItemName]) -> Together:
    """One kit number."""
    return Together(
        kit=some(names, row.kit, row.count * ONE),
        jobs=tuple(ForWhom(job, is_job=True) for job in row.jobs),
        from_shelf=tuple(some(names, part.part_number, part.from_shelf) for part in row.parts if part.from_shelf),
        from_purchase=tuple(
            some(names, part.part_number, part.from_purchase) for part in row.parts if part.from_purchase
        ),
        not_bought=money(row.not_bought) or Decimal("0.00"),
        in_time=row.in_time,
    )


def order_row(row: ChangedOrder, names: Mapping[str, ItemName]) -> OrderChange:
    """One order that changes."""
    name = names[row.part_number]
    return OrderChange(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        listed_packs=row.listed_packs,
        listed_price=money(row.listed_price) or Decimal("0.00"),
        packs=f"{row.packs} × {name.amount(row.pack_size).text}" if row.packs else "",
        price=money(row.price) or Decimal("0.00"),
        supplier=row.supplier,
    )


def some(names: Mapping[str, ItemName], number: str, millionths: int) -> SomeParts:
    """An amount of one part."""
    name = names[number]
    return SomeParts(name.part_number, name.what, name.leads_to, name.amount(millionths))


def _money(total: Decimal) -> str:
    return formats().number(f"{total:.2f}")
