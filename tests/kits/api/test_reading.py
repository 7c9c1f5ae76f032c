"""What other programs read: lists, plan and movements, as the sheets and the command have them."""

import pytest

from bom.answers.rows import as_json
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.workbooks.dump import read_rows
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from kits.stock.models import Posting

pytestmark = pytest.mark.django_db


@pytest.fixture
def reader(small_shop, program_of):
    return program_of("Viewer")


def test_every_list_is_read_as_its_sheet_has_it(reader):
    named = reader.get("/lists").json()
    assert [one["name"] for one in named] == [layout.name for layout in LAYOUTS]
    for layout in LAYOUTS:
        page = reader.get(f"/lists/{layout.name}?limit=1000").json()
        assert page["count"] == len(page["rows"]) == len(read_rows(layout).rows)
        assert all(list(row) == [column.name for column in layout.columns] for row in page["rows"])
    assert reader.get("/lists/Schedule").json()["rows"][0]["job"] == "J-1"


def test_pages_of_a_list_follow_one_another_and_miss_nothing(reader):
    whole = reader.get("/lists/Items?limit=1000").json()["rows"]
    found, address = [], "/lists/Items?limit=3"
    while address:
        answer = reader.get(address)
        page = answer.json()
        found += page["rows"]
        assert ("Link" in answer.headers) is (page["next"] is not None)
        address = page["next"] and page["next"].removeprefix("/api/v1")
    assert found == whole
    assert len(whole) > 6


def test_the_plan_is_that_of_the_command(reader):
    assert reader.get("/plan").json() == as_json(plan_now())
    assert reader.get("/plan?batch=no-such").status_code == 404


def test_what_has_not_changed_is_not_sent_again(reader):
    for address in ("/lists", "/lists/Schedule", "/plan", "/movements"):
        first = reader.get(address)
        again = reader.get(address, If_None_Match=first.headers["ETag"])
        assert (again.status_code, again.content) == (304, b""), address
        assert again.headers["ETag"] == first.headers["ETag"]


def test_the_mark_of_a_list_changes_with_the_list_and_with_nothing_else(reader):
    from kits.catalog.caching.revisions import mark_shop

    jobs, lots = (reader.get(f"/lists/{name}").headers["ETag"] for name in ("Schedule", "Lots"))
    mark_shop()
    Job.objects.filter(job="J-1").update(priority=2)
    assert reader.get("/lists/Schedule").headers["ETag"] != jobs
    assert reader.get("/lists/Lots").headers["ETag"] == lots


def test_movements_come_in_their_order_each_once(reader):
    found, after = [], 0
    while True:
        page = reader.get(f"/movements?after={after}&limit=2").json()
        found += page["postings"]
        after = page["last"]
        if page["next"] is None:
            break
    assert [one["posting"] for one in found] == list(Posting.objects.order_by("pk").values_list("pk", flat=True))
    assert found
    assert reader.get(f"/movements?after={after}").json()["postings"] == []


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/lists/NoSuch", 404),
        ("/lists/../../etc/passwd", 404),
        ("/lists/Items?after=x", 422),
        ("/lists/Items?limit=0", 422),
        ("/movements?after=99999999999999999999", 422),
        ("/plan?through=yesterday", 422),
        ("/nothing/here", 404),
        ("/lists/Items'%20OR%201=1--", 404),
        ("/lists/%3Cscript%3Ealert(1)%3C/script%3E", 404),
    ],
)
def test_what_cannot_be_read_is_a_problem_in_one_sentence(reader, address, status):
    answer = reader.get(address)
    assert answer.status_code == status
    assert answer.headers["Content-Type"] == "application/problem+json"
    said = answer.json()
    assert said["status"] == status
    assert said["detail"].endswith(".")
    assert len(said["number"]) == 8
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
