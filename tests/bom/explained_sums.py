"""Whether the parts of an explanation reach its value, rule by rule, counted the slow way."""

from datetime import date
from fractions import Fraction
from math import isclose, prod

from bom.explain import Rule
from bom.values import ONE
from tests.oracle.calendar import Calendar
from tests.oracle.wear import CERTAIN, add, after_spares, at_most

STATES = ("ready", "waiting", "late", "short")
CLOSE = 1e-9


def breaches(why, shop):
    """Every node below a number whose parts do not reach its value."""
    check = _Check(Calendar(shop.workdays, shop.holidays))
    found = [f"{node.says} {node.value} by {node.rule}: {node.parts}" for node in why.nodes() if not check.holds(node)]
    return [*found, *(f"cover {node.value}" for node in why.nodes() if not check.covers(node))]


class _Check:
    def __init__(self, calendar):
        self.calendar = calendar

    def holds(self, node):
        if node.rule is Rule.GIVEN:
            return not node.parts
        return RULES[node.rule](self, node, [part.value for part in node.parts])

    def covers(self, node):
        """Each cover of the planned wear is the smallest that is enough, by the chances listed beside it."""
        total, reached = CERTAIN, 0
        for day in node.parts if node.says == "planned wear" else ():
            cover = day.parts[0]
            if cover.rule is not Rule.COVER:
                return True
            for job in cover.beside:
                total = add(total, worn(job))
            sure = Fraction(cover.part("how sure").value) - Fraction(1, 10**12)
            count = cover.value // ONE
            enough = at_most(total, count) >= sure - Fraction(1, 10**12)
            if not enough or (count > reached and at_most(total, count - 1) >= sure + Fraction(1, 10**12)):
                return False
            if not isclose(cover.part("chance that it is enough").value, at_most(total, count), abs_tol=CLOSE):
                return False
            reached = count
        return True

    def enough(self, node, values):
        total = CERTAIN
        for job in node.parts[1:]:
            total = add(total, worn(job))
        if node.value is None:
            return True
        return isclose(node.value, at_most(total, values[0] // ONE) if values[0] >= 0 else 0, abs_tol=CLOSE)

    def back(self, node, values):
        return node.value == (None if None in values else self.of(node).backward(*values))

    def forward(self, node, values):
        return node.value == (None if None in values else self.of(node).forward(*values))

    def of(self, node):
        """The shop's calendar, or that of a supplier who closes."""
        first = node.fact("closed_from")
        return self.calendar if first is None else self.calendar.closed(first, node.fact("closed_to"))

    def working_days(self, node, values):
        return node.value == (None if None in values else self.calendar.between(*values))


def worn(job):
    """How many of an item one job may find worn, beyond its spares."""
    total, spares = CERTAIN, 0
    for part in job.beside:
        if part.says == "spares":
            spares = part.value // ONE
            continue
        for _ in range(part.fact("places")):
            total = add(total, {0: 1 - part.value, part.fact("pieces"): part.value} if part.value else CERTAIN)
    return after_spares(total, spares)


def total_of(node):
    return sum(-part.value if part.less else part.value for part in node.parts)


def same(value, wanted):
    return isclose(value, wanted, rel_tol=CLOSE, abs_tol=CLOSE) if isinstance(value, float) else value == wanted


def packs(node, values):
    net, size, fewest, step = values
    return (
        node.value * size >= net
        and node.value >= fewest
        and node.value % step == 0
        and (node.value - step < fewest or (node.value - step) * size < net)
    )


def largest(values):
    return None if None in values else max(values)


def smallest(values):
    return None if None in values or not values else min(values)


def packed(node, values):
    contents, packed_on, need = values
    if contents == "short":
        return node.value == "short"
    return node.value == ("late" if packed_on is None or packed_on > need else "waiting")


def learned(node, values):
    found, inspected, *prior = values
    entered, weight = prior or (0, 0)
    return node.value == (Fraction(entered) / 100 * weight + found) / (weight + inspected)


def cover(node, _values):
    sure, enough, fewer, before = (part.value for part in node.parts)
    smaller = node.value // ONE == before or fewer < sure - 1e-12
    return enough >= sure - 1e-12 and smaller and node.value >= before * ONE


def first_day_short(node, _values):
    asked, usable, promised = (node.part(n).value for n in ("asked for by then", "usable lots", "promised by then"))
    if len(node.parts) == 3:
        return asked > usable + promised
    earlier, coming = node.part("asked for the day before").value, node.part("promised the day before").value
    return asked > usable + promised and earlier <= usable + coming


def advice(node, values):
    need, arrives, order_by, strip = values
    if need is None or arrives is None:
        return node.value is None
    if arrives > need:
        return node.value == "only_if_found"
    return node.value == ("decide_after_strip" if strip is not None and order_by >= strip else None)


RULES = {
    Rule.SUM: lambda _, node, values: same(node.value, total_of(node)),
    Rule.NOT_BELOW_ZERO: lambda _, node, values: same(node.value, max(0, total_of(node))),
    Rule.PRODUCT: lambda _, node, values: same(node.value, prod(values)),
    Rule.SHARE: lambda _, node, values: 0 <= node.value <= total_of(node),
    Rule.FIRST: lambda _, node, values: node.value == values[0],
    Rule.LARGEST: lambda _, node, values: node.value == largest(values),
    Rule.SMALLEST: lambda _, node, values: node.value == smallest(values),
    Rule.HOW_MANY: lambda _, node, values: node.value == len(values),
    Rule.BACK: _Check.back,
    Rule.FORWARD: _Check.forward,
    Rule.WORKING_DAYS: _Check.working_days,
    Rule.ROUNDED_UP: lambda _, node, values: node.value * values[1] >= values[0] > (node.value - 1) * values[1],
    Rule.WHOLE_PACKS: lambda _, node, values: packs(node, values),
    Rule.ROUNDED: lambda _, node, values: node.value == round(sum(map(Fraction, values))),
    Rule.HALF_UP: lambda _, node, values: node.value == int(sum(values) + Fraction(1, 2)),
    Rule.PER_HUNDRED: lambda _, node, values: node.value == Fraction(values[0]) / 100,
    Rule.LEARNED: lambda _, node, values: learned(node, values),
    Rule.TOGETHER: lambda _, node, values: node.value == 1 - prod((1 - p for p in values), start=Fraction(1)),
    Rule.COVER: lambda _, node, values: cover(node, values),
    Rule.ENOUGH: _Check.enough,
    Rule.SURE_FIRST: lambda _, node, values: node.value == 0 and bool(values) and min(values) > 0,
    Rule.WORST: lambda _, node, values: node.value == STATES[max(map(STATES.index, values), default=0)],
    Rule.PACKED: lambda _, node, values: packed(node, values),
    Rule.ANY: lambda _, node, values: node.value is bool(node.parts),
    Rule.FIRST_DAY_SHORT: lambda _, node, values: first_day_short(node, values),
    Rule.ADVICE: lambda _, node, values: advice(node, values),
}


def as_shown(value, unit, number):
    """A value as the rows of `bom.answers.rows` show it; ``number`` turns millionths into stock units."""
    if unit == "pieces":
        return number(value)
    if isinstance(value, date):
        return value.isoformat()
    return value
