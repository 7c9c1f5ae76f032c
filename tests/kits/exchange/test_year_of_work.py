"""A stretch of invented work through the actions that people use leaves books that prove themselves."""

import pytest
from django.core.management import CommandError, call_command

from kits.demo.actions import store_bench_figures
from kits.demo.lead_tables import enter_lead_tables
from kits.demo.shop import make_sign_ins
from kits.demo.year_of_work import YearOfWork, movements_by_kind
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.models import Movement
from kits.stock.queries import ledger_differences
from tests.keeping import keeping_plans
from tests.kits.exchange.books import SHOP, load_sheets
from tests.kits.web.shops import load_demo

pytestmark = pytest.mark.django_db


def test_some_weeks_of_work_leave_books_that_prove_themselves():
    load_demo()
    store_bench_figures()
    enter_lead_tables(YearOfWork.moment)
    make_sign_ins()
    told = []
    year = YearOfWork(by=User.objects.get(username="clerk"), seed=3, jobs_a_week=4, tell=told.append)
    before = Movement.objects.count()
    with keeping_plans():
        tally = year.run(250)
    assert 250 <= Movement.objects.count() - before < 600
    assert ledger_differences() == []
    work = {"received", "lines", "counts", "moves", "pumps stripped", "jobs built", "pumps tested", "pumps shipped"}
    assert work <= tally.done.keys()
    for stage in ("built", "tested", "shipped"):
        assert not Job.objects.filter(stage=stage).exclude(steps__after=stage).exists(), "each came there by its step"
    assert {"pick", "consume", "receive", "move"} <= movements_by_kind().keys()
    assert told


def test_the_command_refuses_a_shop_of_ones_own():
    assert load_sheets(SHOP).stored
    with pytest.raises(CommandError, match="a shop of your own"):
        call_command("work_a_year", "--movements", "10")
