"""Whole packs and loose pieces, worked by hand; nothing is said where nobody knows how many a pack holds."""

from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.picking.models import PickLine
from kits.picking.rounds.packs import packs_say
from kits.picking.rounds.sheet import round_sheet
from kits.purchasing.models import Offer, OrderLine, Receipt, Supplier
from kits.stock.models import Posting
from tests.kits.picking.bench_shop import BenchShop


@pytest.mark.parametrize(
    ("asked", "opened", "pack", "says"),
    [
        (23, 0, 10, "2 bags of 10 + 3 loose"),
        (20, 0, 10, "2 bags of 10"),
        (10, 0, 10, "1 bag of 10"),
        (9, 0, 10, ""),
        (13, 3, 10, "1 bag of 10 + 3 loose"),
        (23, 4, 10, "1 bag of 10 + 13 loose"),
        (12, 20, 10, ""),
        (25, 0, None, ""),
    ],
)
def test_pieces_are_counted_out_in_whole_packs(asked, opened, pack, says):
    assert packs_say(asked * ONE, opened * ONE, pack and pack * ONE) == says


@pytest.fixture
def shop(db):
    return BenchShop()


def offer(shop, part, supplier, size):
    found, _ = Supplier.objects.get_or_create(supplier=supplier)
    with transaction.atomic():
        mark_shop()
        Offer.objects.create(supplier=found, item=shop.items[part], pack_size=size * ONE)
    return found


def said(shop):
    made = shop.start(*shop.four_jobs())
    return {line.part_number: line.packs_say for line in round_sheet(made.pk).lines}


def test_packs_are_those_in_which_the_part_is_offered(shop):
    offer(shop, "NUT", "one", 5)
    assert said(shop)["NUT"] == "2 bags of 5 + 2 loose", "4 + 4 + 2 + 2 are 12"


def test_packs_of_two_sizes_are_not_known(shop):
    offer(shop, "NUT", "one", 5)
    offer(shop, "NUT", "two", 10)
    assert said(shop)["NUT"] == ""


def test_lot_that_came_on_an_order_is_in_packs_of_its_supplier(shop):
    offer(shop, "NUT", "one", 5)
    two = offer(shop, "NUT", "two", 10)
    line = OrderLine.objects.create(
        order="PO-1", line="1", supplier=two, item=shop.items["NUT"], quantity=ONE, promised_on=date(2026, 3, 9)
    )
    posting = Posting.objects.filter(movements__balance__lot__lot="H-1").first()
    Receipt.objects.create(order_line=line, posting=posting, quantity=40 * ONE)
    assert said(shop)["NUT"] == "1 bag of 10 + 2 loose"


def test_what_is_measured_and_single_pieces_have_no_packs(shop):
    offer(shop, "NUT", "one", 1)
    offer(shop, "CORD", "one", 100)
    made = shop.start(shop.job("J-1"), shop.job("J-2", "valve"))
    assert {line.packs_say for line in round_sheet(made.pk).lines} == {""}
    assert PickLine.objects.filter(lot__item__part_number="CORD").exists()
