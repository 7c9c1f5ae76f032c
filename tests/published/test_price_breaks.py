"""All-units price breaks and order quantities of textbooks against the totals that the offer book gives.

The program does not choose a lot size to save on ordering and holding: it buys what is short, and tells of a break that
costs less in total. The published problems weigh all three costs, so the test adds the other two costs to the
program's totals and looks for the cheapest order among all of them.
"""

from datetime import date
from decimal import Decimal

import pytest

from bom.buying.order_size import NextBreak, OfferBook
from bom.structure.arrays import compile_structure, day_number
from bom.structure.calendar import ShopCalendar
from bom.values import ONE, Catalog, Item, Offer

AS_OF = day_number(date(2026, 3, 4))


def book_of(breaks):
    """An offer book of one part, one piece a pack; ``breaks`` are the smallest quantity and the price of each."""
    offers = tuple(
        Offer("Supplier", "part", price_per_pack=Decimal(price), price_from_packs=start) for start, price in breaks
    )
    structure = compile_structure(Catalog((Item("part", lead_days=5),), (), offers=offers))
    return OfferBook(structure, ShopCalendar(), AS_OF)


def yearly_total(book, quantity, demand, order_cost, holding_percent):
    """Buying, ordering and holding for a year, the price being what the program would pay for such an order."""
    price = book.choose(0, quantity * ONE, None).price / quantity
    return demand * price + Decimal(order_cost * demand) / quantity + price * holding_percent * quantity / 200


def cheapest(book, largest, *costs):
    return min((yearly_total(book, quantity, *costs), quantity) for quantity in range(1, largest + 1))


def test_a_discount_of_two_steps():
    # The quantity-discount example of operations textbooks: demand 5000, order cost 49, holding 20 % of the price.
    book = book_of([(1, "5.00"), (1000, "4.80"), (2000, "4.75")])
    assert cheapest(book, 2500, 5000, 49, 20) == (Decimal(24725), 1000)


def test_a_discount_of_four_steps():
    # The same kind of example: demand 800, order cost 60, holding 30 % of the price.
    book = book_of([(1, "53"), (50, "51.5"), (100, "49.5"), (200, "48"), (500, "47")])
    assert cheapest(book, 700, 800, 60, 30) == (Decimal(40080), 200)


@pytest.mark.parametrize(
    ("quantity", "total", "told"),
    [
        (959, "4795.00", None),
        (961, "4805.00", (1000, "4800.00", "5.00")),
        (999, "4995.00", (1000, "4800.00", "195.00")),
        (1000, "4800.00", None),
        (1999, "9595.20", (2000, "9500.00", "95.20")),
        (2000, "9500.00", None),
    ],
)
def test_a_break_that_costs_less_in_all_is_told(quantity, total, told):
    # The prices of the first example; the totals are its definition of an all-units discount.
    found = book_of([(1, "5.00"), (1000, "4.80"), (2000, "4.75")]).choose(0, quantity * ONE, None)
    expected = told and NextBreak(told[0], Decimal(told[1]), Decimal(told[2]))
    assert (found.price, found.next_break) == (Decimal(total), expected)
