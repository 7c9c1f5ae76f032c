"""What somebody tries who means harm: foreign ways back, old keys, scripts, paths, statements.

The list follows the top ten of the Open Worldwide Application Security Project (2021): injection, broken access control
(`test_every_door.py` asks each address as each role, and from another site), identification failures; named from
memory.
"""

import pytest

from kits.catalog.models import Item
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.models import Lot, Place
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
PASSWORD = "brass and rings 12"
SCRIPT = '"><script>alert(1)</script>'
STATEMENT = "x' OR 1=1; DROP TABLE stock_lot; --"


@pytest.mark.parametrize(
    "away", ["https://example.com/", "//example.com/", "/\\example.com", "javascript:alert(1)", "https:example.com"]
)
def test_nobody_is_sent_to_another_site_after_signing_in(client, away):
    person_of("Planner", "pat", password=PASSWORD)
    answer = client.post("/sign-in/", {"username": "pat", "password": PASSWORD, "next": away})
    assert (answer.status_code, answer.url) == (302, "/")


def test_signing_in_gives_a_key_that_nobody_knew_before(client):
    person_of("Planner", "pat", password=PASSWORD)
    client.get("/sign-in/")
    session = client.session
    session["planted"] = "1"
    session.save()
    before = client.cookies["sessionid"].value
    client.post("/sign-in/", {"username": "pat", "password": PASSWORD})
    assert client.cookies["sessionid"].value != before


@pytest.mark.parametrize(
    "page",
    ["/", "/schedule/", "/job-list/", "/storeroom/", "/pumps-and-parts/?kind=part", "/parts/OR-014/", "/jobs/J-1/"],
)
def test_a_script_in_a_text_is_text(small_shop, reader, page):
    Item.objects.update(description=SCRIPT, notes=SCRIPT)
    Job.objects.update(customer=SCRIPT)
    Lot.objects.update(maker_batch=SCRIPT)
    Place.objects.filter(place="A1").update(place=SCRIPT)
    User.objects.update(first_name=SCRIPT)
    answer = reader.get(page)
    assert answer.status_code == 200
    assert b"<script>alert(1)" not in answer.content


@pytest.mark.parametrize(
    "page", ["/search/?q=", "/job-list/?find=", "/job-list/?sort=", "/storeroom/movements/?sort=-"]
)
def test_a_statement_in_an_address_is_a_word(small_shop, reader, page):
    before = Lot.objects.count()
    for typed in (STATEMENT, SCRIPT):
        answer = reader.get(page + typed)
        assert answer.status_code == 200
        assert b"<script>alert(1)" not in answer.content
    assert Lot.objects.count() == before


@pytest.mark.parametrize(
    "path",
    [
        "/static/../manage.py",
        "/static/%2e%2e/manage.py",
        "/static/..%2f..%2fshop.env",
        "/static//etc/passwd",
        "/shop.env",
    ],
)
def test_no_path_leads_out_of_what_is_served(client, path):
    answer = client.get(path)
    assert answer.status_code in (302, 404)
    assert b"DJANGO_SETTINGS" not in answer.content
