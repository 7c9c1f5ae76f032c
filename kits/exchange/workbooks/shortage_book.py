"""The shortage workbook: what to buy, what to expedite, every job, and how each number came about."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import islice
from typing import Any

from openpyxl.utils import get_column_letter

from bom.answers.rows import everything, late_wear_rows
from bom.plan import Plan
from kits.catalog.caching.progress import report
from kits.catalog.models import Item, Setting
from kits.catalog.queries import ShopSettings, read_settings
from kits.exchange.workbooks.report_sheet import (
    AMOUNT,
    MONEY,
    SHARE,
    WHOLE,
    Heading,
    ReportSheet,
    Result,
    Spot,
    amount,
)
from kits.exchange.workbooks.shortage_lines import (
    ASK_FIRST,
    SURE,
    TOP_UP,
    WEAR,
    ShortageLine,
    figure_rows,
    path_rows,
    promised_day,
    say_whose,
    shortage_lines,
)
from kits.exchange.workbooks.streamed_book import DAY, StreamedBook, Value

SHEETS = ("Shortages", "Expedite", "Jobs", "How worked out", "Figures", "Expiring", "About")
FIRST_ROW = 7
_TOTAL_COLUMN = 6
MOST_PATHS = 100_000
MOST_TAKEN_APART = 300


def _at_next_break(fact: str) -> Callable[[ShortageLine], Value]:
    """What is said of the order up to the next price break, where that costs less."""
    return lambda line: None if line.next_break is None else getattr(line.next_break, fact)


SHORTAGE_COLUMNS: tuple[tuple[Heading, Callable[[ShortageLine], Value]], ...] = (
    (Heading("Our number", width=12), lambda line: line.item.part_number),
    (Heading("For", width=7), lambda line: line.why),
    (Heading("Maker number", width=9), lambda line: line.item.maker_number),
    (Heading("Description", width=20), lambda line: line.item.description),
    (Heading("Compound", width=12), lambda line: line.item.material),
    (Heading("Hardness", width=11), lambda line: line.item.hardness),
    (Heading("Short", AMOUNT, 7), lambda line: line.short),
    (Heading("First need", DAY, 11), lambda line: line.need_on),
    (Heading("Pack", AMOUNT, 6), lambda line: line.pack_size),
    (Heading("Suggested packs", WHOLE, 10), lambda line: line.packs),
    (Heading("Extension", MONEY, 10), lambda line: line.extension),
    (Heading("Supplier", width=12), lambda line: line.supplier),
    (Heading("Order by", DAY, 11), lambda line: line.order_by),
    (Heading("Advice", width=12), lambda line: line.advice),
    (Heading("Oldest cure quarter", width=10), lambda line: line.oldest_cure),
    (Heading("Certificate", width=12), lambda line: "yes" if line.item.certificate_needed else ""),
    (Heading("Reply: supplier", width=10), lambda line: None),
    (Heading("Reply: quote", MONEY, 8), lambda line: None),
    (Heading("Reply: promised", DAY, 11), lambda line: None),
    (Heading("Reply: quantity", AMOUNT, 9), lambda line: None),
    (Heading("Reply: note", width=10), lambda line: None),
    (Heading("Key", width=20), lambda line: line.key),
    (Heading("Buy as", width=8), lambda line: line.buy_as),
    (Heading("Need, sure", AMOUNT, 7), lambda line: amount(line.demand["sure"] + line.demand["passed_down"])),
    (Heading("Need, wear", AMOUNT, 7), lambda line: amount(line.demand["planned_wear"])),
    (Heading("Usable on hand", AMOUNT, 7), lambda line: amount(line.demand["on_hand"])),
    (Heading("On order", AMOUNT, 7), lambda line: amount(line.demand["on_order"])),
    (Heading("Unit", width=6), lambda line: line.item.stock_unit),
    (Heading("Maker code", width=10), lambda line: line.item.maker_code),
    (Heading("Left out and why", width=26), lambda line: line.left_out),
    (Heading("Left for wear", AMOUNT, 8), lambda line: line.left_for_wear),
    (Heading("Chance that this is enough", SHARE, 9), lambda line: line.chance_enough),
    (Heading("Promises", width=28), lambda line: line.promises),
    (Heading("Jobs blocked", width=28), lambda line: ", ".join(line.row["jobs"]) if line.why == SURE else ""),
    (Heading("Minimum packs", WHOLE, 9), lambda line: line.minimum_packs),
    (Heading("Multiple of packs", WHOLE, 9), lambda line: line.multiple_packs),
    (Heading("Over after packs", AMOUNT, 9), lambda line: amount(line.surplus)),
    (Heading("Price per pack", "#,##0.00##", 10), lambda line: line.price_per_pack),
    (Heading("Next break, packs", WHOLE, 9), _at_next_break("packs")),
    (Heading("Next break, price in all", MONEY, 10), _at_next_break("price")),
    (Heading("Next break, saves", MONEY, 9), _at_next_break("saving")),
    (Heading("Supplier's number", width=14), lambda line: line.supplier_part_number),
    (Heading("Lead, working days", WHOLE, 9), lambda line: line.lead_days),
    (Heading("Working days late", WHOLE, 9), lambda line: amount(line.days_late)),
    (Heading("Here on, if ordered today", DAY, 11), lambda line: line.here_on),
    (Heading("Substitutes", width=26), lambda line: line.substitutes),
)
"""The columns of Shortages. Those up to the reply are printed, one page wide; the rest is for the screen."""

_LAST_PRINTED = "Reply: note"
_OURS = frozenset(
    {
        "Need, sure",
        "Need, wear",
        "Usable on hand",
        "On order",
        "Left out and why",
        "Left for wear",
        "Chance that this is enough",
        "Promises",
        "Jobs blocked",
        "Over after packs",
        "Next break, packs",
        "Next break, price in all",
        "Next break, saves",
        "Substitutes",
    }
)
"""What is nobody's business but the shop's: columns that a supplier's sheet leaves out."""
HOW_TO_REPLY = (
    "Fill in the columns headed Reply: quote is the price per pack, quantity counts in the unit of the line; a "
    "second delivery takes a second row with the same key. Write no bid where you offer nothing, and in the note until "
    "when a price holds. Rows may be sorted; leave the keys."
)

_Columns = tuple[tuple[Heading, Callable[[ShortageLine], Value]], ...]


def columns_for(supplier: str | None) -> _Columns:
    """The columns of Shortages: all of them, or those that a supplier gets to see."""
    return tuple(column for column in SHORTAGE_COLUMNS if supplier is None or column[0].words not in _OURS)


def column_of(words: str, columns: _Columns = SHORTAGE_COLUMNS) -> str:
    """The letter of a column of Shortages."""
    place = next(place for place, (heading, _) in enumerate(columns, start=1) if heading.words == words)
    return str(get_column_letter(place))


def stamp_shown(stamp: str) -> str:
    """A few signs that tell the state of the lists a workbook was written from."""
    return hashlib.sha256(stamp.encode()).hexdigest()[:12]


def shortage_workbook(plan: Plan, answer: dict[str, Any], supplier: str | None = None) -> bytes:
    """Write the workbook of the shown part of a plan; for a supplier only their lines, nothing of the jobs."""
    lines = shortage_lines(plan, answer, supplier)
    book = StreamedBook()
    settings = read_settings()
    of = Totalled(answer["as_of"], settings.currency, "" if supplier else say_whose(plan, answer))
    totals = _add_shortages(book, lines, of, columns_for(supplier))
    descriptions = dict(Item.objects.values_list("part_number", "description"))
    _add_expedite(book, plan, answer, descriptions, supplier)
    if supplier is None:
        _add_jobs(book, plan, answer)
        numbers = list(dict.fromkeys(line.item.part_number for line in lines))
        _add_paths(book, plan, answer, numbers)
        _add_figures(book, plan, numbers)
        _add_expiring(book, answer, descriptions)
    facts = _about_facts(plan, answer, lines, settings, supplier)
    texts = (HOW_TO_REPLY, *CAUTIONS, *(flag["says"] for flag in answer["flags"]))
    _add_about(book, facts, totals, texts if supplier is None else (HOW_TO_REPLY,))
    return book.content()


@dataclass(frozen=True, slots=True)
class Totalled:
    """What totals are of: the day, the currency, and whose they are, in words."""

    as_of: str
    currency: str
    whose: str


_Totals = list[tuple[str, str, Decimal]]
"""What is added up, the cell of Shortages it stands in, and the sum."""


def _add_shortages(book: StreamedBook, lines: Sequence[ShortageLine], of: Totalled, columns: _Columns) -> _Totals:
    report("Writing Shortages")
    headings = [heading for heading, _ in columns]
    sheet = ReportSheet(book, "Shortages", [one.width for one in headings], FIRST_ROW, frozen_columns=1)
    last = FIRST_ROW + max(len(lines), 1)
    sheet.print_only(f"A1:{column_of(_LAST_PRINTED, columns)}{last}")
    sheet.add_title(f"What is short, as of {of.as_of}")
    area = {
        words: f"${column_of(words, columns)}${FIRST_ROW + 1}:${column_of(words, columns)}${last}"
        for words in ("For", "Extension", "Advice")
    }
    totals: _Totals = []
    wanted = (
        ("Sure needs", SURE, False),
        ("Top-ups of safety stocks", TOP_UP, False),
        ("Wear, to be ordered or decided after the strip-down", WEAR, False),
        ("Wear, only if found: ask first, in no total", WEAR, True),
    )
    for words, why, ask_first in wanted:
        value = sum(
            (
                line.extension or Decimal(0)
                for line in lines
                if line.why == why and (line.advice == ASK_FIRST) == ask_first
            ),
            Decimal(0),
        )
        sign = "=" if ask_first else "<>"
        formula = f'=SUMIFS({area["Extension"]},{area["For"]},"{why}",{area["Advice"]},"{sign}{ASK_FIRST}")'
        total = Spot(Result(formula, value), _TOTAL_COLUMN, MONEY)
        row = sheet.add_line(Spot(f"{words}{of.whose}"), total, Spot(of.currency, _TOTAL_COLUMN + 1))
        totals.append((f"{words}{of.whose}", f"{get_column_letter(_TOTAL_COLUMN)}{row}", value))
    sheet.add_line(Spot(HOW_TO_REPLY))
    rows = ([value_of(line) for _, value_of in columns] for line in lines)
    sheet.add_table("Shortages", headings, rows, "Nothing is short.")
    return totals


def _add_table(
    book: StreamedBook,
    name: str,
    title: str,
    headings: Sequence[Heading],
    rows: Iterable[Sequence[Value]],
    nothing: str,
) -> None:
    """A sheet with a title, an empty line and a table."""
    report(f"Writing {name}")
    sheet = ReportSheet(book, name, [one.width for one in headings], 3)
    sheet.add_title(title)
    sheet.add_line()
    sheet.add_table(name.title().replace(" ", ""), headings, rows, nothing)


def _add_expedite(
    book: StreamedBook, plan: Plan, answer: dict[str, Any], descriptions: dict[str, str], supplier: str | None
) -> None:
    headings = (
        Heading("Why", width=20),
        Heading("Order", width=12),
        Heading("Line", width=6),
        Heading("Supplier", width=18),
        Heading("Our number", width=16),
        Heading("Description", width=26),
        Heading("Quantity", AMOUNT, 10),
        Heading("Promised", DAY, 11),
        Heading("Needed on", DAY, 11),
        Heading("Working days late", WHOLE, 9),
        Heading("Here on, if bought today", DAY, 12),
        Heading("Jobs", width=26),
        Heading("Reply: new promise", DAY, 11),
        Heading("Reply: note", width=24),
    )
    suppliers = {(line.order, line.line): line.supplier for line in plan.shop.orders}
    rows: list[list[Value]] = [
        [
            why,
            row["order"],
            row["line"],
            suppliers.get((row["order"], row["line"]), ""),
            row["part_number"],
            descriptions.get(row["part_number"], ""),
            row["quantity"],
            promised_day(row["promised"]),
            promised_day(row.get("need_on")),
            row["days_late"],
            promised_day(row.get("bought_today_on")),
            ", ".join(row["jobs"]) if supplier is None else "",
            None,
            None,
        ]
        for why, found in (
            ("the promise is broken", answer["chase"]),
            ("comes too late", answer["expedite"]),
            ("covers wear late", _late_wear(plan, answer)),
        )
        for row in found
        if supplier is None or suppliers.get((row["order"], row["line"])) == supplier
    ]
    title = f"Orders to expedite, as of {answer['as_of']}"
    _add_table(book, "Expedite", title, headings, rows, "No order has to be expedited.")


def _late_wear(plan: Plan, answer: dict[str, Any]) -> list[dict[str, Any]]:
    """The orders that cover wear of the shown parts after its day."""
    shown = {row["part_number"] for row in answer["demand"]}
    return [row for row in late_wear_rows(plan, everything(plan)) if row["part_number"] in shown]


def _add_jobs(book: StreamedBook, plan: Plan, answer: dict[str, Any]) -> None:
    headings = (
        Heading("Job", width=12),
        Heading("Pump or part", width=16),
        Heading("Scope", width=20),
        Heading("Batch", width=16),
        Heading("Pumps", WHOLE, 7),
        Heading("Customer", width=24),
        Heading("Build or need", DAY, 11),
        Heading("Status", width=10),
        Heading("Parts here on", DAY, 11),
        Heading("Working days late", WHOLE, 9),
        Heading("Held by", width=16),
        Heading("Order by", DAY, 11),
        Heading("Depends on an overdue order", width=12),
    )
    jobs = {job.job: job for job in plan.shop.jobs}
    rows: list[list[Value]] = []
    for row in answer["jobs"]:
        job = jobs[row["job"]]
        known: list[Value] = [job.pump, job.scope, job.batch, job.quantity, job.customer, job.build_on]
        held = (
            promised_day(row["parts_on"]),
            amount(row["days_late"]),
            row["blocking_part"],
            promised_day(row["order_by"]),
        )
        rows.append([row["job"], *known, row["status"], *held, "yes" if row["leans_on_overdue"] else ""])
    needs = {need.need: need for need in plan.shop.needs}
    for row in answer["other_needs"]:
        need = needs[row["need"]]
        known = [need.part_number, "other need", "", None, need.for_whom, need.need_on]
        rows.append([row["need"], *known, row["status"], promised_day(row["parts_on"]), None, None, None, None])
    title = f"Jobs and other needs, as of {answer['as_of']}"
    _add_table(book, "Jobs", title, headings, rows, "No job asks for parts.")


def _add_paths(book: StreamedBook, plan: Plan, answer: dict[str, Any], numbers: list[str]) -> None:
    """One row a way into a part, before anything is taken off."""
    headings = (
        Heading("Our number", width=16),
        Heading("Job", width=12),
        Heading("Section", width=14),
        Heading("At rebuild", width=11),
        Heading("Kit", width=14),
        Heading("How it comes about", width=80),
        Heading("Quantity", AMOUNT, 11),
    )
    jobs = {row["job"] for row in answer["jobs"]} | {row["need"] for row in answer["other_needs"]}
    rows = ([*row] for row in _in_order(islice(path_rows(plan, numbers, jobs), MOST_PATHS), numbers))
    title = "How each number came about: one row a way, before anything is taken off"
    _add_table(book, "How worked out", title, headings, rows, "Nothing is short.")


def _add_figures(book: StreamedBook, plan: Plan, numbers: list[str]) -> None:
    """Every figure of the parts taken apart, step by step."""
    headings = (
        Heading("Our number", width=16),
        Heading("Figure", width=28),
        Heading("How it comes about", width=80),
        Heading("Quantity", AMOUNT, 11),
    )
    rows = ([*row] for row in _in_order(figure_rows(plan, numbers[:MOST_TAKEN_APART]), numbers))
    _add_table(book, "Figures", "Every figure taken apart, step by step", headings, rows, "Nothing is short.")


def _in_order(rows: Iterable[Sequence[Value]], numbers: Sequence[str]) -> list[Sequence[Value]]:
    """Rows in the order in which their parts are listed."""
    places: dict[Value, int] = {number: place for place, number in enumerate(numbers)}
    return sorted(rows, key=lambda row: places[row[0]])


def _add_expiring(book: StreamedBook, answer: dict[str, Any], descriptions: dict[str, str]) -> None:
    headings = (
        Heading("Our number", width=16),
        Heading("Description", width=34),
        Heading("Lot", width=16),
        Heading("Last use", DAY, 11),
        Heading("On the shelf", AMOUNT, 11),
        Heading("Left when it expires", AMOUNT, 11),
    )
    rows: list[list[Value]] = [
        [
            row["part_number"],
            descriptions.get(row["part_number"], ""),
            row["lot"],
            promised_day(row["last_use"]),
            row["quantity"],
            row["unused"],
        ]
        for row in answer["expiring"]
    ]
    title = "Lots that expire before the last build"
    _add_table(book, "Expiring", title, headings, rows, "No lot expires before the last build.")


def _about_facts(
    plan: Plan, answer: dict[str, Any], lines: Sequence[ShortageLine], settings: ShopSettings, supplier: str | None
) -> list[tuple[str, Value]]:
    """What a reader has to know of the workbook; a supplier is told nothing of the jobs."""
    facts: list[tuple[str, Value]] = [
        (AS_OF, date.fromisoformat(answer["as_of"])),
        (STAMP, stamp_shown(plan.shop.stamp)),
        ("Currency", settings.currency or "not set"),
        ("Lines to buy", len(lines)),
        ("of them without a price", sum(line.extension is None for line in lines)),
    ]
    if supplier is not None:
        return [("Supplier", supplier), *facts]
    status = {
        word: sum(row["status"] == word for row in answer["jobs"]) for word in ("ready", "waiting", "late", "short")
    }
    return [
        *facts,
        ("Working days from parts here to build", answer["staging_days"]),
        ("Jobs", len(answer["jobs"])),
        *((f"Jobs {word}", count) for word, count in status.items()),
        ("Other needs", len(answer["other_needs"])),
        ("Orders to expedite", len(answer["chase"]) + len(answer["expedite"])),
        ("Orders that cover wear late", len(_late_wear(plan, answer))),
        ("Lots that expire before the last build", len(answer["expiring"])),
        *((f"Setting: {name}", value) for name, value in Setting.objects.values_list("name", "value")),
    ]


def _add_about(book: StreamedBook, facts: Sequence[tuple[str, Value]], totals: _Totals, texts: Sequence[str]) -> None:
    sheet = ReportSheet(book, "About", (70, 16), 1)
    sheet.add_title("About this workbook")
    sheet.add_line()
    for words, value in facts:
        sheet.add_line(Spot(words), Spot(value, 2, DAY if isinstance(value, date) else WHOLE))
    for words, cell, total in totals:
        sheet.add_line(Spot(words), Spot(Result(f"=Shortages!{cell}", total), 2, MONEY))
    sheet.add_line()
    for text in texts:
        sheet.add_line(Spot(text))


AS_OF, STAMP = "As of", "Stamp"
"""What a workbook that comes back is recognised by."""
CAUTIONS = (
    "Sure needs and wear are never added up. Wear is a chance, and a floor: parts of one dirty pump wear together.",
    "An order whose promise is broken counts as if it came today; jobs that depend on it are marked.",
    "Lines to buy and their totals are those of the whole shop, also where only some of its jobs are shown.",
    "Compound, hardness and shelf life are the shop's own data; the seal maker's and the customer's limits go first.",
)
