"""The lists of the shortages: which there are, and the columns of each on the page and in its file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from kits.exchange.workbooks.list_export import ListColumn
from kits.planning.lists.buy_lists import ToBuy, WearRow
from kits.planning.lists.order_calls import OrderCall
from kits.planning.sheets.shortages import DyingLot, ShortageSheet, ToPack

KIND_SAYS = {"chase": "overdue", "expedite": "late for a sure need", "late_wear": "late for wear"}


@dataclass(frozen=True, slots=True)
class ShortageList:
    """One of the lists: its rows, and ``more`` columns that stand in its file only."""

    name: str
    title: str
    besides: str
    nothing: str
    piece: str
    rows_of: Callable[[ShortageSheet], tuple[Any, ...]]
    whole_of: Callable[[ShortageSheet], Any]
    columns: tuple[ListColumn[Any], ...]
    more: tuple[ListColumn[Any], ...] = ()
    total_says: str = ""


def jobs_say(row: ToBuy | OrderCall | ToPack) -> str:
    """The jobs and other needs of a row."""
    return ", ".join(job.name for job in row.jobs)


BUY: tuple[ListColumn[ToBuy], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("short", "Short", lambda row: row.short, figure=True),
    ListColumn("packs", "Packs", lambda row: row.packs, figure=True),
    ListColumn("over", "Over after packs", lambda row: row.over, figure=True),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("price", "Price", lambda row: row.price, figure=True),
    ListColumn("need_on", "First need", lambda row: row.need_on),
    ListColumn("order_by", "Order by", lambda row: row.order_by),
    ListColumn("here_on", "Here, if ordered today", lambda row: row.here_on),
)
MORE_OF_BUY: tuple[ListColumn[ToBuy], ...] = (
    ListColumn("pack_size", "In a pack", lambda row: row.pack_size),
    ListColumn("lasting", "Of what is over", lambda row: row.lasting),
    ListColumn("buy_as", "Bought as", lambda row: row.buy_as),
    ListColumn("days_late", "Working days too late to order", lambda row: row.days_late),
    ListColumn("jobs", "Jobs", jobs_say),
    ListColumn("balance", "How it comes about", lambda row: row.balance),
)
WEAR: tuple[ListColumn[WearRow], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("positions", "Looked at", lambda row: row.positions, figure=True),
    ListColumn("expected", "Expected worn", lambda row: row.expected, figure=True),
    ListColumn("cover", "To be sure enough", lambda row: row.cover, figure=True),
    ListColumn("on_hand", "Usable on hand", lambda row: row.on_hand, figure=True),
    ListColumn("left", "Left for wear", lambda row: row.left, figure=True),
    ListColumn("chance", "Chance that this is enough", lambda row: row.chance, figure=True),
    ListColumn("short", "Short", lambda row: row.short, figure=True),
    ListColumn("packs", "Packs", lambda row: row.packs or None, figure=True),
    ListColumn("price", "Price", lambda row: row.price, figure=True),
    ListColumn("order_by", "Order by", lambda row: row.order_by),
    ListColumn("here_on", "Here, if ordered today", lambda row: row.here_on),
)
MORE_OF_WEAR: tuple[ListColumn[WearRow], ...] = (
    ListColumn("advice", "What to do", lambda row: row.advice_says),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("pack_size", "In a pack", lambda row: row.pack_size or None),
    ListColumn("balance", "How it comes about", lambda row: row.balance),
)
CALLS: tuple[ListColumn[OrderCall], ...] = (
    ListColumn("order", "Order", lambda row: f"{row.order}, {row.line}" if row.line else row.order),
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("supplier", "Supplier", lambda row: row.supplier),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("promised", "Promised", lambda row: row.promised),
    ListColumn("need_on", "Needed", lambda row: row.need_on),
    ListColumn("days_late", "How late", lambda row: row.days_late),
    ListColumn("bought_today_on", "Ordered today instead", lambda row: row.bought_today_on),
    ListColumn("jobs", "Jobs", jobs_say),
)
MORE_OF_CALLS: tuple[ListColumn[OrderCall], ...] = (ListColumn("kind", "Why to call", lambda row: KIND_SAYS[row.kind]),)
PACK: tuple[ListColumn[ToPack], ...] = (
    ListColumn("part", "Kit", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("quantity", "To pack", lambda row: row.quantity, figure=True),
    ListColumn("need_on", "First need", lambda row: row.need_on),
    ListColumn("jobs", "Jobs", jobs_say),
)
LOTS: tuple[ListColumn[DyingLot], ...] = (
    ListColumn("part", "Part", lambda row: row.part_number),
    ListColumn("what", "What it is", lambda row: row.what),
    ListColumn("lot", "Lot", lambda row: row.lot),
    ListColumn("last_use", "Last use", lambda row: row.last_use),
    ListColumn("quantity", "Quantity", lambda row: row.quantity, figure=True),
    ListColumn("unused", "Not used by then", lambda row: row.unused, figure=True),
)
LISTS = (
    ShortageList(
        "buy",
        "To buy: sure needs",
        "After everything on the shelf and on order.",
        "Nothing: every sure need is on the shelf or on order.",
        "web/pieces/buy.html",
        lambda sheet: sheet.sure.rows,
        lambda sheet: sheet.sure,
        BUY,
        MORE_OF_BUY,
        "Total of the sure needs",
    ),
    ShortageList(
        "wear",
        "To buy: wear that may be found",
        "Pooled over all open jobs. Several parts of one dirty pump wear together, so take the figures as a floor.",
        "Nothing that is looked at here is expected to wear.",
        "web/pieces/wear.html",
        lambda sheet: sheet.wear.rows,
        lambda sheet: sheet.wear,
        WEAR,
        MORE_OF_WEAR,
    ),
    ShortageList(
        "top-ups",
        "To buy: top-ups",
        "Safety stocks that the plan would break into.",
        "No safety stock is broken into that an order for wear does not fill up again.",
        "web/pieces/buy.html",
        lambda sheet: sheet.top_up.rows,
        lambda sheet: sheet.top_up,
        BUY,
        MORE_OF_BUY,
        "Total of the top-ups",
    ),
    ShortageList(
        "orders",
        "To call about",
        "Orders that are overdue, and orders that come after their day.",
        "No order is overdue or comes after its day.",
        "web/pieces/orders.html",
        lambda sheet: sheet.calls,
        lambda sheet: None,
        CALLS,
        MORE_OF_CALLS,
    ),
    ShortageList(
        "pack",
        "To pack here",
        "Kits and assemblies that are put together for jobs.",
        "Nothing has to be put together.",
        "web/pieces/pack.html",
        lambda sheet: sheet.pack,
        lambda sheet: None,
        PACK,
    ),
    ShortageList(
        "lots",
        "Lots that run out of life",
        "Last use before the last build.",
        "Every lot lasts to the last build.",
        "web/pieces/dying.html",
        lambda sheet: sheet.dying,
        lambda sheet: None,
        LOTS,
    ),
)
