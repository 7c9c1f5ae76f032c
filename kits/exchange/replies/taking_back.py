"""Taking a reply back: the filled-in workbook is read, compared with the plan of today, and kept line by line."""

from __future__ import annotations

from datetime import date, datetime

from kits.catalog.caching.revisions import read_marks
from kits.catalog.days.doubts import doubts_now
from kits.catalog.days.words import in_full
from kits.catalog.errors import Refusal
from kits.catalog.folding import fold
from kits.catalog.queries import read_settings
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.records.names import gather_marks
from kits.exchange.replies.line_in_making import ReplyContext
from kits.exchange.replies.reply_book import EXPEDITE, REQUEST, ReplyBook, read_reply
from kits.exchange.replies.reply_lines import compare_reply
from kits.exchange.workbooks.shortage_book import stamp_shown
from kits.exchange.workbooks.shortage_lines import shortage_lines
from kits.people.models import User
from kits.people.sheet_rights import require_sheets
from kits.planning.lists.plan_rows import plan_rows
from kits.planning.queries import plan_now
from kits.planning.snapshot.shop import stamp_of
from kits.purchasing.models import Reply
from kits.purchasing.replies.actions import keep_reply


def take_reply_back(*, file: SheetFile, by: User | None, at: datetime, today: date) -> Reply:
    """Read a filled-in workbook or request and keep its lines open for a decision; the same file twice is kept once."""
    known = gather_marks(())["part_number"]
    book = read_reply(file, known, today)
    require_sheets(by, ["Orders" if sheet == EXPEDITE else "Offers" for sheet in book.sheets])
    plan, settings = plan_now(), read_settings()
    lines = {fold(line.key): line for line in shortage_lines(plan, plan_rows(plan, None))}
    context = ReplyContext(lines, known, doubts_now(today), settings.price_jump, settings.currency)
    made, unanswered = compare_reply(book, context)
    if not made:
        raise Refusal(
            f"{file.name}: no row holds a reply, so there is nothing to take up: "
            "fill in the columns headed Reply, save, and bring the file again."
        )
    reply = Reply(
        by=by,
        at=at,
        file_name=file.name[:255],
        digest=book.digest,
        content=file.content,
        written_on=book.written_on,
        remarks=[*_age_says(book, today), *book.remarks, *unanswered],
    )
    return keep_reply(reply=reply, lines=made)


def _age_says(book: ReplyBook, today: date) -> list[str]:
    """Whether the lists moved on since the workbook was written."""
    if book.sheets == {REQUEST}:
        return []
    if not book.stamp:
        return ["The sheet About is missing or was changed, so nobody can tell how old this workbook is: look twice."]
    if book.stamp == stamp_shown(stamp_of(read_marks())):
        return []
    if book.written_on is None:
        written = "at an earlier time"
    else:
        written = "earlier today" if book.written_on == today else f"as of {in_full(book.written_on)}"
    return [f"This workbook was written {written}, and lists have changed since: each row is compared with today's."]
