"""The lines of a reply set against the plan of today: what each would change, what to know and what to ask of it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal

from bom.values import ONE
from kits.catalog.days.doubts import DayDoubts, asked
from kits.catalog.days.words import in_full
from kits.catalog.fields import quantity_text
from kits.catalog.folding import fold
from kits.exchange.replies.answer_line import AnswerLine
from kits.exchange.replies.line_in_making import (
    ALL_THE_SAME,
    ASK_SUPPLIER,
    LineInMaking,
    ReplyContext,
    key_of,
    pieces_of,
)
from kits.exchange.replies.reply_book import EXPEDITE, REQUEST, SHORTAGES, FilledRow, ReplyBook
from kits.exchange.replies.reply_questions import (
    LINE,
    PROMISED,
)
from kits.exchange.replies.request_rows import not_come_back, spelled_out
from kits.exchange.workbooks.shortage_lines import ShortageLine
from kits.purchasing.models import Offer, OrderLine, ReplyLine, ReplyState, Supplier

MOST_NAMED = 40


def compare_reply(book: ReplyBook, context: ReplyContext) -> tuple[list[ReplyLine], list[str]]:
    """The lines that say something, and sentences about what as a whole is missing or left without an answer."""
    answered = list(spelled_out(row for row in book.rows if row.replies))
    stated: dict[str, Decimal] = defaultdict(Decimal)
    for row in answered:
        stated[key_of(row)] += pieces_of(row, context.lines.get(key_of(row))) or 0
    context.suppliers = {supplier.folded: supplier for supplier in Supplier.objects.all()}
    context.costs = _costs(
        {fold(row.text("Our number")) for row in answered}
        | {fold(row.text("Key").rpartition(" / ")[0]) for row in answered}
    )
    context.count = Counter(key_of(row) for row in answered if row.sheet != EXPEDITE)
    context.stated = stated
    made = [
        _promise_line(row, context.odd) if row.sheet == EXPEDITE else AnswerLine(row, context).made()
        for row in answered
    ]
    _mind_earlier(made)
    return [line.finished() for line in made], list(_unanswered(book, list(context.lines.values())))


def _costs(numbers: Collection[str]) -> dict[tuple[int, int], Decimal]:
    """What one unit costs by the offers of each supplier for items, at the price of the smallest order."""
    found: dict[tuple[int, int], Decimal] = {}
    offers = Offer.objects.filter(item__folded__in=numbers, price_per_pack__isnull=False)
    for offer in offers.order_by("-price_from_packs", "-pk"):
        found[offer.supplier_id, offer.item_id] = (offer.price_per_pack or Decimal()) * ONE / offer.pack_size
    return found


def _mind_earlier(lines: Sequence[LineInMaking]) -> None:
    """A supplier may answer twice: what is open in an earlier reply is pointed out, so that nobody orders twice."""
    keys = {line.key for line in lines}
    earlier: dict[tuple[str, str, int | None], ReplyLine] = {}
    for one in ReplyLine.objects.filter(key__in=keys).exclude(state=ReplyState.SET_ASIDE).order_by("pk"):
        earlier[one.sheet, one.key, one.asked_line_id] = one
    for line in lines:
        before = earlier.get((line.row.sheet, line.key, line.row.asked.pk if line.row.asked else None))
        if before is not None:
            what = f"accepted: {before.outcome}" if before.state == ReplyState.ACCEPTED else "still open"
            says = f"The same line stands in reply {before.reply_id}, row {before.row}, {what}."
            line.questions.ask(LINE, says, ALL_THE_SAME)


def _unanswered(book: ReplyBook, lines: Sequence[ShortageLine]) -> Iterable[str]:
    """What came back as it went, and what did not come back at all."""
    silent = [row.text("Key") or f"row {row.row}" for row in book.rows if not row.replies and row.sheet != EXPEDITE]
    if silent:
        yield f"{_rows(len(silent))} came back without an answer: {_named(silent)}."
    if REQUEST in book.sheets:
        missing = not_come_back(book.rows)
        if missing:
            yield f"{_rows(len(missing))} of the request did not come back: {_named(missing)}."
    if SHORTAGES not in book.sheets:
        return
    there = {fold(row.text("Key")) for row in book.rows}
    asked_of = {fold(row.text("Supplier")) for row in book.rows if row.text("Supplier")}
    missing = [line.key for line in lines if fold(line.key) not in there and fold(line.supplier) in asked_of]
    if missing:
        yield f"{_rows(len(missing))} of today's list of these suppliers did not come back: {_named(missing)}."


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"


def _named(keys: Sequence[str]) -> str:
    more = f" and {len(keys) - MOST_NAMED} more" if len(keys) > MOST_NAMED else ""
    return ", ".join(keys[:MOST_NAMED]) + more


def _promise_line(row: FilledRow, odd: DayDoubts) -> LineInMaking:
    """A row of Expedite: another day for an order that is out."""
    line = LineInMaking(row)
    order, number = row.text("Order"), row.text("Line")
    found = OrderLine.objects.select_related("item").by_number(order, number)
    day = row.day("Reply: new promise")
    line.stated |= {"promised": day.isoformat() if day else ""}
    if row.refused:
        line.questions.ask(
            PROMISED, f"The supplier writes “{row.refused}”: set the row aside, or write the day that is meant."
        )
    if found is None:
        line.key = f"{order} line {number}"
        line.questions.ask(
            LINE,
            f"Order {order or '(blank)'} line {number or '(blank)'} is none of ours, so nothing can be accepted: set "
            "the row aside, and ask which order is meant.",
        )
        return line
    line.key, line.item, line.order_line = str(found), found.item, found
    line.before = {"promised": found.promised_on.isoformat(), "quantity": quantity_text(found.quantity)}
    sheet_day = row.day("Promised")
    if sheet_day and sheet_day != found.promised_on:
        then, now = in_full(sheet_day), in_full(found.promised_on)
        says = f"The sheet was written when {then} was promised; {now} stands here today."
        line.questions.ask(LINE, says, ALL_THE_SAME)
    if not found.quantity:
        line.questions.ask(LINE, "The order has come in full since: there is nothing left to promise.")
    if day is None:
        if not row.unread and not row.refused:
            says = "There is no new day: fill one in, or set the line aside when its note is read."
            line.questions.ask(PROMISED, says)
    elif day < odd.today:
        line.questions.ask(PROMISED, f"The new day {in_full(day)} has passed: ask for another.")
    elif day == found.promised_on:
        line.questions.ask(PROMISED, "The new day is the day that stands here already.")
    elif doubt := odd.of_promise(day):
        meant = f"{in_full(day)} is meant"
        line.questions.ask(PROMISED, asked(doubt, ASK_SUPPLIER), (meant, {"promised": day.isoformat()}))
    return line
