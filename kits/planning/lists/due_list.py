"""What is to be ordered, by the day by which it has to be ordered: sure needs, top-ups, and wear that is ordered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from bom.plan import Plan
from bom.reading import ChosenOffer, PurchaseRow
from kits.catalog.amounts import Amount
from kits.catalog.models import Item
from kits.planning.lists.buy_lists import ForWhom, beyond_sure, for_whom, money, sure_purchase
from kits.planning.queries import reading_of
from kits.planning.words.abroad import in_both
from kits.planning.words.item_names import ItemName, item_names
from kits.purchasing.rates.conversion import InBoth
from kits.purchasing.replies.quote_list import refusals_of

SURE, TOP_UP, WEAR = "sure", "top-up", "wear"
ADVICE = {None: "", "decide_after_strip": "decide after the strip-down"}
NEVER_IN_TIME = "only_if_found"
MILLIONTH = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class DueLine:
    """One line to order; ``quantity`` is that of the packs, ``days_late`` counts from the day it was due.

    ``no_bid_on`` is when the supplier said that he does not bid, if that was his last word.
    """

    item_id: int
    part_number: str
    what: str
    leads_to: str
    why: str
    advice: str
    short: Amount
    packs: int
    pack_size: Amount
    quantity: Amount
    supplier: str
    price: Decimal | None
    abroad: InBoth | None
    price_per_pack: Decimal | None
    currency: str
    supplier_part_number: str
    need_on: date | None
    order_by: date | None
    days_late: int
    here_on: date | None
    jobs: tuple[ForWhom, ...]
    no_bid_on: date | None

    @property
    def name(self) -> str:
        """What tells this line from the others in a form."""
        return f"{self.item_id}-{self.why}"

    @property
    def is_due(self) -> bool:
        """Whether the day by which to order has passed."""
        return self.days_late > 0


def due_list(plan: Plan) -> tuple[DueLine, ...]:
    """Every line to order, the most urgent first; two statements for the names, one for refusals."""
    reading = reading_of(plan)
    numbers = [row.part_number for row in reading.purchases]
    names = item_names(numbers)
    keys = dict(Item.objects.filter(part_number__in=numbers).values_list("part_number", "pk"))
    refusals = refusals_of(list(keys.values()))
    lines = []
    for row in reading.purchases:
        name = names[row.part_number]
        own = keys[name.part_number]
        if row.short:
            lines.append(_line(plan, row, name, own, SURE, row.short, sure_purchase(reading, row), refusals))
        beyond = row.short_wear or row.top_up
        if beyond and not (row.short_wear and row.wear_advice == NEVER_IN_TIME):
            why, purchase = WEAR if row.short_wear else TOP_UP, beyond_sure(reading, row)
            if purchase.packs:
                lines.append(_line(plan, row, name, own, why, beyond, purchase, refusals))
    return tuple(sorted(lines, key=lambda line: (line.order_by or date.max, line.part_number, line.why)))


def _line(
    plan: Plan,
    row: PurchaseRow,
    name: ItemName,
    item_id: int,
    why: str,
    short: int,
    purchase: ChosenOffer,
    refusals: Mapping[tuple[int, str], date],
) -> DueLine:
    dated = why != TOP_UP
    return DueLine(
        item_id=item_id,
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        why=why,
        advice=ADVICE.get(row.wear_advice, "") if why == WEAR else "",
        short=name.amount(short),
        packs=purchase.packs,
        pack_size=name.amount(purchase.pack_size),
        quantity=name.amount(purchase.packs * purchase.pack_size),
        supplier=purchase.supplier or "",
        price=money(purchase.price),
        abroad=in_both(plan, purchase.abroad),
        price_per_pack=_price_per_pack(purchase),
        currency=purchase.abroad.currency if purchase.abroad else "",
        supplier_part_number=purchase.supplier_part_number or "",
        need_on=row.need_on if dated else None,
        order_by=row.order_by if dated else None,
        days_late=(row.days_late or 0) if dated else 0,
        here_on=purchase.arrives_on,
        jobs=for_whom(row.askers) if why == SURE else (),
        no_bid_on=refusals.get((item_id, purchase.supplier or "")),
    )


def _price_per_pack(purchase: ChosenOffer) -> Decimal | None:
    """What one of the packs costs, in the money of the offer."""
    total = purchase.abroad.price if purchase.abroad else purchase.price
    return None if total is None else (total / purchase.packs).quantize(MILLIONTH)
