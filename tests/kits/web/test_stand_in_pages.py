"""On a short line the clerk takes what may stand in, with a reason; the page of the bag and the tray say so."""

from datetime import date

import pytest
from django.contrib.auth.models import Group
from django.utils.html import strip_tags

from bom.values import ONE
from kits.catalog.models import Substitute
from kits.people.roles import STOREROOM_CLERK
from kits.picking.actions import confirm_line
from kits.picking.bags.actions import give_stand_in
from kits.stock.ledger import account_of
from kits.stock.models import Balance, StandIn
from kits.stock.queries import ledger_differences
from kits.web.request_keys import new_key
from tests.kits.picking.bench_shop import AT, BenchShop, line_of
from tests.kits.web.hands import key_on, tap

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    found = BenchShop()
    found.clerk.groups.add(Group.objects.get(name=STOREROOM_CLERK.name))
    items = {"item": found.items["OR-210-N70"], "substitute": found.items["OR-210-N90"]}
    Substitute.objects.create(**items, direction="one_way", approved_by="the lead", note="harder")
    return found


@pytest.fixture
def hand(client, shop):
    client.force_login(shop.clerk)
    return client


def said(answer):
    return " ".join(strip_tags(answer.content.decode()).split())


@pytest.fixture
def line(shop, hand):
    """A pump takes two rings 70, and its line finds one."""
    job = shop.job("J-1", "both", stage="stripped")
    shop.looked_at(job)
    line = line_of(shop.start(job), "OR-210-N70")
    page = f"/picking/{line.pick_round_id}/"
    bag = line.shares.get().bag.number
    short = {f"bag_{bag}": "1", "counted": "1", "short": "1"}
    line.went = tap(hand, f"{page}lines/{line.pk}/", short, on=f"{page}?line={line.pk}")
    line.page = f"{page}?line={line.pk}"
    return line


def instead(shop, part="OR-210-N70"):
    return f"/picking/instead/{shop.items[part].pk}/J-1/"


def test_a_short_line_leads_to_what_may_stand_in_and_keeps_the_reason(shop, hand, line):
    assert line.went.url == line.page, "the clerk stands before the line that is short"
    page = hand.get(line.page)
    assert "OR-210-N90 OR-210-N90 of the test may stand in for OR-210-N70: it lies at A1." in said(page)
    assert f"{instead(shop)}?line={line.pk}" in page.content.decode()
    sheet = hand.get(f"{instead(shop)}?line={line.pk}")
    assert "The bag of J-1 lacks 1 of OR-210-N70: tap why" in said(sheet)
    assert "allowed by the lead: harder" in said(sheet)
    balance = sheet.context["sheet"].rows[0].at.balance_id
    give = f"/picking/counter/{balance}/instead/{shop.items['OR-210-N70'].pk}/J-1/"
    typed = {"quantity": "1", "why": "none of it is left", "line": line.pk}
    key = key_on(hand, f"{instead(shop)}?line={line.pk}", give)
    assert hand.post(give, {**typed, "key": key}).url == line.page
    assert hand.post(give, {**typed, "key": key}).status_code in (302, 409), "a second tap books nothing"
    [row] = StandIn.objects.all()
    assert (row.quantity, row.reason, row.wanted.part_number) == (ONE, "none of it is left", "OR-210-N70")
    told = "1 of OR-210-N90, lot N-90, for J-1 in the place of OR-210-N70: none of it is left."
    assert told in said(hand.get(line.page))
    assert "Take it for J-1" not in said(hand.get(line.page)), "nothing is lacking any more"
    bag = said(hand.get(f"/picking/bags/{line.shares.get().bag.number}/"))
    assert "1 of OR-210-N90, lot N-90, in the place of OR-210-N70: none of it is left" in bag
    assert "1 of OR-210-N90 instead, lot N-90" in said(hand.get("/tray/J-1/"))
    assert ledger_differences() == []


def test_the_forbidden_direction_is_not_offered_and_not_booked(shop, hand, line):
    answer = hand.get(instead(shop, "OR-210-N90"))
    assert answer.context["rows"] == []
    seventy = Balance.objects.get(lot=shop.stock("OR-210-N70", "N-71", "A2", 4), job__isnull=True).pk
    give = f"/picking/counter/{seventy}/instead/{shop.items['OR-210-N90'].pk}/J-1/"
    lacks = answer.context["sheet"].lacks.millionths
    key = new_key("stand in", seventy, answer.context["sheet"].job.pk, shop.items["OR-210-N90"].pk, lacks)
    answer = hand.post(give, {"quantity": "1", "why": "none of it is left", "key": key})
    assert answer.status_code == 409
    assert "OR-210-N70 is not allowed in the place of OR-210-N90" in said(answer)
    assert not StandIn.objects.exists()


def test_a_figure_that_is_none_stays_typed_beside_its_field(shop, hand, line):
    row = hand.get(instead(shop)).context["sheet"].rows[0]
    give = f"/picking/counter/{row.at.balance_id}/instead/{shop.items['OR-210-N70'].pk}/J-1/"
    answer = tap(hand, give, {"quantity": "lots", "other": "the last one rolled away"}, on=instead(shop))
    assert answer.status_code == 422
    assert 'value="lots"' in answer.content.decode()
    assert "the last one rolled away" in answer.content.decode()


def test_the_page_of_the_bag_leads_there_from_what_is_missing(shop, hand, line):
    bag = hand.get(f"/picking/bags/{line.shares.get().bag.number}/").content.decode()
    assert f'href="{instead(shop)}"' in bag


def test_a_second_short_line_of_the_part_leads_there_though_something_stands_in_for_the_first(shop, hand):
    """A pump takes two rings 70, of two lots: both lines find none, and one ring stands in so far."""
    shop.stock("OR-210-N70", "N-70", "A1", 1)
    shop.stock("OR-210-N70", "N-71", "A2", 1, cure="1Q23", cure_on=date(2023, 4, 1))
    job = shop.job("J-1", "both", stage="stripped")
    shop.looked_at(job)
    lines = list(shop.start(job).lines.filter(lot__item__part_number="OR-210-N70"))
    assert len(lines) == 2
    around = {"by": shop.clerk, "at": AT}
    for line in lines:
        confirm_line(line=line, quantities={job.pk: 0}, counted=0, request_key=f"{line.pk}", **around)
    pages = [f"/picking/{line.pick_round_id}/?line={line.pk}" for line in lines]
    wanted, key = shop.items["OR-210-N70"], iter("ab")
    lies = Balance.objects.on_shelf().filter(lot__lot="N-90", quantity__gt=0)
    for offered in (True, False):
        source = account_of(lies.get())
        why = {"reason": "none of it is left", "key": next(key)}
        give_stand_in(job=job, wanted=wanted, source=source, quantity=ONE, **why, **around)
        assert ["Take it for J-1" in said(hand.get(page)) for page in pages] == [offered, offered]
