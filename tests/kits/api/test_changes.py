"""The feed: whoever follows it holds every list as it stands, whatever was done, and by whom."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits.api import kept_lists
from kits.api.actions import find_difference
from kits.api.kept_lists import all_lists_now
from kits.catalog.caching.revisions import mark_catalog, mark_shop, read_marks
from kits.exchange.columns.layouts import LAYOUTS
from kits.exchange.sheets.registry import SHEETS
from kits.schedule.models import Job
from tests.kits.api.conftest import Program
from tests.kits.api.test_writing import count_of, job_row
from tests.kits.persons import person_of
from tests.kits.web.shops import load_demo, load_small
from tests.kits.web.test_statements import add_rows

pytestmark = pytest.mark.django_db
OF_THE_CATALOG = {sheet.name for sheet in SHEETS if sheet.of_the_catalog}


class Follower:
    """A program that keeps a copy of every list, and follows what changed."""

    def __init__(self, program):
        self.program, self.mark, self.rows = program, 0, {}

    def follow(self, limit=50):
        told, address = [], f"/changes?since={self.mark}&limit={limit}"
        while address:
            answer = self.program.get(address)
            assert answer.status_code == 200, answer.json()
            page = answer.json()
            for one in page["changes"]:
                place = one["list_name"], tuple(one["key"].values())
                assert one["gone"] is (one["row"] is None)
                if one["gone"]:
                    self.rows.pop(place, None)
                else:
                    self.rows[place] = one["row"]
                told.append((one["list_name"], *one["key"].values()))
            self.mark, address = page["mark"], page["next"] and page["next"].removeprefix("/api/v1")
        return told

    def lists(self):
        return {
            layout.name: sorted((row for (name, _), row in self.rows.items() if name == layout.name), key=str)
            for layout in LAYOUTS
        }


def lists_of(program):
    return {
        layout.name: sorted(program.get(f"/lists/{layout.name}?limit=1000").json()["rows"], key=str)
        for layout in LAYOUTS
    }


def test_whoever_follows_holds_every_list_of_the_demo(db, program_of):
    load_demo()
    program = program_of("Viewer")
    follower = Follower(program)
    told = follower.follow(limit=1000)
    assert follower.lists() == lists_of(program)
    assert len(told) == len(set(told)) > 500
    assert follower.follow() == []


def test_each_change_is_told_once_with_what_is_gone(small_shop, program_of):
    chief = program_of("Administrator")
    follower = Follower(chief)
    follower.follow()
    row = job_row(chief)["rows"][0]
    chief.post(
        "/lists/Schedule?load=true", {"rows": [{**row, "job": "J-NEW"}, {**row, "priority": 2}]}, key="feed-0001"
    )
    assert sorted(follower.follow()) == [("Schedule", "J-1"), ("Schedule", "J-NEW")]
    chief.post("/movements", count_of(9), key="feed-0002")
    assert {name for name, *_ in follower.follow()} == {"Lots"}
    others = [one for one in chief.get("/lists/Schedule").json()["rows"] if one["job"] not in ("J-1", "J-NEW")]
    chief.post("/lists/Schedule?load=true", {"rows": [row, *others], "replace": True}, key="feed-0003")
    assert sorted(follower.follow()) == [("Schedule", "J-1"), ("Schedule", "J-NEW")]
    assert not Job.objects.filter(job="J-NEW").exists()
    assert follower.lists() == lists_of(chief)
    chief.post("/lists/Schedule?load=true", {"rows": [{**row, "job": "J-NEW"}]}, key="feed-0004")
    assert follower.follow() == [("Schedule", "J-NEW")]
    assert follower.lists() == lists_of(chief)


def test_a_program_begins_with_the_mark_of_now(small_shop, program_of):
    program = program_of("Viewer")
    first = program.get("/changes").json()
    assert first["changes"] == []
    assert program.get(f"/changes?since={first['mark']}").json()["changes"] == []
    assert program.get(f"/changes?since={first['mark'] + 1}").status_code == 409
    assert program.get("/changes?since=-1").status_code == 422


@pytest.mark.django_db(transaction=True)
def test_after_a_posting_no_list_of_the_catalog_is_read_again_and_after_a_load_it_is(monkeypatch):
    load_small()
    chief, read = Program(person_of("Administrator")), []
    really = kept_lists.read_rows
    monkeypatch.setattr(kept_lists, "read_rows", lambda layout: read.append(layout.name) or really(layout))
    follower = Follower(chief)
    follower.follow()
    assert set(read) == {layout.name for layout in LAYOUTS}
    read.clear()
    assert chief.post("/movements", count_of(9), key="kept-0001").status_code == 201
    assert {name for name, *_ in follower.follow()} == {"Lots"}
    assert set(read) == {layout.name for layout in LAYOUTS} - OF_THE_CATALOG
    row = next(row for row in chief.get("/lists/Items").json()["rows"] if row["part_number"] == "OR-014")
    sent = {"rows": [{**row, "description": "ring of another name"}]}
    assert chief.post("/lists/Items?load=true", sent, key="kept-0002").status_code == 201
    assert follower.follow() == [("Items", "OR-014")]
    assert follower.lists() == lists_of(chief)


def test_only_a_list_that_is_another_is_looked_through(small_shop, program_of):
    chief = program_of("Administrator")
    chief.get("/changes?since=0")
    assert find_difference(all_lists_now()).tags == {}
    chief.post("/movements", count_of(9), key="looks-0001")
    found = find_difference(all_lists_now())
    assert (list(found.tags), len(found.rows)) == (["Lots"], 1)


def test_asking_for_changes_makes_no_plan_out_of_date(small_shop, program_of):
    program, before = program_of("Viewer"), read_marks()
    program.get("/changes?since=0")
    assert read_marks() == before


def test_reading_takes_the_same_number_of_statements_for_three_rows_and_thirty(small_shop, program_of):
    program = program_of("Viewer")

    def add_more(numbers):
        mark_catalog()
        mark_shop()
        add_rows(numbers)

    def statements(address):
        program.get(address)
        with CaptureQueriesContext(
            connection,
        ) as found:
            assert program.get(address).status_code == 200
        return len(found)

    addresses = [
        "/lists",
        "/lists/Items?limit=1000",
        "/lists/Lots?limit=1000",
        "/plan",
        "/movements",
        "/changes?since=0&limit=1000",
    ]
    add_more(range(1, 4))
    few = {address: statements(address) for address in addresses}
    add_more(range(4, 31))
    assert {address: statements(address) for address in addresses} == few
