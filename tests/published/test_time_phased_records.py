"""Records of textbooks, week by week. Figures marked "from memory" were also worked out again."""

from bom.questions.record import Holding, LotRule, work_out_record
from bom.values import ONE
from tests.published.chains import work_out_chain


def row(weeks, entries):
    """Fill the weeks from ``{week: pieces}``."""
    return tuple(entries.get(week, 0) * ONE for week in range(1, weeks + 1))


def shown(quantities):
    """Read a row back as ``{week: pieces}``."""
    return {week: quantity // ONE for week, quantity in enumerate(quantities, 1) if quantity}


def pieces(quantities):
    return [quantity // ONE for quantity in quantities]


def structure(*lines):
    return [(parent, child, each * ONE) for parent, child, each in lines]


def stock(on_hand=0, lead=0, scheduled=(), safety=0, lots=None):
    """Write a holding in pieces; ``scheduled`` lists the first weeks."""
    return Holding(
        on_hand=on_hand * ONE,
        scheduled=tuple(quantity * ONE for quantity in scheduled),
        safety_stock=safety * ONE,
        lead_buckets=lead,
        lots=lots or LotRule(),
    )


def releases(chain, item):
    return shown(chain[item].releases)


CHAIN = structure(("X", "A", 1), ("A", "B", 1), ("B", "C", 1), ("C", "D", 1))
CHAIN_STOCK = {"A": 2, "B": 15, "C": 7, "D": 46}


def test_stock_is_netted_level_by_level():
    # Orlicky, Material Requirements Planning (Ptak and Smith edition), p. 105.
    holdings = {item: stock(on_hand) for item, on_hand in CHAIN_STOCK.items()}
    chain = work_out_chain({"X": row(1, {1: 100})}, holdings, CHAIN, buckets=1)
    net = {item: pieces(chain[item].net)[0] for item in CHAIN_STOCK}
    assert net == {"A": 98, "B": 83, "C": 76, "D": 30}
    # What the book warns of: netting the gross need of each level against its own stock alone.
    assert net != {item: 100 - on_hand for item, on_hand in CHAIN_STOCK.items()}


def test_lead_times_add_up_down_the_chain():
    # Orlicky, p. 108: the order for A is due in week 50.
    holdings = {"A": stock(lead=1), "B": stock(lead=2), "C": stock(lead=6)}
    lines = structure(("A", "B", 1), ("B", "C", 1))
    chain = work_out_chain({"A": row(50, {50: 1})}, holdings, lines, buckets=50)
    assert [list(releases(chain, item)) for item in "ABC"] == [[49], [47], [41]]


def test_one_record_before_planning():
    # Orlicky, figures 7-5 to 7-7.
    record = work_out_record(row(8, {2: 20, 4: 25, 6: 15, 7: 12}), stock(23, scheduled=(0, 0, 30)))
    assert shown(record.net) == {6: 7, 7: 12}
    assert pieces(record.unplanned) == [23, 3, 33, 8, 8, -7, -19, -19]


def test_three_levels_in_time():
    # Orlicky, figure 7-10.
    chain = work_out_chain(
        {"A": row(9, {1: 10, 3: 15, 4: 10, 5: 20, 6: 5, 8: 10, 9: 15})},
        {"A": stock(12, 2, scheduled=(0, 0, 14)), "B": stock(28, 2), "C": stock(8, 2)},
        structure(("A", "B", 1), ("B", "C", 1)),
        buckets=9,
    )
    assert releases(chain, "A") == {2: 9, 3: 20, 4: 5, 6: 10, 7: 15}
    assert releases(chain, "B") == {1: 1, 2: 5, 4: 10, 5: 15}
    assert releases(chain, "C") == {2: 8, 3: 15}


def test_five_records_with_a_shared_part_minimum_and_multiples():
    # A problem of the type of Jacobs and Chase, Operations and Supply Chain Management.
    chain = work_out_chain(
        {"A": row(8, {2: 30, 5: 30, 8: 40})},
        {
            "A": stock(20, 1),
            "B": stock(0, 1, scheduled=(10,)),
            "C": stock(10, 1, scheduled=(50,), lots=LotRule(minimum=50 * ONE)),
            "D": stock(20, 2, lots=LotRule(multiple=100 * ONE)),
            "E": stock(10, 2, lots=LotRule(multiple=50 * ONE)),
        },
        structure(("A", "B", 1), ("A", "C", 2), ("A", "D", 1), ("C", "D", 2), ("C", "E", 3)),
        buckets=8,
    )
    assert releases(chain, "A") == {1: 10, 4: 30, 7: 40}
    assert releases(chain, "B") == {3: 30, 6: 40}
    assert releases(chain, "C") == {3: 50, 6: 50}
    assert releases(chain, "D") == {1: 100, 2: 100, 4: 100}
    assert releases(chain, "E") == {1: 150, 4: 150}


BRACKET = structure(
    ("bracket", "base", 1),
    ("bracket", "spring", 2),
    ("bracket", "clamp", 4),
    ("base", "clamp", 1),
    ("base", "housing", 2),
    ("clamp", "handle", 1),
    ("clamp", "casting", 1),
    ("housing", "bearing", 2),
    ("housing", "shaft", 1),
)


def test_a_part_on_two_levels_gathers_the_needs_of_both():
    # Heizer and Render, Operations Management, chapter 14, bracket problem; its text is from memory.
    chain = work_out_chain({"bracket": row(1, {1: 50})}, {}, BRACKET, buckets=1)
    assert {item: pieces(record.gross)[0] for item, record in chain.items()} == {
        "bracket": 50, "base": 50, "spring": 100, "clamp": 250, "handle": 250, "casting": 250, "housing": 100,
        "bearing": 200, "shaft": 100,
    }  # fmt: skip


def test_stock_on_the_upper_levels_spares_everything_below():
    # The same problem with 25 bases and 100 clamps on the shelf.
    holdings = {"base": stock(25), "clamp": stock(100)}
    chain = work_out_chain({"bracket": row(1, {1: 50})}, holdings, BRACKET, buckets=1)
    assert {item: pieces(record.net)[0] for item, record in chain.items() if item != "bracket"} == {
        "base": 25, "spring": 100, "clamp": 125, "handle": 125, "casting": 125, "housing": 50, "bearing": 100,
        "shaft": 50,
    }  # fmt: skip


SPEAKER_KIT = structure(
    ("A", "B", 2), ("A", "C", 3), ("B", "D", 2), ("B", "E", 2), ("C", "E", 2), ("C", "F", 2), ("F", "D", 2),
    ("F", "G", 1),
)  # fmt: skip
SPEAKER_LEADS = {"A": 1, "B": 2, "C": 1, "D": 1, "E": 2, "F": 3, "G": 2}


def speaker_kits(on_hand):
    holdings = {item: stock(on_hand.get(item, 0), lead) for item, lead in SPEAKER_LEADS.items()}
    return work_out_chain({"A": row(8, {8: 50})}, holdings, SPEAKER_KIT, buckets=8)


def test_a_kit_of_kits_without_stock():
    # Heizer and Render, speaker kits: gross needs from the book, the weeks from memory.
    chain = speaker_kits({})
    assert {item: sum(pieces(chain[item].gross)) for item in "BCDEFG"} == {
        "B": 100, "C": 150, "D": 800, "E": 500, "F": 300, "G": 300,
    }  # fmt: skip
    assert {item: releases(chain, item) for item in SPEAKER_LEADS} == {
        "A": {7: 50},
        "B": {5: 100},
        "C": {6: 150},
        "F": {3: 300},
        "D": {2: 600, 4: 200},
        "E": {3: 200, 4: 300},
        "G": {1: 300},
    }
    assert not any(record.past_due for record in chain.values())


def test_a_kit_of_kits_with_stock():
    # The same with stock; the weeks from memory.
    chain = speaker_kits({"A": 10, "B": 15, "C": 20, "D": 10, "E": 10, "F": 5})
    assert {item: releases(chain, item) for item in SPEAKER_LEADS} == {
        "A": {7: 40},
        "B": {5: 65},
        "C": {6: 100},
        "F": {3: 195},
        "D": {2: 380, 4: 130},
        "E": {3: 120, 4: 200},
        "G": {1: 195},
    }


def test_four_legs_a_chair_and_receipts_on_order():
    # The chairs example of an operations course (Aldershot); weeks 1 to 4 of the components are published.
    chain = work_out_chain(
        {"chair": row(8, {1: 150, 3: 70, 5: 175, 7: 90, 8: 60})},
        {
            "chair": stock(260, 2),
            "seat": stock(60, 2, scheduled=(50,)),
            "back": stock(40, 2, scheduled=(10,)),
            "leg": stock(80, 2),
        },
        structure(("chair", "seat", 1), ("chair", "back", 1), ("chair", "leg", 4)),
        buckets=8,
    )
    assert releases(chain, "chair") == {3: 135, 5: 90, 6: 60}
    assert releases(chain, "seat") == {1: 25, 3: 90, 4: 60}
    assert releases(chain, "back") == {1: 85, 3: 90, 4: 60}
    assert releases(chain, "leg") == {1: 460, 3: 360, 4: 240}


def test_gross_to_net_of_a_snow_shovel():
    # Vollmann, Berry and Whybark, Manufacturing Planning and Control Systems, snow shovel: 100 to build, one bucket.
    chain = work_out_chain(
        {"shovel": row(1, {1: 100})},
        {
            "top handle assembly": stock(25),
            "nail": stock(4, scheduled=(50,)),
            "bracket assembly": stock(27),
            "top bracket": stock(15),
        },
        structure(
            ("shovel", "top handle assembly", 1),
            ("top handle assembly", "nail", 2),
            ("top handle assembly", "bracket assembly", 1),
            ("bracket assembly", "top bracket", 1),
        ),
        buckets=1,
    )
    gross_and_net = {item: (pieces(record.gross)[0], pieces(record.net)[0]) for item, record in chain.items()}
    assert gross_and_net["top handle assembly"] == (100, 75)
    assert gross_and_net["nail"] == (150, 96)
    assert gross_and_net["bracket assembly"] == (75, 48)
    assert gross_and_net["top bracket"] == (48, 33)


def test_nails_in_multiples():
    # The same book, the nail's record; the weeks from memory.
    record = work_out_record(
        row(10, {2: 10, 4: 40, 5: 10, 7: 70, 8: 20}), stock(4, 1, scheduled=(50,), lots=LotRule(multiple=50 * ONE))
    )
    assert shown(record.releases) == {4: 50, 6: 50}
    assert pieces(record.available) == [54, 44, 44, 4, 44, 44, 24, 4, 4, 4]


def test_a_safety_stock_is_kept():
    # The same book, the coupling's record; the weeks from memory.
    record = work_out_record(row(10, {3: 3, 5: 35, 6: 10}), stock(39, 3, scheduled=(0, 15), safety=20))
    assert shown(record.releases) == {2: 4, 3: 10}
    assert min(pieces(record.available)) == 20


def three_rules(lots):
    gross = row(8, {1: 150, 4: 120, 6: 150, 7: 120})
    return work_out_record(gross, stock(37, 2, scheduled=(230,), lots=lots))


def test_a_record_under_a_fixed_quantity():
    # Krajewski, Operations Management: the input is published, the results of the three rules are from memory.
    record = three_rules(LotRule(multiple=230 * ONE))
    assert shown(record.receipts) == {4: 230, 7: 230}
    assert pieces(record.available) == [117, 117, 117, 227, 227, 77, 187, 187]


def test_the_same_record_under_a_supply_of_three_periods():
    record = three_rules(LotRule(periods=3))
    assert shown(record.receipts) == {4: 153, 7: 120}
    assert pieces(record.available) == [117, 117, 117, 150, 150, 0, 0, 0]


def test_the_same_record_lot_for_lot():
    assert shown(three_rules(LotRule()).receipts) == {4: 3, 6: 150, 7: 120}
