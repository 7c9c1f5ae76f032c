"""Rows of a request that came back, put into the words in which rows of the shortage workbook answer."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from decimal import Decimal

from bom.values import ONE
from kits.catalog.folding import fold
from kits.exchange.replies.reply_book import REQUEST, FilledRow
from kits.exchange.replies.reply_words import PACK
from kits.exchange.workbooks.shortage_lines import ShortageLine
from kits.purchasing.models import RequestLine

THE_REST = "Request, the rest"


def spelled_out(rows: Iterable[FilledRow]) -> Iterator[FilledRow]:
    """The rows, those of requests as answers to the line that was asked for; a second delivery is a row of its own."""
    listed = list(rows)
    asked = _asked_lines(listed)
    for row in listed:
        if row.sheet != REQUEST:
            yield row
            continue
        line = asked.get(fold(row.text("Key")))
        pack = row.values.pop("Reply: pack", None)
        if pack is not None:
            row.values["Pack"] = pack
        elif line is not None:
            row.values["Pack"] = Decimal(line.pack_size) / ONE
        if row.number("Reply: quantity") is not None and not row.counts:
            row.counts = PACK
        rest_on = row.values.pop("Reply: rest on", None)
        if line is None:
            yield row
            continue
        row.asked = line
        row.values |= {"Key": f"{line.item.part_number} / {line.why}", "Supplier": line.request.supplier.supplier}
        if line.request.withdrawn_at is not None:
            row.remarks.append(f"Request {line.request} was taken back.")
        yield row
        if rest_on is not None:
            yield _rest(row, line, rest_on)


def _rest(row: FilledRow, line: RequestLine, day: object) -> FilledRow:
    """What comes later of a line: the packs that were asked for and do not come on the promised day."""
    first = row.number("Reply: quantity")
    left = None if first is None or row.counts != PACK else line.packs - first
    values = {**row.values, "Reply: promised": day}
    rest = replace(row, sheet=THE_REST, values=values, notes=[], unread={}, remarks=[])
    if left is not None and left > 0:
        values["Reply: quantity"] = left
    else:
        values.pop("Reply: quantity", None)
        of = "none" if first is None else str(first.normalize())
        rest.unread["Reply: quantity"] = (
            f"There is a day for the rest, and of the {line.packs} packs asked for {of} come on the first day: write "
            "how many come later, or set the row aside."
        )
    return rest


def as_asked(row: FilledRow, line: ShortageLine | None) -> ShortageLine | None:
    """What is short today, in the packs and under the number in which this supplier was asked for it."""
    asked = row.asked
    if asked is None or line is None:
        return line
    pack = Decimal(asked.pack_size) / ONE
    price = None if line.price_per_pack is None else line.price_per_pack / line.pack_size * pack
    if asked.quantity > line.short * ONE:
        row.remarks.append(f"Short today: {line.short.normalize():f}, fewer than were asked for.")
    return replace(
        line,
        supplier=asked.request.supplier.supplier,
        supplier_part_number=asked.supplier_part_number,
        pack_size=pack,
        packs=asked.packs,
        price_per_pack=price,
        lead_days=None,
    )


def not_come_back(rows: Iterable[FilledRow]) -> list[str]:
    """The lines of the requests that answer here of which there is no row at all."""
    mine = [row for row in rows if row.sheet == REQUEST]
    asked = _asked_lines(mine)
    there = [row.asked or asked.get(fold(row.text("Key"))) for row in mine]
    known = [line for line in there if line is not None]
    missing = RequestLine.objects.filter(request__in={line.request_id for line in known})
    return [str(line) for line in missing.exclude(pk__in=[line.pk for line in known]).select_related("request")]


def _asked_lines(rows: Iterable[FilledRow]) -> dict[str, RequestLine]:
    """The lines that rows of requests name, by their keys."""
    numbers = {fold(row.text("Key").rpartition("/")[0]) for row in rows if row.sheet == REQUEST}
    lines = RequestLine.objects.filter(request__folded__in=numbers).select_related("request__supplier", "item")
    return {fold(str(line)): line for line in lines}
