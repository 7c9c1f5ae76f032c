"""The shortages of the whole shop, or of one batch: sure needs, top-ups, wear, orders to ring about, kits to pack."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from bom.answers.rows import as_json
from bom.plan import Plan
from kits.catalog.days.words import words_for_day
from kits.planning.lists.buy_lists import (
    BuyList,
    WearGroup,
    WearList,
    sure_list,
    top_up_list,
    total_of,
    wear_list,
    wear_parts,
)
from kits.planning.lists.order_calls import OrderCall, chase_calls, expedite_calls, late_wear_calls
from kits.planning.queries import reading_of
from kits.planning.sheets.batch import ToPack, late_only, numbers_in, to_pack
from kits.planning.sheets.jobs.grid import short_parts
from kits.planning.words.item_names import item_names
from kits.planning.words.states import plural
from kits.planning.words.workings import balances


@dataclass(frozen=True, slots=True)
class ShortageSheet:
    """Everything on the sheet of shortages; ``batch`` and ``supplier`` are empty where nothing was chosen."""

    as_of: date
    batch: str
    supplier: str
    suppliers: tuple[str, ...]
    says: str
    follows: str
    sure: BuyList
    top_up: BuyList
    wear: WearList
    chase: tuple[OrderCall, ...]
    expedite: tuple[OrderCall, ...]
    late_wear: tuple[OrderCall, ...]
    pack: tuple[ToPack, ...]


def shortage_sheet(plan: Plan, *, batch: str, supplier: str) -> ShortageSheet:
    """The shortages; one statement for the names of everything on the sheet."""
    reading = reading_of(plan)
    shown = reading.jobs_of_batch(batch) if batch else reading.askers
    rows = as_json(plan, batch=batch or None)
    short, worn = short_parts(reading, shown), wear_parts(reading, shown)
    names = item_names([*short, *worn, *numbers_in(rows, reading)])
    told = balances(reading, short, names)
    sure = sure_list(reading, shown, names, told)
    wear = wear_list(reading, worn, names)
    top_up = top_up_list(reading, names, None if not batch else {*short, *worn})
    expedite = expedite_calls(reading, rows["expedite"], names, late_only(told, sure))
    chase = chase_calls(reading, names)
    late_wear = late_wear_calls(reading, names, set(worn) if batch else None)
    suppliers = {row.supplier for row in (*sure.rows, *top_up.rows)}
    suppliers |= {call.supplier for call in (*chase, *expedite, *late_wear)}
    suppliers |= {row.supplier for group in wear.groups for row in group.rows}
    return ShortageSheet(
        as_of=plan.shop.as_of,
        batch=batch,
        supplier=supplier,
        suppliers=tuple(sorted(filter(None, suppliers))),
        says=says(sure),
        follows=follows(sure, plan.shop.as_of),
        sure=of_supplier(sure, supplier),
        top_up=of_supplier(top_up, supplier),
        wear=wear_of_supplier(wear, supplier),
        chase=calls_to(supplier, chase),
        expedite=calls_to(supplier, expedite),
        late_wear=calls_to(supplier, late_wear),
        pack=tuple(to_pack(row, names, reading) for row in rows["pack"]),
    )


def says(sure: BuyList) -> str:
    """The sentence that the sheet opens with."""
    if not sure.rows:
        return "Nothing is short: every sure need is on the shelf or on order."
    return f"{plural(len(sure.rows), 'part')} {'is' if len(sure.rows) == 1 else 'are'} short and on no order."


def follows(sure: BuyList, as_of: date) -> str:
    """What is most urgent."""
    late = [row for row in sure.rows if row.days_late]
    in_time = sorted((row.order_by, row.part_number) for row in sure.rows if row.order_by and not row.days_late)
    text = f"{', '.join(row.part_number for row in late)} cannot be here in time any more. " if late else ""
    if in_time:
        day, part = in_time[0]
        text += f"The next to order is {part}, {'today' if day == as_of else 'by ' + words_for_day(day, as_of)}."
    return text.strip()


def of_supplier(rows: BuyList, supplier: str) -> BuyList:
    """The lines of one supplier with their own total; all lines where no supplier was chosen."""
    if not supplier:
        return rows
    kept = tuple(row for row in rows.rows if row.supplier == supplier)
    return BuyList(kept, total_of(row.price for row in kept), sum(row.price is None for row in kept))


def calls_to(supplier: str, calls: tuple[OrderCall, ...]) -> tuple[OrderCall, ...]:
    """The calls to one supplier; all of them where none was chosen."""
    return tuple(call for call in calls if not supplier or call.supplier == supplier)


def wear_of_supplier(wear: WearList, supplier: str) -> WearList:
    """The wear lines of one supplier with their own totals."""
    if not supplier:
        return wear
    groups = tuple(
        WearGroup(group.advice, group.says, kept)
        for group in wear.groups
        if (kept := tuple(row for row in group.rows if row.supplier == supplier))
    )
    ordered = [row for group in groups for row in group.rows if group.advice in ("order", "decide_after_strip")]
    asked = [row for group in groups for row in group.rows if group.advice == "only_if_found"]
    return replace(
        wear,
        groups=groups,
        total=total_of(row.price for row in ordered),
        ask_first=total_of(row.price for row in asked),
        unpriced=sum(row.price is None for row in ordered),
    )
