"""Days on pages: of another year than today's always with their year, and last uses always."""

import re
from datetime import date

import pytest

from bom.questions.feasible import EarliestBuild
from kits.planning.questions.rebuild_counts import first_day_says
from kits.planning.words.states import state_of_job
from kits.planning.words.stretches import Stretch
from kits.schedule.models import Job
from kits.stock.models import Lot
from kits.web.drawings import draw_axis
from tests.kits.web.shops import sheet_of

TODAY = date(2026, 3, 4)


def seen(answer):
    """The days of a page as the eye has them, without what is only heard."""
    return [re.sub(r"<span.*", "", shown) for shown in re.findall(r"<time[^>]*>(.*?)</time>", answer.content.decode())]


@pytest.mark.django_db
def test_day_of_another_year_has_it_in_lists_and_sentences(small_shop, reader):
    Job.objects.filter(job="J-2").update(build_on=date(2027, 3, 24))
    batch = reader.get("/batches/spring/")
    assert {"16 Mar", "24 Mar 2027"} <= set(seen(batch))
    assert "J-2, 24 Mar 2027: P-1, full" in sheet_of(batch), "the job to be tried"


def test_sentence_about_a_day_of_another_year_has_it():
    first = EarliestBuild("J", date(2027, 3, 24), "short", TODAY, date(2026, 3, 9), 9, None, False, ())
    assert first_day_says(first, TODAY) == (
        "Could be built from 9 Mar on if what is missing is ordered today: 9 working days to spare before 24 Mar 2027."
    )
    facts = {"status": "short", "stage": "here", "to_inspect": 0, "days_late": 0, "orders_overdue": ()}
    state = state_of_job(**facts, parts_on=date(2027, 1, 4), order_by=date(2027, 1, 2), as_of=TODAY)
    assert (state.says, state.besides) == ("short, in time if ordered by 2 Jan 2027", "parts here on 4 Jan 2027")


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/parts/OR-014/", "/storeroom/", "/storeroom/lots/{lot}/", "/storeroom/worth/"])
def test_last_use_of_this_year_has_its_year(small_shop, reader, address):
    lot = Lot.objects.get(lot="L-1")
    lot.cure, lot.cure_on, lot.printed_last_use_on = "", None, date(2026, 10, 31)
    lot.save()
    assert "31 Oct 2026" in seen(reader.get(address.format(lot=lot.pk)))


@pytest.mark.django_db
def test_page_that_does_not_say_its_day_writes_every_year(small_shop, reader):
    reader.post("/upload/", {})
    assert not [shown for shown in seen(reader.get("/upload/")) if not re.search(r"\d{4}$", shown)]


def test_axis_has_the_year_of_another_year_and_room_for_it():
    november = date(2026, 11, 4)
    axis = draw_axis(Stretch("ready", None, november, november, date(2027, 2, 19)), november)
    assert [tick.says for tick in axis.ticks] == ["9 Nov", "21 Dec", "1 Feb 2027"]
    assert [tick.says for tick in draw_axis(Stretch("ready", None, TODAY, TODAY, date(2026, 4, 17)), None).ticks] == [
        "9 Mar 2026",
        "30 Mar 2026",
    ]
