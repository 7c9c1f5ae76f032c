"""The line that balances, and why each job asks: held against the plan, the oracle's pieces, and by hand."""

from collections import Counter

import pytest

from bom.answers.rows import as_json
from bom.explain import balances, needs_of, shortfalls, why_asked
from bom.plan import plan
from bom.values import ONE, Issue, KitFit
from tests.bom.explained_sums import breaches
from tests.bom.results import plan_of
from tests.bom.small_shops import (
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    opens,
    order,
    renew,
    verdict,
)


def told(made, part):
    """What is short of a part, and what stands against the need."""
    item = made.demand.structure.index[part]
    why = balances(made, [item])[item]
    return why.value // ONE, {p.says: (-1 if p.less else 1) * p.value // ONE for p in why.parts}


def lines_of(made, part, name="J-1"):
    item = made.demand.structure.index[part]
    (number,) = (n for n, asker in enumerate(made.demand.askers) if asker.name == name)
    return [
        (line.because, line.quantity // ONE, line.kits, line.brought // ONE, line.all_in_kits)
        for line in why_asked(made, item, [number])[number]
    ]


def test_every_kind_of_source_is_taken_off_the_need():
    """Ten rings: one set aside, two on the shelf, three in time, two late, so that two are short."""
    made = plan(
        make_shop(
            [renew("PUMP", "ring", 10)],
            lots=[lot("ring", 3)],
            orders=[order("ring", 3, march(9)), order("ring", 2, march(20), "PO-2")],
            issues=[Issue("J-1", "ring", "L", ONE, "reserved")],
        )
    )
    parts = {"needed": 10, "set aside": -1, "from the shelf": -2, "on order": -3, "on a late order": -2}
    assert told(made, "ring") == (2, parts)
    item = made.demand.structure.index["ring"]
    (lacks,) = (by_item[item] for by_item in shortfalls(made).values())
    assert (lacks.missing // ONE, lacks.late // ONE) == (2, 2)


def test_what_is_packed_here_is_not_short():
    lines = [renew("PUMP", "ring", 2), holds("K", "ring", 2)]
    made = plan(make_shop(lines, items=[kit(source="pack", lead_days=1)], fits=[KitFit("K", "PUMP")]))
    assert told(made, "K") == (0, {"needed": 1, "packed here": -1})
    assert told(made, "ring") == (2, {"needed": 2})


def test_nothing_is_short_of_what_nobody_asks_for():
    made = plan(make_shop([renew("PUMP", "ring")], lots=[lot("spare", 1)]))
    assert told(made, "spare") == (0, {"needed": 0})


def test_a_kit_packed_too_late_though_its_parts_are_here_is_late_itself():
    """Needed today; packing takes three days."""
    lines = [renew("PUMP", "ring", 2), holds("K", "ring", 2)]
    shop = make_shop(
        lines,
        items=[kit(source="pack", lead_days=3)],
        fits=[KitFit("K", "PUMP")],
        lots=[lot("ring", 2)],
        jobs=[job(build_on=march(5))],
    )
    made = plan(shop)
    ((item, lacks),) = shortfalls(made)[0].items()
    assert (made.demand.structure.items[item].part_number, lacks.missing, lacks.late) == ("K", 0, ONE)


def test_ways_say_what_the_kit_brings_of_them_and_the_report_what_was_found():
    """A kit brings two of three rings; of two balls one was found worn."""
    lines = [renew("PUMP", "ring", 3), inspect("PUMP", "ball", 35, 2), holds("K", "ring", 2)]
    shop = make_shop(
        lines,
        items=[kit()],
        fits=[KitFit("K", "PUMP")],
        jobs=[job(stage="stripped")],
        verdicts=[verdict("pump 1 /  1", "ball")],
    )
    made = plan(shop)
    assert lines_of(made, "ring") == [("renew", 3, ("K",), 2, False)]
    assert lines_of(made, "K") == [("kit", 1, (), 0, False)]


def test_two_ways_through_one_kit_are_weighed_together():
    """The kit holds three rings, and two ways ask for two each: neither is all in the kit."""
    lines = [
        opens("PUMP", "end"),
        renew("end", "ring", 2),
        renew("end", "ring", 2, position="b"),
        holds("K", "ring", 3),
    ]
    made = plan(make_shop(lines, items=[kit()], fits=[KitFit("K", "end")], sections=(("end", 1),)))
    assert lines_of(made, "ring") == [("renew", 2, ("K",), 3, False)] * 2


def test_a_part_in_the_kit_of_another_set_is_in_a_kit():
    """Two sets: the seals come in K-1, the nuts in K-2; a spring is in neither."""
    lines = [renew("PUMP", "ring"), renew("PUMP", "nut"), renew("PUMP", "spring"), renew("PUMP", "cup", 2)]
    lines += [holds("K-1", "ring"), holds("K-1", "cup"), holds("K-2", "nut"), holds("K-2", "cup")]
    fits = [KitFit("K-1", "PUMP", set_name="a"), KitFit("K-2", "PUMP", set_name="b")]
    made = plan(make_shop(lines, items=[kit("K-1"), kit("K-2")], fits=fits))
    assert lines_of(made, "ring") == [("renew", 1, ("K-1",), 1, True)]
    assert lines_of(made, "nut") == [("renew", 1, ("K-2",), 1, True)]
    assert lines_of(made, "spring") == [("renew", 1, ("K-1", "K-2"), 0, False)]
    assert lines_of(made, "cup") == [("renew", 2, ("K-1", "K-2"), 2, True)]


@pytest.mark.parametrize("first", [0, 20])
def test_balances_and_reasons_agree_with_the_plan(first):
    for seed in range(first, first + 20):
        made = plan_of(seed)
        items = {item.part_number: n for n, item in enumerate(made.demand.structure.items)}
        found = balances(made, items.values())
        lacking = Counter()
        for by_item in shortfalls(made).values():
            for item, shortfall in by_item.items():
                lacking[item] += shortfall.missing
        for row in as_json(made)["demand"]:
            item = items[row["part_number"]]
            assert found[item].value == pytest.approx(row["uncovered"] * ONE), (seed, row)
            assert breaches(found[item], made.shop) == [], (seed, row)
            assert lacking[item] == found[item].value, (seed, row)
            needed = sum(needs_of(made, item).values())
            assert needed == found[item].part("needed").value, (seed, row)
        hold_reasons(made, items, seed)


def hold_reasons(made, items, seed):
    """Ways, kits and contents, less what kits bring, are what is asked for where nothing was found or issued."""
    issued = {issue.job for issue in made.shop.issues if issue.state in ("issued", "returned")}
    for part, item in items.items():
        needs = needs_of(made, item)
        for number, lines in why_asked(made, item, needs).items():
            asker = made.demand.askers[number]
            if asker.name in issued or any(line.because in ("report", "along") for line in lines):
                continue
            brought = {(line.kits, line.brought) for line in lines if line.kits}
            total = sum(line.quantity for line in lines if line.because != "inspect")
            assert total - sum(much for _, much in brought) == needs[number], (seed, part, asker.name, lines)
