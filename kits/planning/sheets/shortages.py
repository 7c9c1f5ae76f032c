"""The shortages of the whole shop, or of one batch: sure needs, top-ups, wear, orders to call about, kits to pack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from bom.answers.rows import expedite_rows, expiring_rows, of_batch, pack_rows
from bom.plan import Plan
from bom.reading import Reading
from kits.catalog.amounts import Amount
from kits.catalog.days.words import words_for_day
from kits.planning.buying.pace import lasting_says, over_of, paces
from kits.planning.lists.buy_lists import (
    ForWhom,
    PricedList,
    WearList,
    sure_list,
    top_up_list,
    total_of,
    wear_list,
    wear_parts,
)
from kits.planning.lists.order_calls import OrderCall, chase_calls, expedite_calls, late_wear_calls
from kits.planning.queries import kept_beside, reading_of
from kits.planning.sheets.jobs.grid import short_parts
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import plural
from kits.planning.words.workings import NeedCover, covers

Row = dict[str, Any]
MOST_NAMED = 12


@dataclass(frozen=True, slots=True)
class ToPack:
    """A kit or made assembly to be put together here."""

    part_number: str
    what: str
    leads_to: str
    quantity: Amount
    need_on: date
    jobs: tuple[ForWhom, ...]


@dataclass(frozen=True, slots=True)
class DyingLot:
    """A lot that runs out of life before the last build."""

    part_number: str
    what: str
    leads_to: str
    lot: str
    last_use: date
    quantity: Amount
    unused: Amount


@dataclass(frozen=True, slots=True)
class ShortageSheet:
    """Every list of shortages; ``batch`` and ``supplier`` are empty where nothing was chosen.

    ``told`` are parts that a job lacks though nothing is to be bought or hurried, each with the line that balances;
    ``numbers`` are all parts that are named.
    """

    as_of: date
    batch: str
    supplier: str
    suppliers: tuple[str, ...]
    says: str
    follows: str
    sure: PricedList
    top_up: PricedList
    wear: WearList
    calls: tuple[OrderCall, ...]
    pack: tuple[ToPack, ...]
    dying: tuple[DyingLot, ...]
    told: tuple[tuple[str, str], ...]
    numbers: frozenset[str]
    asks: bool = True
    """Whether any job, or other need, asks for parts."""


def shortage_sheet(plan: Plan, *, batch: str, supplier: str = "") -> ShortageSheet:
    """The shortages; they are worked out once for each plan, with one statement for the names of all that they hold."""
    whole = kept_beside(plan, f"shortages of {batch}", lambda: all_shortages(plan, batch))
    if not supplier:
        return whole
    return replace(
        whole,
        supplier=supplier,
        sure=of_supplier(whole.sure, supplier),
        top_up=of_supplier(whole.top_up, supplier),
        wear=wear_of_supplier(whole.wear, supplier),
        calls=tuple(call for call in whole.calls if call.supplier == supplier),
    )


def all_shortages(plan: Plan, batch: str) -> ShortageSheet:
    """The shortages with all suppliers."""
    reading = reading_of(plan)
    shown = reading.jobs_of_batch(batch) if batch else reading.askers
    chosen, dying = of_batch(plan, batch), expiring_rows(plan)
    hurry, pack = expedite_rows(plan, chosen), pack_rows(plan, chosen)
    short, worn, needed = short_parts(reading, shown), wear_parts(reading, shown), reading.needed_by(shown)
    names = item_names(
        {*short, *worn, *needed, *(row.part_number for row in reading.purchases), *(row["kit"] for row in pack)}
        | {row["part_number"] for row in dying}
        | {line.part_number for line in plan.shop.orders}
    )
    told = covers(reading, short, names)
    sure = with_lasting(sure_list(reading, shown, names, told), plan.shop.as_of)
    top_up = with_lasting(top_up_list(reading, names, {*short, *worn, *needed} if batch else None), plan.shop.as_of)
    wear = wear_list(reading, worn, names)
    calls: tuple[OrderCall, ...] = (
        *chase_calls(reading, names),
        *expedite_calls(reading, hurry, names, late_only(told, sure)),
        *late_wear_calls(reading, names, set(worn) if batch else None),
    )
    placed = {row.part_number for row in sure.rows} | {call.part_number for call in calls if call.balance}
    suppliers = {row.supplier for row in (*sure.rows, *top_up.rows)}
    suppliers |= {row.supplier for row in wear.rows} | {call.supplier for call in calls}
    return ShortageSheet(
        as_of=plan.shop.as_of,
        batch=batch,
        supplier="",
        suppliers=tuple(sorted(filter(None, suppliers))),
        says=says(sure, bool(shown)),
        follows=follows(sure, plan.shop.as_of) if shown else ASK_FIRST,
        sure=sure,
        top_up=top_up,
        wear=wear,
        calls=calls,
        pack=tuple(to_pack(row, names, reading) for row in pack),
        dying=tuple(dying_lot(row, names) for row in dying),
        told=tuple((part, cover.says) for part, cover in told.items() if part not in placed),
        numbers=frozenset(names),
        asks=bool(shown),
    )


def with_lasting(rows: PricedList, as_of: date) -> PricedList:
    """The lines with what is known of the life of that which packs bring over; four statements."""
    known = paces({row.part_number for row in rows.rows if row.over.millionths}, as_of)
    told = []
    for row in rows.rows:
        if (pace := known.get(row.part_number)) is not None:
            over = over_of(pace, row.over.millionths, row.here_on, row.need_on, as_of)
            row = replace(row, lasting=lasting_says(pace, over, as_of))
        told.append(row)
    return replace(rows, rows=tuple(told))


ASK_FIRST = "Enter new jobs or upload the schedule: what they lack, and by when to order it, stands here then."


def says(sure: PricedList, somebody_asks: bool) -> str:
    """The sentence that the sheet opens with."""
    if not somebody_asks:
        return "No job asks for parts yet."
    if not sure.rows:
        return "Nothing is short: every sure need is on the shelf or on order."
    return f"{plural(len(sure.rows), 'part')} {'is' if len(sure.rows) == 1 else 'are'} short and on no order."


def follows(sure: PricedList, as_of: date) -> str:
    """What is most urgent."""
    late = [row for row in sure.rows if row.days_late]
    in_time = sorted((row.order_by, row.part_number) for row in sure.rows if row.order_by and not row.days_late)
    more = f" and {len(late) - MOST_NAMED} more" if len(late) > MOST_NAMED else ""
    named = ", ".join(row.part_number for row in late[:MOST_NAMED])
    text = f"{named}{more} can no longer be here in time. " if late else ""
    if in_time:
        day, part = in_time[0]
        text += f"The next to order is {part}, {'today' if day == as_of else 'by ' + words_for_day(day, as_of)}."
    return text.strip()


def of_supplier(rows: PricedList, supplier: str) -> PricedList:
    """The lines of one supplier with their own total; all lines where no supplier was chosen."""
    if not supplier:
        return rows
    kept = tuple(row for row in rows.rows if row.supplier == supplier)
    return PricedList.of(kept)


def wear_of_supplier(wear: WearList, supplier: str) -> WearList:
    """The wear lines of one supplier with their own totals."""
    rows = tuple(row for row in wear.rows if row.supplier == supplier)
    ordered = [row for row in rows if row.advice in ("order", "decide_after_strip")]
    asked = [row for row in rows if row.advice == "only_if_found"]
    return replace(
        wear,
        rows=rows,
        total=total_of(row.price for row in ordered),
        ask_first=total_of(row.price for row in asked),
        unpriced=sum(row.price is None for row in ordered),
    )


def late_only(told: Mapping[str, NeedCover], sure: PricedList) -> dict[str, str]:
    """The lines that balance, of what stands in no line to buy."""
    bought = {row.part_number for row in sure.rows}
    return {number: cover.says for number, cover in told.items() if number not in bought}


def to_pack(row: Row, names: Mapping[str, ItemName], reading: Reading) -> ToPack:
    """One kit to pack."""
    name = names[row["kit"]]
    return ToPack(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        quantity=name.stock_amount(row["quantity"]),
        need_on=date.fromisoformat(row["need_on"]),
        jobs=tuple(ForWhom(name, is_job=name in reading.jobs) for name in row["jobs"]),
    )


def dying_lot(row: Row, names: Mapping[str, ItemName]) -> DyingLot:
    """One lot that dies before the last build."""
    name = names[row["part_number"]]
    return DyingLot(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        lot=row["lot"],
        last_use=date.fromisoformat(row["last_use"]),
        quantity=name.stock_amount(row["quantity"]),
        unused=name.stock_amount(row["unused"]),
    )
