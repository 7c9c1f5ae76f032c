"""Where the lines of a drawing run: the numbers come finished from the queries and become places on paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from bom.values import ONE
from kits.catalog.days.words import in_full, words_for_day
from kits.catalog.formats.in_force import formats
from kits.planning.sheets.build_days import BuildDay, BuildWeek
from kits.planning.sheets.items.curves import CurvePoint, Curves
from kits.planning.words.stretches import Stretch

STRIP_WIDTH = 240
STRIP_EDGE = 4
LABEL_WIDTH, WEEK_WIDTH = 52, 64
DAY_WIDTH, WEEK_HEAD, WEEK_TALL, WEEK_FOOT = 46, 34, 54, 32
SHORT_LABEL = len("28 Sep")


@dataclass(frozen=True, slots=True)
class Tick:
    """A place on an axis, and the word that stands there."""

    at: float
    says: str


@dataclass(frozen=True, slots=True)
class Axis:
    """The weeks above a column of strips."""

    width: int
    ticks: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """One job: ``left`` to ``right`` is slack or lateness, ``build`` and ``parts`` are the days that bound it."""

    width: int
    mark: str
    build: float
    parts: float | None
    left: float
    right: float
    weeks: tuple[float, ...]
    today: float | None = None


@dataclass(frozen=True, slots=True)
class WeekColumn:
    """One day of a week as a column: ``top`` is where its bar ends, ``sound`` where what the benches do ends in it."""

    day: BuildDay
    left: float
    middle: float
    top: float
    sound: float


@dataclass(frozen=True, slots=True)
class WeekPicture:
    """A week of columns over one ground line; ``line`` is the height of what the benches do, None without it."""

    width: int
    height: int
    ground: int
    column: int
    line: float | None
    columns: tuple[WeekColumn, ...]


@dataclass(frozen=True, slots=True)
class Share:
    """One part of a bar, drawn from ``left`` to ``right`` in the looks of a state."""

    mark: str
    left: float
    right: float
    count: int
    says: str


def draw_week(week: BuildWeek) -> WeekPicture:
    """A week, as tall as the fullest day of the weeks beside it."""
    unit = WEEK_TALL / week.tallest
    ground = WEEK_HEAD + WEEK_TALL
    columns = tuple(
        WeekColumn(
            day,
            left=place * DAY_WIDTH,
            middle=(place + 0.5) * DAY_WIDTH,
            top=round(ground - day.pumps * unit, 1),
            sound=round(ground - (day.pumps - day.over) * unit, 1),
        )
        for place, day in enumerate(week.days)
    )
    line = round(ground - week.benches * unit, 1) if week.benches else None
    return WeekPicture(7 * DAY_WIDTH, ground + WEEK_FOOT, ground, DAY_WIDTH, line, columns)


def draw_shares(shares: Sequence[tuple[str, int, str]], whole: int = 0) -> tuple[Share, ...]:
    """A bar divided by counts: mark, count and words of each part that is not empty.

    It is of the width of a strip, or less of it as the counts come to less than the ``whole``.
    """
    whole, left = whole or sum(count for _, count, _ in shares), 0.0
    drawn = []
    for mark, count, says in shares:
        if count:
            right = left + STRIP_WIDTH * count / whole
            drawn.append(Share(mark, round(left, 1), round(right, 1), count, says))
            left = right
    return tuple(drawn)


def place(on: date, stretch: Stretch) -> float:
    """Where a day lies across a strip."""
    days = max((stretch.last_on - stretch.first_on).days, 1)
    inner = STRIP_WIDTH - 2 * STRIP_EDGE
    return round(STRIP_EDGE + inner * (on - stretch.first_on).days / days, 1)


def mondays(first_on: date, last_on: date) -> tuple[date, ...]:
    """The days with which weeks begin, from the first day to the last."""
    start = formats().week_of(first_on + timedelta(days=6))
    return tuple(start + timedelta(days=7 * week) for week in range(max((last_on - start).days // 7 + 1, 0)))


def draw_strip(stretch: Stretch, today: date | None = None) -> Strip:
    """The line of one job, with a stroke for today where that lies on it."""
    build = place(stretch.build_on, stretch)
    parts = None if stretch.parts_on is None else place(stretch.parts_on, stretch)
    ends = (build, build if parts is None else parts)
    weeks = tuple(place(monday, stretch) for monday in mondays(stretch.first_on, stretch.last_on))
    now = place(today, stretch) if today and stretch.first_on <= today <= stretch.last_on else None
    return Strip(STRIP_WIDTH, stretch.mark, build, parts, min(ends), max(ends), weeks, now)


def draw_axis(stretch: Stretch, today: date | None) -> Axis:
    """The days above the strips, as many Mondays as can be read."""
    labels = labelled(mondays(stretch.first_on, stretch.last_on), today, LABEL_WIDTH, STRIP_WIDTH)
    return Axis(STRIP_WIDTH, tuple(Tick(place(day, stretch), says) for day, says in labels))


def labelled(days: Sequence[date], today: date | None, label: int, width: int) -> Iterator[tuple[date, str]]:
    """As many of some days as can be read on so wide an axis, with what stands there; ``label`` is one short day."""
    says = [in_full(day) if today is None else words_for_day(day, today) for day in days]
    longest = max(map(len, says), default=0)
    every = max(1, -(-len(days) * label * max(longest, SHORT_LABEL) // SHORT_LABEL // width))
    return zip(days[::every], says[::every], strict=True)


CURVE_WIDTH, CURVE_HEIGHT = 680, 290
LEFT, RIGHT, TOP, BOTTOM = 48, 96, 22, 30


@dataclass(frozen=True, slots=True)
class Gap:
    """Days on which more is needed than is in hand, as an area between the two curves."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class GapLabel:
    """The words of the widest gap, beside it where nothing else is drawn."""

    x: float
    y: float
    says: str


@dataclass(frozen=True, slots=True)
class CurvePicture:
    """Two cumulative step curves with their axes, in the units of the picture."""

    width: int
    height: int
    needed: str
    in_hand: str
    gaps: tuple[Gap, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    left: int
    right: int
    bottom: int
    needed_ends: float
    in_hand_ends: float
    gap_label: GapLabel | None
    missing: bool
    says: str


def draw_curves(curves: Curves, today: date | None) -> CurvePicture:
    """Needed against in hand as steps: the height between them is what is missing, the width how late it comes."""
    first, last = curves.first_on, curves.last_on
    days = max((last - first).days, 1)
    top = max(max((point.needed, point.in_hand)) for point in curves.points) or 1
    step = tidy_step(top, ONE if curves.whole else 1)
    ceiling = -(-top // step) * step

    def across(on: date) -> float:
        return round(LEFT + (CURVE_WIDTH - LEFT - RIGHT) * (on - first).days / days, 1)

    def up(height: int) -> float:
        return round(CURVE_HEIGHT - BOTTOM - (CURVE_HEIGHT - TOP - BOTTOM) * height / ceiling, 1)

    def steps(heights: list[tuple[date, int]]) -> str:
        path = f"M{across(first)} {up(heights[0][1])}"
        for on, height in heights:
            path += f"H{across(on)}V{up(height)}"
        return f"{path}H{across(last)}"

    gaps = tuple(
        Gap(across(here.on), up(here.needed), across(after) - across(here.on), up(here.in_hand) - up(here.needed))
        for here, after in pairs_to_end(curves)
        if here.needed > here.in_hand
    )
    ends = curves.points[-1]
    weeks = labelled(mondays(first, last), today, WEEK_WIDTH, CURVE_WIDTH - LEFT - RIGHT)
    needed_ends, in_hand_ends = spread(up(ends.needed), up(ends.in_hand))
    return CurvePicture(
        width=CURVE_WIDTH,
        height=CURVE_HEIGHT,
        needed=steps([(point.on, point.needed) for point in curves.points]),
        in_hand=steps([(point.on, point.in_hand) for point in curves.points]),
        gaps=gaps,
        across=tuple(Tick(across(week), says) for week, says in weeks),
        up=tuple(Tick(up(height), curves.figure(height)) for height in range(0, ceiling + 1, step)),
        left=LEFT,
        right=CURVE_WIDTH - RIGHT,
        bottom=CURVE_HEIGHT - BOTTOM,
        needed_ends=needed_ends,
        in_hand_ends=in_hand_ends,
        gap_label=label_gap(gaps, curves, CURVE_WIDTH - RIGHT, (needed_ends + in_hand_ends) / 2),
        missing=curves.lacks == "missing",
        says=curves.says,
    )


def label_gap(gaps: tuple[Gap, ...], curves: Curves, right: float, middle: float) -> GapLabel | None:
    """Where the words of the widest gap stand: at the right edge if it never closes, else beside what closes it."""
    if not gaps or not curves.gap_says:
        return None
    if curves.points[-1].needed > curves.points[-1].in_hand:
        return GapLabel(right + 8, middle + 4, curves.gap_says)
    widest = max(gaps, key=lambda gap: gap.height)
    closes = widest.x + widest.width
    for gap in gaps:
        closes = gap.x + gap.width if gap.x == closes else closes
    return GapLabel(closes + 8, widest.y + widest.height - 4, curves.gap_says)


def pairs_to_end(curves: Curves) -> list[tuple[CurvePoint, date]]:
    """Each step of the curves with the day on which the next one comes."""
    pairs = [(here, after.on) for here, after in pairwise(curves.points)]
    return [*pairs, (curves.points[-1], curves.last_on)]


def spread(one: float, other: float, apart: float = 15) -> tuple[float, float]:
    """Two label heights that do not print over each other."""
    if abs(one - other) >= apart:
        return one, other
    middle, half = (one + other) / 2, apart / 2
    return (middle - half, middle + half) if one <= other else (middle + half, middle - half)


def tidy_step(top: int, least: int) -> int:
    """A step of 1, 2 or 5 times ``least`` and a power of ten that divides a scale up to ``top`` into at most six."""
    size = least
    while True:
        for step in (size, 2 * size, 5 * size):
            if top <= 6 * step:
                return step
        size *= 10
