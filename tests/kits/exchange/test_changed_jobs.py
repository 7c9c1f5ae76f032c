"""A list that makes a job another rebuild while parts lie ready for it."""

from datetime import date

import pytest

from kits.catalog.errors import Refusal
from kits.exchange.actions import keep_upload, load_upload
from kits.exchange.models import Upload
from kits.exchange.undo.actions import undo_upload
from kits.people.models import User
from kits.picking.actions import confirm_line, give_up_round
from kits.picking.changes.return_list import return_rows
from kits.schedule.models import Job
from tests.kits.exchange.books import book_file, check_sheets, load_sheets, only_problem
from tests.kits.picking.bench_shop import AT, BenchShop, full, line_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    return BenchShop()


@pytest.fixture
def made(shop):
    """A round for J-1, of which the nuts lie in the bag."""
    made = shop.start(shop.job("J-1"))
    nuts = line_of(made, "NUT")
    confirm_line(line=nuts, quantities=full(nuts), by=shop.clerk, at=AT, request_key="nuts")
    return made


def schedule(scope="both", on=date(2026, 3, 16), quantity=1, stage="expected", job="J-1"):
    columns = ["job", "pump", "scope", "build_date", "quantity", "stage"]
    return {"Schedule": [columns, [job, "PUMP", scope, on, quantity, stage]]}


@pytest.mark.parametrize("wanted", [{"scope": "one"}, {"quantity": 2}, {"stage": "cancelled"}])
def test_a_job_with_lines_to_pick_is_not_made_another_rebuild_by_a_list(made, wanted):
    problem = only_problem(check_sheets(schedule(**wanted)))
    assert (problem.sheet, problem.row, problem.column) == ("Schedule", 2, next(iter(wanted)))
    assert problem.reason == f"J-1 still has 2 lines to pick on round {made.pk}"
    assert problem.remedy == "book them, or give the round up, before the job is changed"
    assert not load_sheets(schedule(**wanted)).stored
    assert Job.objects.get().scope == "both"


def test_a_job_with_lines_to_pick_is_moved_by_a_list(made):
    assert load_sheets(schedule(on=date(2026, 3, 17))).stored


@pytest.mark.parametrize("wanted", [{"scope": "valve"}, {"stage": "cancelled"}])
def test_the_preview_says_what_a_changed_job_holds_for_nothing_and_it_is_on_the_return_list(shop, made, wanted):
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    says = "J-1 holds 4 of NUT in its bag for nothing from then on: the storeroom finds that on the return list."
    checked = check_sheets(schedule(**wanted))
    assert [says in remark.says for remark in checked.remarks] == [True]
    assert return_rows(shop.plan()) == [], "nothing is stored yet"
    assert load_sheets(schedule(**wanted)).stored
    assert [(row.part_number, row.quantity.text) for row in return_rows(shop.plan())] == [("NUT", "4")]


def test_a_list_that_changes_nothing_of_what_a_job_takes_says_nothing(shop, made):
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    assert check_sheets(schedule(on=date(2026, 3, 17))).remarks == ()
    shop.job("J-2")
    assert check_sheets(schedule(job="J-2", scope="one")).remarks == (), "its bag is empty"


def test_an_upload_is_not_taken_back_while_lines_are_open_for_a_job_that_it_changed(shop):
    job = shop.job("J-1")
    planner = User.objects.create_superuser("planner")
    upload = keep_upload(files=[book_file(schedule(scope="one"))], by=planner, at=AT)
    load_upload(upload=upload, by=planner, at=AT)
    made = shop.start(job)
    with pytest.raises(Refusal, match=rf"J-1 still has 3 lines to pick on round {made.pk}, so nothing was taken back"):
        undo_upload(upload=Upload.objects.get(), by=planner, at=AT)
    assert Job.objects.get().scope == "one"
    give_up_round(pick_round=made, by=shop.clerk, at=AT)
    undo_upload(upload=Upload.objects.get(), by=planner, at=AT)
    assert Job.objects.get().scope == "both"
