"""The pages show everybody what is theirs to load, and send nobody through a door that is closed to them."""

import re
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from kits.catalog.models import Item
from kits.exchange.models import Upload, UploadState
from kits.people.roles import ROLES
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of, text_of

pytestmark = pytest.mark.django_db
ONE_MORE = b"part_number,description,kind,stock_unit\nBA-2,ball 1/4,part,each\n"
CLOSED = "The sheet Items is for a service lead or an administrator to load."


def sign_in(client, role):
    client.force_login(person_of(role))
    return client


def send(browser, content=ONE_MORE, name="items.csv"):
    answer = browser.post("/upload/", {"lists": [SimpleUploadedFile(name, content)]}, follow=True)
    return sheet_of(answer)


def test_each_role_is_told_what_it_may_load(small_shop, client):
    for role in ROLES:
        page = sign_in(client, role.name).get("/upload/")
        if not role.loads:
            assert page.status_code == 403, "whoever only reads brings nothing in"
            continue
        offered = re.findall(r'name="replaced" value="(\w+)"', page.content.decode())
        told = re.search(r"You may load ([\w, ]+);", sheet_of(page)).group(1)
        assert set(offered) == set(told.split(", ")) == set(role.loads)


def test_the_page_of_all_sheets_says_for_whom_each_is(small_shop, client):
    page = sheet_of(sign_in(client, "Purchasing").get("/upload/sheets/"))
    assert "Verdicts is for a planner, a service lead or an administrator to load." in page
    assert "Settings is for an administrator to load." in page


def test_a_purchaser_is_refused_a_list_of_items_by_its_name(small_shop, client):
    page = send(sign_in(client, "Purchasing"))
    assert "1 problem: nothing was stored." in page
    assert "it is for a service lead or an administrator to load leave the sheet out, or ask one of them" in page


def test_who_may_not_load_it_sees_the_preview_of_another_without_its_buttons(small_shop, client):
    send(sign_in(client, "Service lead"))
    kept = Upload.objects.get()
    sign_in(client, "Purchasing")
    page = client.get(f"/upload/{kept.pk}/")
    assert "BA-2 new" in text_of(page)
    assert "It is not yours to load: Items is for a service lead or an administrator to load." in sheet_of(page)
    assert "Load these lists" not in sheet_of(client.get(f"/upload/{kept.pk}/"))
    for step in ({"load": "1"}, {"withdraw": "1"}):
        answer = client.post(f"/upload/{kept.pk}/confirm/", step)
        assert answer.status_code == 403
        assert CLOSED in text_of(answer)
    kept.refresh_from_db()
    assert kept.state == UploadState.CHECKED
    assert not Item.objects.filter(part_number="BA-2").exists()


def test_who_may_not_load_it_cannot_take_it_back(small_shop, client):
    send(sign_in(client, "Service lead"))
    kept = Upload.objects.get()
    client.post(f"/upload/{kept.pk}/confirm/", {"load": "1"})
    sign_in(client, "Planner")
    assert "Take upload" not in sheet_of(client.get(f"/upload/{kept.pk}/"))
    answer = client.post(f"/upload/{kept.pk}/undo/")
    assert (answer.status_code, CLOSED in text_of(answer)) == (403, True)
    assert Item.objects.filter(part_number="BA-2").exists()


@pytest.mark.parametrize(
    ("role", "address", "says"),
    [
        (
            "Purchasing",
            "/upload/paste/Schedule/",
            "The sheet Schedule is for a planner, a service lead or an administrator to load.",
        ),
        ("Planner", "/upload/paste/Structure/", "The sheet Structure is for a service lead or"),
        ("Planner", "/upload/indented/", "The sheet Structure is for a service lead or"),
    ],
)
def test_rows_are_pasted_only_into_ones_own_sheets(small_shop, client, role, address, says):
    sign_in(client, role)
    for ask in (client.get, client.post):
        answer = ask(address)
        assert (answer.status_code, says in text_of(answer)) == (403, True)
    assert f'href="{address}"' not in client.get("/upload/").content.decode()


def test_a_sheet_of_others_cannot_be_ticked_to_be_replaced(small_shop, client):
    asked = {"lists": [SimpleUploadedFile("offers.csv", b"supplier,part_number\n")], "replaced": ["Items"]}
    answer = sign_in(client, "Purchasing").post("/upload/", asked)
    assert answer.status_code == 422
    assert "Items is no sheet that you may replace" in sheet_of(answer)


def test_the_readme_tells_the_same_cut_of_the_work():
    """The table of rights is told once more in the README, for those who have no site yet."""
    told = dict(re.findall(r"^\| (\w[\w ]+?) \| ([\w, ]+?) \|$", Path("README.md").read_text(), re.MULTILINE))
    cut = [role for role in ROLES if role.loads and role.name != "Administrator"]
    assert {role.name: role.loads for role in cut} == {role.name: tuple(told[role.name].split(", ")) for role in cut}
    assert told["Administrator"] == "all of these, and Settings"
