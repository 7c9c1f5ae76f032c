"""Build days proposed: as good as trying all days, never worse than those typed, honest when cut off."""

import random
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import combinations, product

import pytest

from bom.plan import plan
from bom.questions.days import propose
from bom.questions.days.outcome import Days, outcome
from bom.questions.days.propose import EARLIER_AT_MOST, propose_days
from bom.questions.selection import weights_by_priority
from bom.questions.what_if import changed
from bom.structure.calendar import ShopCalendar
from bom.values import ONE, Catalog, Item, Job, Line, Lot, ScopeSection, Shop
from tests.bom.small_shops import TODAY, march, order

DAYS_TRIED = 7


def shop_of(jobs, *, lots=(), orders=(), leads=None, holidays=()):
    """``jobs``: name -> (build day, {part: pieces}, fields of the job); each is for a pump of its own."""
    parts = sorted({part for _, wants, _ in jobs.values() for part in wants})
    leads = leads or {}
    items = [Item(part, lead_days=leads.get(part, 4)) for part in parts] + [Item(f"U-{job}", "pump") for job in jobs]
    lines = [
        Line(f"U-{job}", part, count * ONE, "renew")
        for job, (_, wants, _) in jobs.items()
        for part, count in wants.items()
    ]
    scopes = [ScopeSection(f"U-{job}", "whole", f"U-{job}", 1, use_kits=False) for job in jobs]
    return Shop(
        TODAY,
        Catalog(tuple(items), tuple(lines), tuple(scopes)),
        holidays=tuple(holidays),
        lots=tuple(lots),
        orders=tuple(orders),
        jobs=tuple(
            Job(
                name,
                f"U-{name}",
                "whole",
                on,
                stage=more.get("stage", "here"),
                **{k: v for k, v in more.items() if k != "stage"},
            )
            for name, (on, _, more) in jobs.items()
        ),
    )


def lot(part, count, last_use=None, code="L"):
    return Lot(part, code, count * ONE, last_use=last_use)


def propose_for(shop, pumps_a_day=None, **more):
    before = plan(shop)
    return propose_days(before, weights_by_priority(before), pumps_a_day=pumps_a_day, **more)


def moved(proposal):
    return {move.job: move.proposed_on for move in proposal.moves}


def best_of_all_days(shop, pumps_a_day):
    """The best rank of the days typed and of all others on which every job has its parts and a bench.

    Days that hold say by themselves how late each job is, so they are planned from the best on, until some hold.
    """
    before = plan(shop)
    weights, days = weights_by_priority(before), Days(before)
    promises = {job.job: job.build_on for job in shop.jobs}
    typed = outcome(before, promises, weights, pumps_a_day).rank

    def asked(chosen):
        return {name: on or days.day(max(0, days.number(promises[name]))) for name, on in chosen}

    @cache
    def hold(chosen):
        """Whether these jobs can be built on these days; of jobs that cannot, no more jobs can."""
        if not all(hold(few) for few in combinations(chosen, len(chosen) - 1) if few):
            return False
        alone = replace(shop, jobs=tuple(job for job in shop.jobs if job.job in dict(chosen)))
        after = plan(changed(alone, move={name: on for name, on in chosen if on}), before.demand.structure)
        found = outcome(after, promises, weights, pumps_a_day)
        return all(found.jobs[name].built_on == on for name, on in asked(chosen).items())

    choices = []
    for job in shop.jobs:
        first = max(0, days.number(job.build_on))
        first = min(first, max(1, first - EARLIER_AT_MOST))
        choices.append([(job.job, None)] + [(job.job, days.day(day)) for day in range(first, DAYS_TRIED)])
    ranks = {chosen: rank_if_built_on(asked(chosen), promises, weights, days) for chosen in product(*choices)}
    best_first = sorted(ranks, key=ranks.get, reverse=True)
    return next((ranks[chosen] for chosen in best_first if ranks[chosen] > typed and hold(chosen)), typed)


def rank_if_built_on(asked, promises, weights, days):
    """The weight of the jobs that are then on time, and the working days late of the others, each times its weight."""
    late = {name: max(0, days.number(on) - days.number(promises[name])) for name, on in asked.items()}
    on_time = sum(weights[name] for name, behind in late.items() if not behind)
    return on_time, -sum(behind * weights[name] for name, behind in late.items())


def random_shop(seed):
    """Three jobs, three parts, lots that die, orders, some overdue, leads of 1 to 4 days, perhaps a holiday."""
    rng = random.Random(seed)
    holidays = (march(9),) if rng.random() < 0.3 else ()
    calendar = ShopCalendar((True,) * 5 + (False,) * 2, holidays)
    parts = ("A", "B", "C")
    day = lambda low, high: calendar.forward(TODAY, rng.randint(low, high))  # noqa: E731
    jobs = {
        f"J-{n}": (
            day(0, 4) if rng.random() < 0.9 else march(2),
            {part: rng.randint(1, 3) for part in parts if rng.random() < 0.7} or {"A": 1},
            {"priority": rng.choice((1, 5, 5, 8)), "quantity": rng.choice((1, 1, 2))},
        )
        for n in range(3)
    }
    lots = [
        lot(part, rng.randint(1, 4), day(0, 5) if rng.random() < 0.5 else None, f"L{n}")
        for n, part in enumerate(rng.choices(parts, k=4))
    ]
    orders = [
        order(part, rng.randint(1, 3), day(0, 5) if rng.random() < 0.8 else march(2), f"PO-{n}")
        for n, part in enumerate(rng.choices(parts, k=2))
    ]
    shop = shop_of(jobs, lots=lots, orders=orders, leads={part: rng.randint(1, 4) for part in parts}, holidays=holidays)
    return shop, rng.choice((None, 1, 2, 3))


@pytest.mark.parametrize("seed", range(10))
def test_no_days_on_which_all_parts_are_here_do_better_on_small_shops(seed):
    shop, pumps_a_day = random_shop(seed)
    proposal = propose_for(shop, pumps_a_day)
    assert proposal.proposed.rank == best_of_all_days(shop, pumps_a_day)
    assert proposal.says == "proved best"


def test_two_jobs_that_want_one_ring_by_hand():
    """One ring lies there, the next comes on Tuesday the 10th, so that a job that waits for it is built on the 11th.

    J-1 is to be built on the 6th, J-2, of priority 1, on the 9th. Served in order, J-1 takes the ring and J-2 is built
    two working days late; weighed by priority (5 and 9) it is better the other way round: J-1 on the 11th, three late.
    """
    shop = shop_of(
        {"J-1": (march(6), {"RING": 1}, {}), "J-2": (march(9), {"RING": 1}, {"priority": 1})},
        lots=[lot("RING", 1)],
        orders=[order("RING", 1, march(10))],
        leads={"RING": 20},
    )
    proposal = propose_for(shop)
    assert moved(proposal) == {"J-1": march(11)}
    assert (proposal.typed.weight_on_time, proposal.typed.weighted_days_late) == (5, 9 * 2)
    assert (proposal.proposed.weight_on_time, proposal.proposed.weighted_days_late) == (9, 5 * 3)
    assert proposal.says == "proved best"


def test_benches_and_closed_days_are_kept_to_by_hand():
    """Three pumps on Friday the 6th and one bench a day: two of them are built on the 5th and the 9th.

    Nothing can be on the bench before Thursday the 5th, one working day after today; the 9th is a Monday.
    """
    shop = shop_of({f"J-{n}": (march(6), {"RING": 1}, {}) for n in (1, 2, 3)}, lots=[lot("RING", 3)])
    proposal = propose_for(shop, pumps_a_day=1)
    assert sorted(moved(proposal).values()) == [march(5), march(9)]
    assert (proposal.typed.on_time, proposal.proposed.on_time) == (1, 2)
    closed = propose_for(replace(shop, holidays=(march(9),)), pumps_a_day=1)
    assert sorted(moved(closed).values()) == [march(5), march(10)]


def test_a_lot_that_dies_is_used_by_the_job_that_can_still_use_it():
    shop = shop_of(
        {"J-1": (march(9), {"RING": 1}, {}), "J-2": (march(6), {"RING": 1}, {})},
        lots=[lot("RING", 1, march(6), "OLD"), lot("RING", 1, None, "NEW")],
        leads={"RING": 30},
    )
    assert not propose_for(shop).moves
    both_late = replace(shop, jobs=tuple(replace(job, build_on=march(9)) for job in shop.jobs))
    assert list(moved(propose_for(both_late)).values()) == [march(6)]


def test_days_that_serve_all_are_left_as_they_are():
    shop = shop_of({"J-1": (march(6), {"RING": 1}, {}), "J-2": (march(9), {"RING": 1}, {})}, lots=[lot("RING", 2)])
    proposal = propose_for(shop)
    assert not proposal.moves
    assert not proposal.no_better
    assert proposal.proposed == proposal.typed
    assert proposal.says == "proved best"


def test_no_pump_is_proposed_before_it_can_be_there():
    """One bench; the pump of J-2 comes to be stripped on the 6th, that of J-3 is expected and nobody says when."""
    wants = {"RING": 1}
    jobs = {
        "J-1": (march(9), wants, {}),
        "J-2": (march(9), wants, {"strip_on": march(6)}),
        "J-3": (march(9), wants, {"stage": "expected"}),
        "J-4": (march(9), wants, {"stage": "building"}),
    }
    proposal = propose_for(shop_of(jobs, lots=[lot("RING", 4)]), pumps_a_day=1)
    days = moved(proposal)
    assert proposal.left == (("J-4", "being built"),)
    assert days["J-2"] >= march(6)
    assert days["J-3"] > march(9)
    assert days["J-1"] < march(9)


def test_a_job_whose_parts_nobody_can_date_keeps_its_day():
    shop = shop_of({"J-1": (march(6), {"RING": 1}, {}), "J-2": (march(6), {"BALL": 1}, {})}, leads={"RING": 2})
    shop = replace(
        shop,
        catalog=replace(
            shop.catalog,
            items=tuple(
                replace(item, lead_days=None) if item.part_number == "BALL" else item for item in shop.catalog.items
            ),
        ),
    )
    proposal = propose_for(shop)
    assert proposal.left == (("J-2", "nobody knows when its parts come"),)
    assert not moved(proposal)


def test_what_is_promised_counts_and_not_the_day_typed():
    shop = shop_of({"J-1": (march(12), {"RING": 1}, {})}, lots=[lot("RING", 1)])
    proposal = propose_for(shop, promised={"J-1": march(10)})
    assert moved(proposal) == {"J-1": march(10)}
    assert (proposal.typed.days_late, proposal.proposed.days_late) == (2, 0)


def test_nothing_is_proposed_where_the_plan_says_that_it_is_no_better(monkeypatch):
    shop = shop_of({"J-1": (march(6), {"RING": 1}, {}), "J-2": (march(9), {"RING": 1}, {})}, lots=[lot("RING", 2)])
    monkeypatch.setattr(propose._Board, "solve", lambda self, limit: propose._Answer(({0: 9, 1: 12},), 10, None))
    proposal = propose_for(shop)
    assert proposal.no_better
    assert not proposal.moves
    assert proposal.proposed == proposal.typed


def test_says_what_is_not_proved_when_there_is_no_time():
    rng = random.Random(1)
    jobs = {
        f"J-{n:02}": (march(rng.randint(9, 20)), {f"P{p}": rng.randint(1, 9) for p in range(6)}, {}) for n in range(40)
    }
    lots = [lot(f"P{p}", 90) for p in range(6)]
    orders = [order(f"P{p}", 40, march(16), f"PO-{p}") for p in range(6)]
    shop = shop_of(jobs, lots=lots, orders=orders, leads={f"P{p}": 12 for p in range(6)})
    proposal = propose_for(shop, pumps_a_day=4, time_limit=0)
    assert proposal.gap > 0
    assert proposal.says.startswith("not proved best")
    assert proposal.proposed.rank >= proposal.typed.rank


def test_days_before_today_have_numbers_below_nought():
    days = Days(plan(shop_of({"J-1": (march(6), {"RING": 1}, {})})))
    assert [days.number(on) for on in (march(2), march(4), march(7), march(9))] == [-2, 0, 3, 3]
    assert days.day(3) == date(2026, 3, 9)
