"""How sure were we, from the first verdict to the page; over weeks of invented work it comes near what was said."""

import pytest

from bom.questions.how_sure import spread
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.models import Setting
from kits.catalog.queries import read_calendar, read_settings
from kits.demo.shop import make_sign_ins
from kits.demo.year_of_work import YearOfWork
from kits.people.models import User
from kits.planning.desk.actions import keep_expected_wear
from kits.planning.desk.how_sure import how_sure, wear_lists
from kits.planning.models import ExpectedWear
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from kits.schedule.words import Stage
from tests.keeping import keeping_plans
from tests.kits.exchange.books import load_sheets
from tests.kits.web.shops import load_demo, load_small

pytestmark = pytest.mark.django_db
SIGMAS = 3.3
"""A sum of independent events lies further off than this many standard deviations about once in 1 000 times (normal
approximation of the Poisson binomial distribution; recalled from memory)."""


def verdicts(*said):
    rows = [["J-1", f"pump 1 / E-1 {end} / CK-1 {check} / ball", "BA-1", word] for (end, check), word in said]
    return {"Verdicts": [["job", "where", "part_number", "verdict"], *rows]}


ALL = [((end, check), "renew" if (end, check) == (1, 1) else "keep") for end in (1, 2) for check in (1, 2)]


def test_what_was_expected_is_kept_with_the_first_verdict_and_stays():
    load_small()
    assert load_sheets(verdicts(ALL[0])).stored
    kept = ExpectedWear.objects.get()
    assert (kept.job.job, kept.item.part_number, kept.events) == ("J-1", "BA-1", [[4, 0.35, 1]])
    assert load_sheets(verdicts(*ALL[1:])).stored
    assert ExpectedWear.objects.get().pk == kept.pk
    assert keep_expected_wear() == 0


def test_a_pump_counts_once_it_is_built():
    load_small()
    load_sheets(verdicts(*ALL))
    assert not wear_lists(plan_now())
    Job.objects.filter(job="J-1").update(stage="built")
    load_sheets({"Settings": [["name", "value"], ["staging_days", "1"]]})
    (((part, _), found),) = wear_lists(plan_now()).items()
    assert (part, found.positions, found.planned, found.found, found.enough) == ("BA-1", 4, 3, 1, True)


class WeeksOfOpening(YearOfWork):
    """Weeks in which pumps come, are opened and put together; wear is not asked what was bought or picked."""

    def leave(self, today):
        """Not done in these weeks."""

    order = receive = pick = send_out = keep_the_shelf = leave

    def load(self, sheet, rows):
        """The day is turned where it stands."""
        if sheet != "settings":
            return super().load(sheet, rows)
        mark_shop()
        for row in rows:
            Setting.objects.filter(name=row["name"]).update(value=row["value"])

    def build(self, today):
        mark_shop()
        Job.objects.filter(stage=Stage.STRIPPED, build_on__lte=today).update(stage=Stage.BUILT)


def test_weeks_of_invented_work_come_near_what_was_said():
    """Each list is enough with its own stated chance, so their count is a sum of independent events."""
    load_demo()
    make_sign_ins()
    weeks = WeeksOfOpening(by=User.objects.get(username="clerk"), seed=3, jobs_a_week=4, tell=str)
    today, calendar = read_settings().today, read_calendar(read_settings())
    with keeping_plans():
        for _ in range(29):
            weeks.work_day(today)
            today = calendar.forward(today, 1)
    assert not weeks.tally.refused
    lists = list(wear_lists(plan_now()).values())
    assert len(lists) >= 150
    said, deviation = spread(lists)
    enough = sum(one.enough for one in lists)
    assert abs(enough - said) <= SIGMAS * deviation
    assert said / len(lists) >= 0.9
    assert how_sure(plan_now()).enough == enough
