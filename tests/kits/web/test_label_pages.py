"""Labels for bags: after a receipt, for packed kits, for whatever lies on the shelf."""

import re
from urllib.parse import urlencode

import pytest
from django.contrib.auth.models import Group

from bom.values import ONE
from kits.catalog.models import Item
from kits.people.models import User
from kits.stock.lists import labels
from kits.stock.models import Balance, Lot, Place, Posting
from kits.web.views.storeroom.labels import MOST_LABELS, ON_ONE_SHEET
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db


def labels_on(answer):
    """The labels of a page, each in one line."""
    cut = re.search(r'(?s)<ol class="labels".*?</ol>', answer.content.decode())
    if not cut:
        return []
    return [" ".join(re.sub(r"<[^>]+>", " ", one).split()) for one in cut.group(0).split("<li>")[1:]]


def balance(lot):
    return Balance.objects.get(lot__lot=lot, quantity__gt=0)


def test_receipt_leads_to_the_labels_of_its_lots(clerk):
    place = Place.objects.create(place="DOOR", kind="staging")
    Item.objects.filter(part_number="OR-014").update(home_place="A1", size="0.489 x 0.070 in", hardness="70 A")
    given = {
        "quantity_1": "7", "cure_1": "1Q26", "lot_1": "N-1", "place_1": place.pk,
        "quantity_2": "3", "cure_2": "4Q25", "lot_2": "N-2", "place_2": place.pk,
    }  # fmt: skip
    answer = tap(clerk, "/storeroom/receive/parts/OR-014/", given, follow=True)
    link = re.search(r'href="(/storeroom/labels/[^"]+)"[^>]*>Print its label', answer.content.decode()).group(1)
    first, second = labels_on(clerk.get(link.replace("&amp;", "&")))
    assert first == (
        "OR-014 O-ring 014 0.489 x 0.070 in · NBR · 70 A Lot N-1 Last use 31 Mar 2041 Place DOOR, home A1 "
        "LOT OR-014 N-1"
    )
    assert "Lot N-2 Last use 31 Dec 2040" in second
    assert "2 bags came" in sheet_of(clerk.get("/storeroom/labels/"))


def test_every_packed_kit_gets_a_label_that_says_with_which_piece_it_dies(demo_shop, client):
    person = User.objects.create_user("cleo")
    person.groups.add(Group.objects.get(name="Storeroom clerk"))
    client.force_login(person)
    given, address = {"count": 3, "lives_to": "2026-03-25"}, "/storeroom/kits/pack/K-E34N/"
    given["key"] = key_on(client, f"{address}?{urlencode(given)}")
    answer = client.post(address, {**given, "place": "K2"}, follow=True)
    assert "Print the labels" in text_of(answer)
    labels = labels_on(client.get("/storeroom/labels/", {"posting": Posting.objects.get(kind="pack").pk}))
    assert len(labels) == 3
    assert all("expires with CS-34-U NV-2104. Lot" in one for one in labels)
    assert all("Last use 31 Mar 2026 Place K2" in one for one in labels)


def test_number_of_labels_is_as_it_was_typed(clerk):
    ring, kit = balance("L-1").pk, balance("KIT-9").pk
    assert len(labels_on(clerk.get("/storeroom/labels/", {"of": [ring, kit]}))) == 3, "one bag of rings, two kits"
    asked = clerk.get("/storeroom/labels/", {f"n-{ring}": "4", f"n-{kit}": ""})
    assert [one.split()[0] for one in labels_on(asked)] == ["OR-014"] * 4


@pytest.mark.parametrize("typed", ["x", "-1", "100", "1.5"])
def test_what_is_no_number_of_labels_is_said_and_stays_where_it_was_typed(clerk, typed):
    ring = balance("L-1").pk
    answer = clerk.get("/storeroom/labels/", {f"n-{ring}": typed, f"n-{balance('KIT-9').pk}": "2"})
    assert answer.status_code == 422
    assert f"“{typed}” is no number of labels" in text_of(answer)
    assert f'value="{typed}"' in answer.content.decode()
    assert len(labels_on(answer)) == 2


def test_label_says_what_keeps_a_bag_from_being_used(clerk):
    Lot.objects.filter(lot="L-1").update(cure="", cure_on=None, owner="Quay Ferries")
    Balance.objects.filter(lot__lot="L-1").update(condition="quarantine", packet="loose")
    (label,) = labels_on(clerk.get("/storeroom/labels/", {"of": balance("L-1").pk}))
    assert "Last use no date: held" in label
    assert "HELD, do not use. loose. belongs to Quay Ferries." in label
    (steel,) = labels_on(clerk.get("/storeroom/labels/", {"of": balance("B-7").pk}))
    assert "Last use without limit" in steel


def test_no_more_labels_than_somebody_would_print_at_once(clerk):
    item, place = Item.objects.get(part_number="BA-1"), Place.objects.get(place="A1")
    lots = Lot.objects.bulk_create([Lot(item=item, lot=f"N-{number}", folded=f"n-{number}") for number in range(8)])
    made = [Balance.objects.create(lot=lot, place=place, quantity=ONE) for lot in lots]
    answer = clerk.get("/storeroom/labels/", {f"n-{one.pk}": "99" for one in made})
    assert len(labels_on(answer)) == MOST_LABELS
    assert MOST_LABELS % ON_ONE_SHEET == 0
    assert f"{8 * 99 - MOST_LABELS} labels are too many for one print" in text_of(answer)


def test_words_find_bags_and_nothing_found_says_what_to_try(clerk):
    assert "1 bag on the shelf bears these words" in sheet_of(clerk.get("/storeroom/labels/", {"q": "a1 b-7"}))
    assert "Try the lot alone" in sheet_of(clerk.get("/storeroom/labels/", {"q": "nothing like it"}))
    assert "Nothing of it lies" in sheet_of(clerk.get("/storeroom/labels/", {"of": "999999"}))


def test_it_is_said_when_more_bags_may_bear_the_words_than_are_shown(clerk, monkeypatch):
    says = "Only the first 1 are shown: name place, part or lot more closely."
    assert says not in sheet_of(clerk.get("/storeroom/labels/?q=A1"))
    monkeypatch.setattr(labels, "MOST_ROWS", 1)
    assert says in sheet_of(clerk.get("/storeroom/labels/?q=A1"))
    assert says not in sheet_of(clerk.get(f"/storeroom/labels/?of={balance('L-1').pk}"))
