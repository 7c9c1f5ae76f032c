"""What may be ordered from one supplier in one step: what he quoted, and what the plan says has to be ordered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.plan import Plan
from kits.catalog.amounts import Amount
from kits.planning.lists.due_list import SURE, DueLine, due_list
from kits.purchasing.models import Supplier
from kits.purchasing.rates.conversion import InBoth, Rates
from kits.purchasing.rates.queries import read_rates
from kits.purchasing.replies.quote_list import QuoteRow, waiting_quotes


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One line of the form: what the plan says of it (nothing, if it is not short), and the quote behind it, if any."""

    name: str
    item_id: int
    part_number: str
    what: str
    why: str
    due: DueLine | None
    quote: QuoteRow | None
    quantity: Amount
    promised_on: date | None
    price: Decimal | None
    abroad: InBoth | None

    @property
    def is_ticked(self) -> bool:
        """Whether it is to be ordered unless somebody thinks otherwise."""
        if self.quote is None:
            return self.why == SURE
        return self.due is not None and not self.quote.has_lapsed


def order_rows(plan: Plan, supplier: Supplier) -> list[OrderRow]:
    """Each waiting quote, several of one need below one another, then what is short; three more statements."""
    due = {(line.item_id, line.why): line for line in due_list(plan)}
    rates = read_rates(plan.shop.as_of)
    quotes = waiting_quotes(supplier, rates)
    rows = [_quoted(quote, due.get((quote.item_id, quote.why)), rates) for quote in quotes]
    quoted = {(row.item_id, row.why) for row in rows}
    rows += [
        OrderRow(
            name=line.name,
            item_id=line.item_id,
            part_number=line.part_number,
            what=line.what,
            why=line.why,
            due=line,
            quote=None,
            quantity=line.quantity,
            promised_on=line.here_on,
            price=line.price,
            abroad=line.abroad,
        )
        for key, line in due.items()
        if line.supplier == supplier.supplier and key not in quoted
    ]
    return rows


def _quoted(quote: QuoteRow, due: DueLine | None, rates: Rates) -> OrderRow:
    assert quote.quantity is not None
    packs = Decimal(quote.quantity.millionths) / quote.pack_size.millionths
    price = None if quote.price_per_pack is None else (quote.price_per_pack * packs).quantize(Decimal("0.01"))
    abroad = rates.in_both(price, quote.currency)
    return OrderRow(
        name=f"quote-{quote.pk}",
        item_id=quote.item_id,
        part_number=quote.part_number,
        what=quote.what,
        why=quote.why,
        due=due,
        quote=quote,
        quantity=quote.quantity,
        promised_on=quote.promised_on,
        price=None if abroad else price,
        abroad=abroad,
    )
