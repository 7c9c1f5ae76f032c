"""The pages of packing kits, of suspect lots and of the ring finder, as clerks use them."""

import re
from datetime import date

import pytest
from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Item, Substitute
from kits.planning.queries import plan_now
from kits.planning.sheets.packing import packing_sheet
from kits.schedule.models import Job, OtherNeed
from kits.stock.ledger import OnShelf, WithJob
from kits.stock.models import Balance, KitPiece, Lot, Place, Posting, Suspicion
from kits.stock.packed_kits.kit_lots import kit_lots
from kits.stock.queries import ledger_differences
from kits.web.request_keys import new_key
from tests.kits.persons import person_of
from tests.kits.stock.kit_shop import TODAY
from tests.kits.stock.test_ledger import Storeroom
from tests.kits.web.hands import key_on, tap
from tests.kits.web.shops import sheet_of, text_of
from tests.kits.web.test_statements import count_statements


@pytest.fixture
def clerk(client, db):
    client.force_login(person_of("Storeroom clerk", "cleo", first_name="Cleo", last_name="Clerk"))
    return client


def lot(code):
    return Lot.objects.get(lot=code)


def pack(clerk, kit="K-CKS", **said):
    """Look which lots go into so many kits of that day, and pack them."""
    data = {"count": 2, "lives_to": "2026-03-16", "place": "K2", **said}
    address = f"/storeroom/kits/pack/{kit}/"
    page = clerk.get(address, {name: data[name] for name in ("count", "lives_to", "takes_kept") if name in data})
    shows = page.context["sheet"].shows if page.context["sheet"] else []
    return clerk.post(address, {"key": new_key("pack", page.context["kit"].pk, shows), **data})


def work(clerk, kit_lot, what, **said):
    place = Balance.objects.on_shelf().get(lot=kit_lot, quantity__gt=0).place_id
    page = f"/storeroom/kits/lots/{kit_lot.pk}/"
    return tap(clerk, f"{page}{place}/{what}/", said, on=page)


def test_packing_sheet_says_how_many_what_limits_it_and_which_lots(demo_shop, clerk):
    says = sheet_of(clerk.get("/storeroom/kits/pack/K-E34N/"))
    assert "3 of 5 can be packed for pumps built on 25 Mar" in says
    assert "SE-M is what limits it" in says
    assert "5 for J-3111, built 25 Mar" in says
    assert "sets the kit’s last use" in says
    assert "Not OR-210-N70, same size, other hardness: 70 Shore A, at A2" in says


def test_later_build_day_leaves_the_old_seals_on_the_shelf(demo_shop, clerk):
    says = sheet_of(clerk.get("/storeroom/kits/pack/K-E34N/?count=2&lives_to=2026-04-09"))
    assert "NV-2417" in says
    assert "NV-2104" not in says


def test_kits_are_packed_once_and_told_with_their_last_use(demo_shop, clerk):
    said = {"count": 2, "lives_to": "2026-04-09", "place": "K2", "job": "J-3118"}
    said["key"] = key_on(clerk, "/storeroom/kits/pack/K-E34N/?count=2&lives_to=2026-04-09")
    for _ in range(2):
        answer = clerk.post("/storeroom/kits/pack/K-E34N/", said, follow=True)
    assert "2 × K-E34N packed as lot" in text_of(answer)
    posting = Posting.objects.get(kind="pack")
    assert (posting.job.job, posting.by.username) == ("J-3118", "cleo")
    assert re.search(r"K2 2 30 Jun 2029 CS-34-U NV-2417", sheet_of(clerk.get("/kits/K-E34N/")))


def need(part, quantity, on):
    with transaction.atomic():
        mark_shop()
        item = Item.objects.get(part_number=part)
        return OtherNeed.objects.create(need="VAN-9", item=item, quantity=quantity * ONE, need_on=on)


def test_packing_leaves_what_others_need_up_to_the_build_day(demo_shop, clerk):
    """Six seats lie there; three of them go into a van five days before the kits are built in."""
    need("SE-M", 3, date(2026, 3, 20))
    says = sheet_of(clerk.get("/storeroom/kits/pack/K-E34N/"))
    assert "1 of 5 can be packed for pumps built on 25 Mar" in says
    assert "SE-M is what limits it. 3 could be if nothing were kept" in says
    assert "SE-M seat, large check valve 2 6 3 1 3 for VAN-9, 20 Mar" in says
    assert "3 of 5 can be packed" in sheet_of(clerk.get("/storeroom/kits/pack/K-E34N/?count=5&lives_to=2026-03-19"))
    refused = pack(clerk, "K-E34N", lives_to="2026-03-25")
    assert refused.status_code == 409
    assert "3 of SE-M lie free" in text_of(refused)
    assert "3 more lie there, kept for what is built up to that day" in text_of(refused)


def test_pieces_that_others_need_are_taken_for_a_reason_only(demo_shop, clerk):
    need("SE-M", 3, date(2026, 3, 20))
    given = {"lives_to": "2026-03-25", "takes_kept": "1", "count": 3}
    mute = pack(clerk, "K-E34N", **given)
    assert mute.status_code == 422
    assert "write why they are taken all the same" in text_of(mute)
    assert "Pack 3 × K-E34N" in text_of(mute)
    assert pack(clerk, "K-E34N", **given, reason="the van can wait, says Ada").status_code == 302
    assert Posting.objects.get(kind="pack").reason == "the van can wait, says Ada"


def test_filling_a_robbed_kit_leaves_what_others_need_too(demo_shop, clerk):
    need("SE-M", 6, date(2026, 3, 20))
    kit_lot = lot("P-0551")
    piece = KitPiece.objects.get(kit_lot=kit_lot, item__part_number="SE-M")
    said = {"piece": f"{piece.item_id}-{piece.piece_lot_id}", "quantity": "1", "job": "J-3115", "reason": "rush"}
    work(clerk, kit_lot, "rob", **said)
    robbed = lot("P-0551/1")
    refused = work(clerk, robbed, "fill", lives_to="2026-03-31")
    assert refused.status_code == 409
    assert "6 more lie there" in text_of(refused)
    assert work(clerk, robbed, "fill", lives_to="2026-03-31", takes_kept="1").status_code == 422
    assert work(clerk, robbed, "fill", lives_to="2026-03-31", takes_kept="1", reason="J-3101").status_code == 302


def test_other_kits_of_the_same_kind_keep_nothing_from_the_first(demo_shop, clerk):
    """J-3111 waits for five of this kit on 25 March; packing one more for a later day takes from what they would."""
    row = next(row for row in packing_of("K-E34N", 4, date(2026, 4, 17)).limits if row.part_number == "SE-M")
    assert (row.free, row.kept_for) == (row.lies, ())
    wiper = next(row for row in packing_of("K-E34N", 4, date(2026, 4, 17)).limits if row.part_number == "WI-34")
    assert [(one.name, one.quantity.text) for one in wiper.kept_for] == [("VAN-01", "2")]


def packing_of(kit, count, day):
    return packing_sheet(plan_now(), Item.objects.get(part_number=kit), count=count, lives_to=day)


@pytest.mark.parametrize(
    ("said", "status", "says"),
    [
        ({"count": 99}, 409, "cannot be put together"),
        ({"place": ""}, 422, "No place was chosen"),
        ({"lives_to": "soon"}, 422, "is no day"),
        ({"lives_to": "2026-03-01"}, 409, "has passed"),
        ({"key": "x"}, 422, "open it anew"),
    ],
)
def test_what_cannot_be_packed_is_said_and_nothing_is_posted(demo_shop, clerk, said, status, says):
    before = Posting.objects.count()
    answer = pack(clerk, **said)
    assert answer.status_code == status
    assert says in text_of(answer)
    assert Posting.objects.count() == before


def test_kit_that_is_bought_says_so(demo_shop, clerk):
    answer = pack(clerk, kit="K-D6")
    assert answer.status_code in (409, 422)


def test_only_the_storeroom_packs_and_freezes(demo_shop, reader):
    assert pack(reader).status_code == 403
    assert "Where the kits go" not in text_of(reader.get("/storeroom/kits/pack/K-CKS/"))
    kit_lot = lot("P-0551")
    place = Balance.objects.on_shelf().get(lot=kit_lot, quantity__gt=0).place_id
    opened = {"count": 1, "reason": "x"}
    assert reader.post(f"/storeroom/kits/lots/{kit_lot.pk}/{place}/open/", opened).status_code == 403
    address = f"/storeroom/suspects/{lot('NV-2139').pk}/freeze/"
    assert reader.post(address, {"reason": "x"}).status_code == 403
    assert not Suspicion.objects.exists()


def test_kit_is_robbed_shown_as_lacking_and_filled_up(demo_shop, clerk):
    kit_lot = lot("P-0551")
    piece = KitPiece.objects.get(kit_lot=kit_lot, item__part_number="SE-M")
    said = {"piece": f"{piece.item_id}-{piece.piece_lot_id}", "quantity": "1", "job": "J-3115", "reason": "rush"}
    answer = work(clerk, kit_lot, "rob", **said)
    assert answer.status_code == 302
    says = sheet_of(clerk.get("/kits/K-E34N/"))
    assert "lacks 1 × SE-M" in says
    assert "taken out" in says
    assert "by Cleo Clerk for J-3115: rush" in says
    assert "robbed , not counted on until it is filled up" in says
    assert "As it lies in the bag, lot P-0551/1 at K2 (1): Not in the kit, and needed loose: 1 × SE-M" in says
    assert "It was robbed: nobody counts on it until it is filled up." in says
    assert "Not counted: 1 robbed and not filled up again." in says
    robbed = lot("P-0551/1")
    assert "P-0551/1" in sheet_of(clerk.get("/storeroom/kits/?only=owed"))
    assert "robbed" in clerk.get("/storeroom/kits/?only=owed&export=csv").content.decode()
    assert "To be put back" in sheet_of(clerk.get(f"/storeroom/kits/lots/{robbed.pk}/"))
    assert work(clerk, robbed, "fill", lives_to="2026-03-31").status_code == 302
    assert "is like that" in sheet_of(clerk.get("/storeroom/kits/?only=owed"))
    assert [row.lot for row in kit_lots(today=TODAY) if row.lot.startswith("P-0551")] == ["P-0551", "P-0551/2"]
    assert ledger_differences() == []


def test_kits_are_opened_with_a_reason(demo_shop, clerk):
    kit_lot = lot("P-0551")
    assert "No reason was given" in text_of(work(clerk, kit_lot, "open", count=1))
    assert work(clerk, kit_lot, "open", count=2, reason="wanted as loose seats").status_code == 302
    assert "opened into its pieces" in sheet_of(clerk.get(f"/storeroom/kits/lots/{kit_lot.pk}/"))
    assert Posting.objects.get(kind="unpack").reason == "wanted as loose seats"
    answer = work(clerk, kit_lot, "open", count=9, reason="all of them")
    assert answer.status_code == 409
    assert "K-E34N P-0551 has 3 there that is set aside for nobody" in text_of(answer)


def test_lot_of_which_no_kit_is_left_still_has_its_history(demo_shop, clerk):
    kit_lot = lot("P-0551")
    work(clerk, kit_lot, "open", count=5, reason="wanted loose")
    says = sheet_of(clerk.get(f"/storeroom/kits/lots/{kit_lot.pk}/"))
    assert "None of this lot is on the shelf" in says
    assert "wanted loose" in says


def test_work_that_nobody_knows_and_lots_of_parts_have_no_page(demo_shop, clerk):
    kit_lot = lot("P-0551")
    place = Balance.objects.on_shelf().get(lot=kit_lot, quantity__gt=0).place_id
    assert clerk.post(f"/storeroom/kits/lots/{kit_lot.pk}/{place}/burn/").status_code == 404
    assert clerk.get(f"/storeroom/kits/lots/{lot('NV-2104').pk}/").status_code == 404
    assert clerk.get("/storeroom/suspects/99999999/").status_code == 404


def test_suspect_lot_is_traced_frozen_and_lifted(demo_shop, clerk):
    ring = lot("NV-2139")
    address = f"/storeroom/suspects/{ring.pk}/"
    says = sheet_of(clerk.get(address))
    assert "Nothing is frozen yet" in says
    assert "P-0551" in says
    assert "6 jobs lose" in says
    answer = tap(clerk, f"{address}freeze/", {"reason": "soft to the touch"}, on=address, follow=True)
    says = sheet_of(answer)
    assert "Frozen since" in says
    assert "6 jobs lose" in says
    assert Balance.objects.filter(lot=ring, condition="usable", quantity__gt=0).count() == 0
    assert "frozen" in sheet_of(clerk.get("/storeroom/suspects/"))
    refused = tap(clerk, f"{address}lift/", {"reason": ""}, on=address)
    assert refused.status_code == 422
    says = sheet_of(tap(clerk, f"{address}lift/", {"reason": "hardness is right"}, on=address, follow=True))
    assert "hardness is right" in says
    assert Balance.objects.filter(lot=ring, condition="quarantine", quantity__gt=0).count() == 0


def test_suspect_lot_is_found_in_bags_and_in_closed_pumps(demo_shop, clerk):
    ring, place = lot("NV-2139"), Place.objects.get(place="A2")
    jobs = [Job.objects.get(job=number) for number in ("J-3101", "J-3102")]
    for job in jobs:
        bag = WithJob(ring.pk, job.pk, "issued")
        Storeroom.post(Posts(job), f"pick {job}", "pick", (OnShelf(ring.pk, place.pk), -1), (bag, 1))
    Storeroom.post(Posts(jobs[1]), "use", "consume", (WithJob(ring.pk, jobs[1].pk, "issued"), -1))
    Job.objects.filter(pk=jobs[1].pk).update(stage="shipped", serial="H4-9999", customer="Hollin Quarry")
    says = sheet_of(clerk.get(f"/storeroom/suspects/{ring.pk}/"))
    assert "1 with jobs in build" in says
    assert "in closed pumps: H4-9999" in says
    assert "If what jobs hold of it is taken out as well" in says
    text = clerk.get(f"/storeroom/suspects/{ring.pk}/?export=csv").content.decode("utf-8-sig")
    assert "left the shop,J-3102,H4-9999,Hollin Quarry,OR-210-N90,NV-2139,1,used up in the pump" in text


class Posts:
    """Whom the ledger's tests post for."""

    def __init__(self, job):
        self.job, self.clerk = job, None


def test_lots_are_found_by_their_words(demo_shop, clerk):
    assert "OR-210-N90, lot NV-2139" in sheet_of(clerk.get("/storeroom/suspects/?q=2139"))
    assert "No lot has these words" in sheet_of(clerk.get("/storeroom/suspects/?q=nothing+like+it"))


def test_ring_is_looked_up_in_either_measure(demo_shop, clerk):
    metric = sheet_of(clerk.get("/storeroom/rings/?inside=18.4&section=2.63&unit=mm"))
    inch = sheet_of(clerk.get("/storeroom/rings/?inside=0.7244&section=0.1035&unit=in"))
    for says in (metric, inch):
        assert "OR-116-F90 FKM 90 A" in says
        assert "OR-M18-N70 NBR 70 A 14 on the shelf" in says
    wrong = clerk.get("/storeroom/rings/?inside=big&section=0")
    assert "That is no number: write it in digits" in text_of(wrong)
    assert "0.0 is too little: write 0.01 or more." in text_of(wrong)
    assert 'value="big"' in wrong.content.decode()


def test_part_says_what_is_easily_taken_for_it(demo_shop, reader):
    says = sheet_of(reader.get("/parts/OR-M18-N70/"))
    assert "Easily mistaken for" in says
    assert "inch against metric" in says


@pytest.mark.parametrize(
    ("address", "rows"), [("/storeroom/kits/", 8), ("/storeroom/suspects/", 0), ("/storeroom/kits/?only=unrecorded", 7)]
)
def test_lists_are_exported_as_shown(demo_shop, clerk, address, rows):
    glue = "&" if "?" in address else "?"
    answer = clerk.get(f"{address}{glue}export=csv")
    assert len(answer.content.decode("utf-8-sig").strip().splitlines()) == rows + 1
    book = clerk.get(f"{address}{glue}export=xlsx")
    assert book["Content-Type"].startswith("application/vnd")


@pytest.mark.django_db
def test_three_kits_and_thirty_take_the_same_number_of_statements(small_shop, clerk):
    kit, place = Item.objects.get(part_number="K-1"), Place.objects.get(place="A1")
    ring = Lot.objects.get(lot="L-1")

    def add(numbers):
        for number in numbers:
            made = Lot.objects.create(item=kit, lot=f"N-{number}")
            Balance.objects.create(lot=made, place=place, quantity=ONE)
            KitPiece.objects.create(kit_lot=made, item=ring.item, piece_lot=ring, quantity=2 * ONE, owed=ONE)

    addresses = ("/storeroom/kits/", "/kits/K-1/", "/storeroom/kits/pack/K-1/", f"/storeroom/suspects/{ring.pk}/")
    add(range(3))
    before = count_statements(clerk, addresses)
    add(range(3, 30))
    assert count_statements(clerk, addresses) == before


@pytest.mark.parametrize("address", ["/shortages/", "/shortages/?batch=Easter stop"])
def test_one_way_substitute_stands_where_the_part_is_short(demo_shop, reader, address):
    seat, other = (Item.objects.get(part_number=number) for number in ("SE-M", "SE-S"))
    Substitute.objects.create(item=seat, substitute=other, direction="one_way", note="invented for the test")
    assert "SE-S may stand in, one way only (invented for the test): " in sheet_of(reader.get(address))


def test_whether_a_kit_fits_is_drawn_in_two_columns_that_are_told_in_words_as_well(small_shop, reader):
    """Up to four pieces are drawn one by one, each group with its look and its words."""
    shown = reader.get("/kits/K-1/").content.decode()
    assert '<th scope="col">Needed, drawn</th><th scope="col">Kit, drawn</th>' in shown
    cells = "".join(re.findall(r'<td><span class="part-pieces">(.*?)</td>', shown, re.DOTALL))
    groups = re.findall(r'class="look-(\w+)">(.*?)<span class="visually-hidden">(.*?)</span>', cells, re.DOTALL)
    told = {
        (look, len(re.findall("<svg", pieces)), " ".join(says.split()).strip(" ,")) for look, pieces, says in groups
    }
    assert {("new", 3, "3 renewed"), ("new", 2, "2 in the kit"), ("lack", 1, "1 not in the kit")} <= told
    assert ("lack", 1, "310 mm not in the kit") in told, "what is measured is one symbol"
    assert "Drawn full: renewed, and in the kit" in shown
