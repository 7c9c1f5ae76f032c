"""Use loose, take from kit: what could be done beside the plan, and what it costs whom."""

from dataclasses import replace
from datetime import date

import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from bom.questions.kits.proposals import take_from_kit, use_loose
from bom.values import ONE, Issue, Item, KitFit, OtherNeed
from tests.bom.results import plan_of
from tests.bom.small_shops import (
    FKM,
    TODAY,
    holds,
    inspect,
    job,
    kit,
    lot,
    make_shop,
    march,
    offer,
    order,
    renew,
    statuses,
)
from tests.demo_shop import demo_shop

FITS = (KitFit("K", "PUMP"),)
LINES = (renew("PUMP", "RING", 2), renew("PUMP", "SEAT"), holds("K", "RING", 3), holds("K", "SEAT"))
PARTS = ("RING", "SEAT")
LOOSE = (lot("RING", 2), lot("SEAT", 1))


def kit_shop(lots=LOOSE, **more):
    """One pump that needs two rings and a seat; its kit holds three rings and a seat, and is bought."""
    return make_shop(LINES, items=(more.pop("kit_item", kit()),), fits=FITS, lots=lots, **more)


def parts(proposal):
    return {part.part_number: part.quantity // ONE for part in proposal.parts}


# --- use loose


def test_pieces_that_lie_loose_stand_for_a_kit_that_is_missing():
    (proposal,) = use_loose(plan(kit_shop()))
    assert (proposal.job, proposal.kit, proposal.count) == ("J-1", "K", 1)
    assert parts(proposal) == {"RING": 2, "SEAT": 1}  # not the third ring, which the kit would leave over


def test_a_proposal_changes_nothing_in_the_plan():
    made = plan(kit_shop())
    before = as_json(made)
    use_loose(made)
    take_from_kit(made)
    assert as_json(made) == before
    assert statuses(before) == {"J-1": "short"}


def test_one_piece_too_few_and_nothing_is_proposed():
    assert use_loose(plan(kit_shop([lot("RING", 1), lot("SEAT", 1)]))) == ()


def test_a_kit_that_comes_too_late_is_a_kit_that_holds_the_job():
    shop = kit_shop(orders=(order("K", 1, march(25)),))
    assert statuses(as_json(plan(shop))) == {"J-1": "late"}
    assert [proposal.job for proposal in use_loose(plan(shop))] == ["J-1"]


def test_a_kit_that_comes_in_time_holds_nobody():
    assert use_loose(plan(kit_shop(orders=(order("K", 1, march(9)),)))) == ()


def test_a_job_that_lacks_something_else_too_is_not_helped_by_loose_pieces():
    shop = kit_shop()
    more = replace(
        shop.catalog, lines=(*shop.catalog.lines, renew("PUMP", "SPRING")), items=(*shop.catalog.items, Item("SPRING"))
    )
    assert use_loose(plan(replace(shop, catalog=more))) == ()


def test_the_kits_that_are_there_are_used_first():
    """Two pumps and one kit: the kit brings three rings, so that of four rings one more is enough."""
    shop = kit_shop([lot("K", 1), lot("RING", 1), lot("SEAT", 1)], jobs=[job(quantity=2)])
    (proposal,) = use_loose(plan(shop))
    assert (proposal.count, parts(proposal)) == (1, {"RING": 1, "SEAT": 1})


def test_loose_pieces_that_die_before_the_build_are_not_free():
    assert use_loose(plan(kit_shop([lot("RING", 2, last_use=march(11)), lot("SEAT", 1)]))) == ()
    (proposal,) = use_loose(plan(kit_shop([lot("RING", 2, last_use=march(12)), lot("SEAT", 1)])))
    assert proposal.parts[0].lots[0].quantity == 2 * ONE


def test_loose_pieces_that_another_job_takes_are_not_free():
    shop = kit_shop(needs=(OtherNeed("VAN", "RING", ONE, march(20)),))
    assert use_loose(plan(shop)) == ()


def test_pieces_kept_for_expected_wear_are_free_and_the_proposal_says_so():
    """Only the second job may wear a ring; nobody has opened its pump."""
    shop = kit_shop(
        jobs=[job(), job("J-2", scope="look", build_on=march(20))],
        scopes=(replace(kit_shop().catalog.scopes[0], scope="look", section="SIDE"),),
    )
    looked = replace(
        shop.catalog,
        lines=(*shop.catalog.lines, inspect("SIDE", "RING", 100)),
        items=(*shop.catalog.items, Item("SIDE", "assembly")),
    )
    (proposal,) = use_loose(plan(replace(shop, catalog=looked)))
    assert [(part.part_number, part.for_wear // ONE) for part in proposal.parts] == [("RING", 1), ("SEAT", 0)]


def test_a_kit_inside_a_kit_is_not_asked_for_by_the_job():
    lines = (renew("PUMP", "RING"), holds("OUTER", "K"), holds("K", "RING"))
    shop = make_shop(
        lines, items=(kit(), kit("OUTER", "pack", lead_days=1)), fits=(KitFit("OUTER", "PUMP"),), lots=[lot("RING", 1)]
    )
    (held,) = plan(shop).answers
    assert plan(shop).demand.structure.items[held.freed_by].part_number == "K"
    assert use_loose(plan(shop)) == ()


def test_normal_parts_do_not_stand_for_a_clean_kit():
    clean = kit(cleanliness="oxygen_clean")
    assert use_loose(plan(kit_shop(kit_item=clean))) == ()
    shop = make_shop(
        LINES,
        items=(clean, *(Item(part, cleanliness="oxygen_clean") for part in ("RING", "SEAT"))),
        fits=FITS,
        lots=LOOSE,
    )
    assert len(use_loose(plan(shop))) == 1


def test_clean_work_gets_no_loose_piece_out_of_an_opened_packet():
    clean = [kit(cleanliness="oxygen_clean"), *(Item(p, cleanliness="oxygen_clean", ageless=True) for p in PARTS)]
    for packet, expected in (("sealed", 1), ("resealed", 0)):
        lots = [lot("RING", 2, packet=packet), lot("SEAT", 1)]
        shop = make_shop(LINES, items=clean, fits=FITS, lots=lots, jobs=[job(cleanliness="oxygen_clean")])
        assert len(use_loose(plan(shop))) == expected


def test_the_kit_that_is_there_is_used_with_what_fills_it_up():
    """Two pumps and one kit without its seat: the loose seat fills it up, so that another seat is needed."""
    poor = lot("K", 1, contents=(("RING", 3 * ONE),))
    shop = kit_shop([poor, lot("RING", 1), lot("SEAT", 2)], jobs=[job(quantity=2)])
    (proposal,) = use_loose(plan(shop))
    assert (proposal.count, parts(proposal)) == (1, {"RING": 1, "SEAT": 1})
    assert use_loose(plan(kit_shop([poor, lot("RING", 1), lot("SEAT", 1)], jobs=[job(quantity=2)]))) == ()


# --- take from kit


def rob_shop(lots=(), **more):
    """A pump that needs a ring and a seat loose; somewhere else a kit holds two rings."""
    return make_shop(
        (renew("PUMP", "RING"), renew("PUMP", "SEAT"), holds("K", "RING", 2), holds("K", "SPRING")),
        items=(more.pop("kit_item", kit()),),
        lots=(lot("SEAT", 1), *lots),
        **more,
    )


def test_a_kit_that_nobody_waits_for_gives_its_piece_and_owes_it():
    (proposal,) = take_from_kit(plan(rob_shop([lot("K", 1, "P-1", place="K2")])))
    assert (proposal.job, proposal.part_number, proposal.quantity) == ("J-1", "RING", ONE)
    (debt,) = proposal.debts
    assert (debt.kit, debt.lot, debt.place, debt.kits) == ("K", "P-1", "K2", 1)
    assert (debt.part_number, debt.quantity) == ("RING", ONE)
    assert (proposal.planned_for, proposal.repay_by) == ((), None)
    assert proposal.refill_on == march(11)


def test_as_many_kits_are_opened_as_the_pieces_take():
    shop = rob_shop([lot("K", 1, "P-1"), lot("K", 1, "P-2")], jobs=[job(quantity=3)])
    shop = replace(shop, lots=(*shop.lots, lot("SEAT", 2, "more")))
    (proposal,) = take_from_kit(plan(shop))
    assert [(debt.lot, debt.kits, debt.quantity // ONE) for debt in proposal.debts] == [("P-1", 1, 2), ("P-2", 1, 1)]


def test_too_few_kits_give_nothing():
    shop = rob_shop([lot("K", 1)], jobs=[job(quantity=3)])
    assert take_from_kit(plan(replace(shop, lots=(*shop.lots, lot("SEAT", 2, "more"))))) == ()


def test_a_reserved_kit_is_not_opened():
    held = Issue("J-9", "K", "L", ONE, "reserved")
    shop = rob_shop([lot("K", 1)], jobs=[job(), job("J-9", stage="held")], issues=(held,))
    assert take_from_kit(plan(shop)) == ()


def test_a_kit_that_dies_before_the_build_is_not_opened():
    assert take_from_kit(plan(rob_shop([lot("K", 1, last_use=march(11))]))) == ()


def test_a_kit_that_another_job_needs_later_gives_its_piece_if_it_can_be_repaid():
    """A ring ordered today is here on the 11th; the van takes the kit on the 20th, or on the 10th."""
    for day, expected in ((20, [("VAN",)]), (11, [("VAN",)]), (10, [])):
        shop = rob_shop([lot("K", 1)], needs=(OtherNeed("VAN", "K", ONE, march(day)),))
        found = take_from_kit(plan(shop))
        assert [proposal.planned_for for proposal in found] == expected, day
        assert [proposal.repay_by for proposal in found] == [march(day)] * len(expected)


def test_the_jobs_own_kit_is_not_opened():
    shop = rob_shop([lot("K", 1)])
    more = replace(shop.catalog, lines=(*shop.catalog.lines, renew("PUMP", "K")))
    assert statuses(as_json(plan(replace(shop, catalog=more)))) == {"J-1": "short"}
    assert take_from_kit(plan(replace(shop, catalog=more))) == ()


def test_a_job_that_lacks_the_same_piece_gives_none():
    """The second job waits for rings of its own; its kit stays closed."""
    shop = rob_shop(
        [lot("K", 1)],
        jobs=[job(), job("J-2", march(20), scope="side")],
        scopes=(replace(rob_shop().catalog.scopes[0], scope="side", section="SIDE"),),
    )
    lines = (*shop.catalog.lines, renew("SIDE", "K"), renew("SIDE", "SEAT"))
    items = (*shop.catalog.items, Item("SIDE", "assembly"))
    shop = replace(shop, lots=(*shop.lots, lot("SEAT", 1, "more")))
    rich = replace(shop, catalog=replace(shop.catalog, lines=lines, items=items))
    assert [proposal.planned_for for proposal in take_from_kit(plan(rich))] == [("J-2",)]
    poor = replace(rich, catalog=replace(rich.catalog, lines=(*lines, renew("SIDE", "RING"))))
    assert take_from_kit(plan(poor)) == ()


def test_kits_inside_kits_are_opened_too():
    shop = rob_shop([lot("BIG", 1)], jobs=[job(quantity=4)])
    items = (*shop.catalog.items, kit("BIG"))
    shop = replace(
        shop,
        lots=(*shop.lots, lot("SEAT", 3, "more")),
        catalog=replace(shop.catalog, items=items, lines=(*shop.catalog.lines, holds("BIG", "K", 2))),
    )
    (proposal,) = take_from_kit(plan(shop))
    assert [(debt.kit, debt.kits, debt.quantity // ONE) for debt in proposal.debts] == [("BIG", 1, 4)]


def test_a_piece_that_is_made_here_has_no_day_of_refill():
    shop = rob_shop([lot("K", 1)], needs=(OtherNeed("VAN", "K", ONE, march(20)),))
    items = tuple(replace(item, source="make") if item.part_number == "RING" else item for item in shop.catalog.items)
    assert take_from_kit(plan(replace(shop, catalog=replace(shop.catalog, items=items)))) == ()


def test_the_kit_that_is_needed_last_is_opened_first():
    needs = (OtherNeed("VAN-1", "K", ONE, march(16)), OtherNeed("VAN-2", "K", ONE, march(20)))
    (proposal,) = take_from_kit(plan(rob_shop([lot("K", 2)], needs=needs)))
    assert (proposal.planned_for, proposal.repay_by) == (("VAN-2",), march(20))


def test_a_piece_with_unknown_lead_time_cannot_be_repaid():
    shop = rob_shop([lot("K", 1)], needs=(OtherNeed("VAN", "K", ONE, march(20)),))
    items = tuple(replace(item, lead_days=None) if item.part_number == "RING" else item for item in shop.catalog.items)
    assert take_from_kit(plan(replace(shop, catalog=replace(shop.catalog, items=items)))) == ()


def test_a_part_that_only_some_kits_hold_is_not_surely_in_the_bag():
    shop = rob_shop([lot("K", 1)])
    lines = tuple(
        replace(line, options=FKM) if (line.parent, line.child) == ("K", "RING") else line
        for line in shop.catalog.lines
    )
    assert take_from_kit(plan(replace(shop, catalog=replace(shop.catalog, lines=lines)))) == ()


def written(count, code="P-1", part="K", **held):
    """A lot of kits of which each holds so much as was recorded."""
    return lot(part, count, code, contents=tuple((name, number * ONE) for name, number in held.items()))


def test_a_kit_that_was_recorded_without_the_piece_gives_none():
    assert take_from_kit(plan(rob_shop([written(1, SPRING=1)]))) == ()
    (proposal,) = take_from_kit(plan(rob_shop([written(1, RING=1, SPRING=1)])))
    assert [(debt.lot, debt.quantity // ONE) for debt in proposal.debts] == [("P-1", 1)]


def test_as_many_kits_are_opened_as_their_records_say():
    """Three rings out of bags of one, two and, by the list, two."""
    lots = [written(1, "P-1", RING=1), written(1, "P-2", RING=2), lot("K", 1, "P-3")]
    shop = rob_shop([*lots, lot("SEAT", 2, "more")], jobs=[job(quantity=3)])
    (proposal,) = take_from_kit(plan(shop))
    assert [(debt.lot, debt.kits, debt.quantity // ONE) for debt in proposal.debts] == [("P-1", 1, 1), ("P-2", 1, 2)]
    more = replace(shop, lots=(*shop.lots, lot("SEAT", 2, "still")), jobs=(job(quantity=5),))
    assert [d.quantity // ONE for p in take_from_kit(plan(more)) for d in p.debts] == [1, 2, 2]
    too_many = replace(more, lots=(*more.lots, lot("SEAT", 2, "yet")), jobs=(job(quantity=6),))
    assert take_from_kit(plan(too_many)) == ()


def test_a_piece_that_only_the_record_tells_of_is_in_the_bag():
    """The list leaves it to the compound, or does not know the piece at all; what was packed is known."""
    shop = rob_shop([written(2, RING=2)], jobs=[job(quantity=3)])
    lines = tuple(line for line in shop.catalog.lines if (line.parent, line.child) != ("K", "RING"))
    shop = replace(shop, catalog=replace(shop.catalog, lines=lines), lots=(*shop.lots, lot("SEAT", 2, "more")))
    (proposal,) = take_from_kit(plan(shop))
    assert [(debt.lot, debt.kits, debt.quantity // ONE) for debt in proposal.debts] == [("P-1", 2, 3)]


def test_clean_work_takes_nothing_out_of_opened_bags():
    assert take_from_kit(plan(rob_shop([lot("K", 1)], jobs=[job(cleanliness="oxygen_clean")]))) == ()
    assert take_from_kit(plan(rob_shop([lot("K", 1)], kit_item=kit(cleanliness="oxygen_clean")))) == ()


def test_the_earliest_offer_repays():
    shop = rob_shop(
        [lot("K", 1)],
        needs=(OtherNeed("VAN", "K", ONE, march(9)),),
        offers=(offer("RING", lead_days=2, supplier="Near"), offer("RING", "0.10", lead_days=30)),
    )
    (proposal,) = take_from_kit(plan(shop))
    assert (proposal.refill_on, proposal.planned_for) == (march(6), ("VAN",))
    assert plan(shop).shop.as_of == TODAY


# --- what a proposal promises


@pytest.mark.parametrize("first", range(0, 160, 80))
def test_a_job_that_does_as_proposed_is_ready(first):
    """Book the proposal: the loose pieces are issued to the job, or the kit gives its piece; then nothing holds it."""
    tried = 0
    for seed in range(first, first + 80):
        made = plan_of(seed)
        shop = made.shop
        for proposal in take_from_kit(made):
            tried += 1
            assert not waits(plan(rob(shop, proposal), made.demand.structure), proposal.job), f"seed {seed}: {proposal}"
        for proposal in use_loose(made):
            tried += 1
            for part in proposal.parts:
                assert sum(share.quantity for share in part.lots) == part.quantity
                assert free_of(shop, made, part) >= 0, f"seed {seed}: {part}"
    assert tried


def rob(shop, proposal):
    """The shop after the kits are opened: they are gone, and the piece is reserved for the job."""
    lots = list(shop.lots)
    for debt in proposal.debts:
        place = next(
            n
            for n, held in enumerate(lots)
            if (held.part_number, held.lot, held.place) == (debt.kit, debt.lot, debt.place)
            and held.quantity >= debt.kits * ONE
        )
        lots[place] = replace(lots[place], quantity=lots[place].quantity - debt.kits * ONE)
    taken = Issue(proposal.job, proposal.part_number, "out of a kit", proposal.quantity, "bagged")
    return replace(shop, lots=tuple(lots), issues=(*shop.issues, taken))


def waits(made, name):
    (answer,) = [found for found in made.answers if found.name == name]
    return answer.status in ("late", "short")


def free_of(shop, made, part):
    """What the sure pieces of the plan leave of the lots that a proposal names, less what it takes."""
    item = made.demand.structure.index[part.part_number]
    pieces, draws = made.netting.pieces, made.netting.draws
    left = 0
    for share in part.lots:
        places = [
            n
            for n, held in enumerate(shop.lots)
            if (held.part_number, held.lot, held.place) == (part.part_number, share.lot, share.place)
        ]
        left -= share.quantity
        for row, place in enumerate(made.supplies.lot_place.tolist()):
            if place in places:
                by_wear = (draws.supply == row) & pieces.wear[draws.piece] & (pieces.item[draws.piece] == item)
                left += int(made.supplies.left[row]) + int(draws.quantity[by_wear].sum())
    return left


def test_demo_shop_may_open_an_fkm_end_kit_for_the_missing_backup_ring():
    """J-3103 needs its kits on the 10th and waits for a cage; two singles from the second supplier come on the 6th."""
    made = plan(demo_shop())
    assert use_loose(made) == ()
    found = take_from_kit(made)
    assert [(proposal.job, proposal.part_number, proposal.quantity // ONE) for proposal in found] == [
        ("J-3106", "BR-112", 1),
        ("J-3112", "BR-112", 1),
    ]
    for proposal in found:
        (debt,) = proposal.debts
        assert (debt.kit, debt.lot, debt.kits, debt.quantity) == ("K-E12F", "P-0547", 1, ONE)
        assert (proposal.planned_for, proposal.refill_on, proposal.repay_by) == (
            ("J-3103",),
            date(2026, 3, 6),
            date(2026, 3, 10),
        )
