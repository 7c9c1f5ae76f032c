"""What pages write alike: days, amounts and marks, and where the lines of a drawing run."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template

from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.planning.sheets.items.curves import CurvePoint, Curves
from kits.planning.words.stretches import Stretch
from kits.web.drawings import draw_axis, draw_curves, draw_strip, mondays, tidy_step

AS_OF = date(2026, 3, 4)


def render(text, **context):
    return Template("{% load sheet %}" + text).render(Context({"as_of": AS_OF, **context}))


def test_day_is_short_with_its_full_date_beside_it():
    assert render("{% day on %}", on=date(2026, 3, 11)) == (
        '<time datetime="2026-03-11" title="Wednesday 11 March 2026">11 Mar'
        '<span class="visually-hidden">\u00a02026</span></time>'
    )


def test_day_of_another_year_shows_the_year():
    assert ">11 Mar 2027</time>" in render("{% day on %}", on=date(2027, 3, 11))


def test_moment_is_shown_as_the_day_of_the_shop(settings):
    settings.TIME_ZONE = "Pacific/Auckland"
    late_evening = datetime(2026, 3, 11, 20, 0, tzinfo=ZoneInfo("UTC"))
    assert "12 Mar" in render(
        "{% load tz %}{% timezone 'Pacific/Auckland' %}{% day on %}{% endtimezone %}", on=late_evening
    )


def test_no_day_is_nothing():
    assert render("{% day on %}", on=None) == ""


@pytest.mark.parametrize(
    ("amount", "shown"),
    [
        (Amount.of(12 * ONE, "each"), "12"),
        (Amount.of(310 * ONE, "mm"), "310&nbsp;mm"),
        (Amount.of(1_500_000, "g"), "1.5&nbsp;g"),
        (Amount.of(0, "each"), ""),
        (None, ""),
    ],
)
def test_amount_has_its_unit_and_nothing_is_blank(amount, shown):
    assert render("{{ amount|amount }}", amount=amount) == shown


def test_every_state_has_a_shape_of_its_own():
    shapes = {state: render("{% mark state %}", state=state) for state in ("ready", "waiting", "late", "short")}
    assert len(set(shapes.values())) == 4
    assert all('aria-hidden="true"' in shape for shape in shapes.values())


def test_strip_runs_from_parts_here_to_build_day():
    strip = draw_strip(Stretch("ready", date(2026, 3, 4), date(2026, 3, 18), date(2026, 3, 4), date(2026, 4, 1)))
    assert (strip.left, strip.right) == (strip.parts, strip.build) == (4, 120)


def test_strip_of_a_late_job_runs_the_other_way():
    strip = draw_strip(Stretch("late", date(2026, 3, 25), date(2026, 3, 18), date(2026, 3, 4), date(2026, 4, 1)))
    assert strip.build == strip.left < strip.right == strip.parts


def test_strip_without_a_known_day_draws_the_build_day_only():
    strip = draw_strip(Stretch("short", None, date(2026, 3, 18), date(2026, 3, 4), date(2026, 4, 1)))
    assert strip.parts is None
    assert strip.left == strip.right == strip.build


def test_strip_of_a_single_day_has_a_place():
    assert draw_strip(Stretch("ready", AS_OF, AS_OF, AS_OF, AS_OF)).build == 4


def test_strip_has_a_stroke_for_today_where_that_lies_on_it():
    stretch = Stretch("ready", date(2026, 3, 4), date(2026, 3, 18), date(2026, 3, 2), date(2026, 4, 1))
    assert draw_strip(stretch, AS_OF).today == draw_strip(stretch).parts
    assert draw_strip(stretch, date(2026, 4, 2)).today is None


def test_axis_shows_mondays_that_can_be_read():
    ticks = draw_axis(Stretch("ready", None, AS_OF, AS_OF, date(2026, 4, 17)), AS_OF).ticks
    assert [tick.says for tick in ticks] == ["9 Mar", "23 Mar", "6 Apr"]
    assert mondays(date(2026, 3, 10), date(2026, 3, 15)) == ()


@pytest.mark.parametrize(("top", "step"), [(6, 1), (7, 2), (30, 5), (31, 10), (100, 20), (1, 1)])
def test_scale_has_a_tidy_step_of_whole_pieces(top, step):
    assert tidy_step(top * ONE, ONE) == step * ONE


def curves(*points, gap_says=""):
    return Curves(
        points=tuple(CurvePoint(date(2026, 3, day), needed * ONE, held * ONE) for day, needed, held in points),
        rows=(),
        first_on=date(2026, 3, points[0][0]),
        last_on=date(2026, 3, points[-1][0] + 3),
        unit="",
        lacks="missing",
        gap_says=gap_says,
        says="ten needed, six in hand",
    )


def test_gap_is_drawn_where_more_is_needed_than_is_in_hand():
    picture = draw_curves(curves((4, 0, 6), (10, 10, 6), (14, 10, 16), gap_says="4 missing until 14 Mar"), AS_OF)
    assert len(picture.gaps) == 1
    gap = picture.gaps[0]
    assert gap.width > 0
    assert gap.height > 0
    assert picture.gap_label.x > gap.x + gap.width


def test_lines_that_end_together_keep_their_words_apart():
    picture = draw_curves(curves((4, 0, 6), (10, 6, 6)), AS_OF)
    assert abs(picture.needed_ends - picture.in_hand_ends) >= 15
    assert picture.gaps == ()


def test_picture_is_told_in_words():
    page = render("{% curves drawn %}", drawn=curves((4, 0, 6), (10, 10, 6), gap_says="4 missing"))
    assert 'role="img" aria-label="ten needed, six in hand"' in page
    assert "4 missing" in page
