"""Single numbers of a plan taken apart, on shops small enough to be worked out by hand."""

from fractions import Fraction

import pytest

from bom.explain import Number, explain
from bom.plan import plan
from bom.values import ONE
from tests.bom.small_shops import inspect, job, make_shop, march, offer, renew, verdict


def why(shop, column, part, table="demand"):
    return explain(plan(shop), Number(table, column, (part,)))


def test_a_verdict_and_what_its_group_renews_are_told_apart():
    """Two balls stand together; one is found worn, both are renewed."""
    lines = [inspect("PUMP", "ball", 35, 2, renew_together="pair")]
    shop = make_shop(lines, verdicts=[verdict("PUMP 1 / ball 1", "ball")], jobs=[job(stage="stripped")])
    (of_job,) = why(shop, "sure", "ball").parts
    assert [(part.says, part.value // ONE, part.parts[0].fact("where")) for part in of_job.parts] == [
        ("verdict renew", 1, "pump 1 / PUMP 1 / ball 1"),
        ("renewed with its group", 1, "pump 1 / PUMP 1 / ball 2"),
    ]


def test_a_learned_rate_says_what_it_was_learned_from():
    """Five pumps, five balls looked at, two found worn, 35 in 100 entered: (10 x 0.35 + 2) / (10 + 5)."""
    lines = [inspect("PUMP", "ball", 35)]
    past = [job(f"P-{n}", march(2), stage="shipped") for n in range(5)]
    seen = [verdict("PUMP 1 / ball", "ball", "renew" if n < 2 else "keep", name=f"P-{n}") for n in range(5)]
    shop = make_shop(lines, jobs=[*past, job()], verdicts=seen)
    rate = next(node for node in why(shop, "planned_wear", "ball").nodes() if node.says == "rate learned")
    assert (rate.value, rate.fact("pumps")) == (Fraction(11, 30), 5)
    assert [(part.says, part.value) for part in rate.parts] == [
        ("found worn", 2),
        ("inspected", 5),
        ("entered per 100", 35),
        ("the rate entered counts as", 10),
    ]


def test_the_published_rounding_stands_beside_the_cover():
    """48 balls at 35 in 100: 16.8 expected, which tables round to 17; 21 are enough for 90 of 100 such batches."""
    shop = make_shop([inspect("PUMP", "ball", 35, 48)])
    planned = why(shop, "planned_wear", "ball")
    (published,) = planned.beside
    assert (planned.value // ONE, published.value) == (21, 17)
    cover = planned.parts[0].parts[0]
    assert cover.part("chance that it is enough").value >= 0.9 > cover.part("chance that one fewer is enough").value


def test_offers_that_are_not_chosen_say_when_they_would_come_and_for_how_much():
    """Lantry is dearer and in time, Norrvik cheaper and late: in time goes first."""
    offers = [
        offer("ring", "2.00", lead_days=20),
        offer("ring", "5.00", supplier="Lantry", lead_days=3, transit_days=2),
    ]
    shop = make_shop([renew("PUMP", "ring")], offers=offers)
    chosen, other = why(shop, "supplier", "ring", "buy").parts
    assert (chosen.value, chosen.fact("total"), chosen.fact("late")) == ("Lantry", "5.00", None)
    assert (other.value, other.fact("total"), other.fact("late")) == ("Norrvik", "2.00", "late")
    assert [part.value for part in why(shop, "order_by", "ring", "buy").part("lead time").parts] == [3, 2]


def test_a_table_column_or_row_that_is_not_there_is_refused():
    found = plan(make_shop([renew("PUMP", "ring")]))
    for table, column, row in (
        ("nothing", "sure", "ring"),
        ("demand", "nothing", "ring"),
        ("demand", "sure", "nothing"),
        ("buy", "net", "PUMP"),
        ("jobs", "status", "J-9"),
    ):
        with pytest.raises(KeyError):
            explain(found, Number(table, column, (row,)))
