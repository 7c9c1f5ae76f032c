"""What may be ordered in one step: what suppliers quoted, and what the plan says has to be ordered, by supplier."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.catalog.folding import fold
from kits.planning.lists.due_list import SURE, DueLine, due_list
from kits.purchasing.orders.drafted import certified_items, drafted_packs
from kits.purchasing.rates.queries import read_rates
from kits.purchasing.replies.quote_list import QuoteRow, waiting_quotes


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One line of the form: what the plan says of it (nothing, if it is not short), and the quote behind it, if any.

    ``drafted`` says how many stand on drafted orders already, and on which.
    """

    name: str
    supplier: str
    item_id: int
    part_number: str
    what: str
    why: str
    due: DueLine | None
    quote: QuoteRow | None
    packs: int
    pack_size: Amount
    price_per_pack: Decimal | None
    currency: str
    wanted_on: date | None
    needs_certificate: bool
    drafted: str

    @property
    def is_ticked(self) -> bool:
        """Whether it is to be ordered unless somebody thinks otherwise."""
        if self.drafted:
            return False
        if self.quote is None:
            return self.why == SURE
        return self.due is not None and not self.quote.has_lapsed


def order_rows(plan: Plan, supplier: str = "") -> list[OrderRow]:
    """By supplier each waiting quote, several of one need below one another, then what is short; of all, or of one.

    Four more statements. What is short and nobody offers stands in no row.
    """
    due = {(line.item_id, line.why): line for line in due_list(plan)}
    drafted, needing = drafted_packs(), certified_items()
    quotes = [
        quote for quote in waiting_quotes(read_rates(plan.shop.as_of)) if not supplier or quote.supplier == supplier
    ]
    rows = [_quoted(quote, due.get((quote.item_id, quote.why)), drafted, needing) for quote in quotes]
    quoted = {(row.supplier, row.item_id, row.why) for row in rows}
    rows += [
        _short(line, drafted, needing)
        for key, line in due.items()
        if line.supplier and line.supplier == (supplier or line.supplier) and (line.supplier, *key) not in quoted
    ]
    return sorted(rows, key=lambda row: fold(row.supplier))


def _short(line: DueLine, drafted: Mapping[int, str], needing: Set[int]) -> OrderRow:
    return OrderRow(
        name=line.name,
        supplier=line.supplier,
        item_id=line.item_id,
        part_number=line.part_number,
        what=line.what,
        why=line.why,
        due=line,
        quote=None,
        packs=line.packs,
        pack_size=line.pack_size,
        price_per_pack=line.price_per_pack,
        currency=line.currency,
        wanted_on=line.here_on,
        needs_certificate=line.item_id in needing,
        drafted=drafted.get(line.item_id, ""),
    )


def _quoted(quote: QuoteRow, due: DueLine | None, drafted: Mapping[int, str], needing: Set[int]) -> OrderRow:
    assert quote.quantity is not None
    return OrderRow(
        name=f"quote-{quote.pk}",
        supplier=quote.supplier,
        item_id=quote.item_id,
        part_number=quote.part_number,
        what=quote.what,
        why=quote.why,
        due=due,
        quote=quote,
        packs=-(-quote.quantity.millionths // quote.pack_size.millionths),
        pack_size=quote.pack_size,
        price_per_pack=quote.price_per_pack,
        currency=quote.currency,
        wanted_on=quote.promised_on,
        needs_certificate=quote.item_id in needing,
        drafted=drafted.get(quote.item_id, ""),
    )
