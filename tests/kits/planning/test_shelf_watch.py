"""What is watched on the shelf: last days against the plan, use first, minimum stocks, customers' lots, worth."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from kits.exchange.actions import load_files
from kits.planning.lists.bench_top_up import top_up_sheet
from kits.planning.lists.customer_lots import customer_lots
from kits.planning.lists.ending_lots import ending_sheet, parts_to_use_first, use_first
from kits.planning.lists.shelf_value import shelf_value
from kits.planning.queries import plan_now
from tests.kits.exchange.books import SHOP, book_file, load_sheets

pytestmark = pytest.mark.django_db

TODAY = date(2026, 3, 4)
LOT_COLUMNS = ["part_number", "lot", "quantity", "place", "cure", "last_use", "packet", "owner"]
ITEM_COLUMNS = [*SHOP["Items"][0], "minimum", "maximum", "home_place", "issue", "unit_cost", "resealed_usable"]

LOOSE_JOB = [
    ["job", "pump", "scope", "build_date", "use_kits"],
    ["J-1", "P-1", "full", date(2026, 3, 16), "no"],
]


def shop(lots=(), items=(), schedule=None, places=()):
    own = {row[0] for row in items}
    kept = [[*row, *[None] * 6] for row in SHOP["Items"][1:] if row[0] not in own]
    sheets = {
        **SHOP,
        "Items": [ITEM_COLUMNS, *kept, *map(list, items)],
        "Lots": [LOT_COLUMNS, *map(list, lots)],
        "Places": [*SHOP["Places"], *map(list, places)],
        "Schedule": schedule or LOOSE_JOB,
    }
    outcome = load_sheets(sheets)
    assert outcome.stored, [problem.says for problem in outcome.problems]


def ring(lot, quantity, last_use, place="A1", packet="sealed", owner=None):
    return ("OR-014", lot, quantity, place, None, last_use, packet, owner)


def standings(sheet):
    return {row.lot: row.standing for row in sheet.rows}


class TestEnding:
    def test_each_lot_is_told_what_becomes_of_it(self):
        # The job builds on 16 March and asks for six rings.
        shop(
            [
                ring("GONE", 5, date(2026, 3, 3)),
                ring("TOO-EARLY", 5, date(2026, 3, 15)),
                ring("TAKEN", 4, date(2026, 3, 16)),
                ring("LEFT", 7, date(2026, 12, 31)),
                ring("LASTS", 7, date(2030, 12, 31)),
            ]
        )
        sheet = ending_sheet(plan_now())
        assert standings(sheet) == {"GONE": "past", "TOO-EARLY": "wasted", "TAKEN": "used", "LEFT": "later"}
        early = next(row for row in sheet.rows if row.lot == "TOO-EARLY")
        assert (early.before_job, early.before_build_on, early.unused.text) == ("J-1", date(2026, 3, 16), "5")
        left = next(row for row in sheet.rows if row.lot == "LEFT")
        assert (left.taken.text, left.unused.text) == ("2", "5")

    def test_the_day_itself_still_counts(self):
        shop([ring("TODAY", 5, TODAY)])
        assert standings(ending_sheet(plan_now())) == {"TODAY": "wasted"}

    def test_only_the_months_asked_for_are_looked_at(self):
        shop([ring("NEAR", 1, date(2026, 4, 4)), ring("FAR", 1, date(2026, 4, 5))])
        assert list(standings(ending_sheet(plan_now(), months=1))) == ["NEAR"]

    def test_one_standing_alone_can_be_asked_for_and_the_counts_stay(self):
        shop([ring("GONE", 5, date(2026, 3, 3)), ring("TAKEN", 4, date(2026, 3, 16))])
        sheet = ending_sheet(plan_now(), standing="past")
        assert list(standings(sheet)) == ["GONE"]
        assert sheet.counts["used"] == 1

    def test_what_is_reserved_counts_as_used(self):
        sheets = {"Issued": [["job", "part_number", "lot", "quantity", "state", "place"]]}
        shop([ring("HELD", 4, date(2026, 4, 30))])
        sheets["Issued"].append(["J-1", "OR-014", "HELD", 4, "reserved", "A1"])
        assert load_sheets(sheets).stored
        assert standings(ending_sheet(plan_now())) == {"HELD": "used"}


class TestUseFirst:
    def test_the_lot_that_ends_first_stands_first(self):
        shop([ring("B", 3, date(2031, 1, 31)), ring("A", 4, date(2030, 1, 31)), ring("C", 2, None)])
        (row,) = [row for row in use_first(parts_to_use_first(plan_now())) if row.part_number == "OR-014"]
        assert row.first.lot == "A"
        assert [lot.lot for lot in row.then] == ["B"]
        assert not row.ends_soon

    def test_a_single_lot_that_lasts_needs_no_word(self):
        shop([ring("ONE", 3, date(2036, 1, 31))])
        assert use_first(parts_to_use_first(plan_now())) == ()

    def test_a_single_lot_that_ends_soon_does(self):
        shop([ring("ONE", 3, date(2026, 6, 30))])
        (row,) = use_first(parts_to_use_first(plan_now()))
        assert row.ends_soon
        assert row.then == ()

    def test_what_may_not_be_used_is_not_named(self):
        shop(
            [
                ring("GONE", 3, date(2026, 3, 3)),
                ring("ONE", 3, date(2026, 6, 30)),
                ring("LOOSE", 3, date(2026, 5, 31), packet="loose"),
            ]
        )
        (row,) = use_first(parts_to_use_first(plan_now()))
        assert (row.first.lot, row.then) == ("ONE", ())


class TestTopUp:
    NUTS = ("NU-8", "nut", "part", "each", "steel", None, None, 20, 50, "BENCH", "bench", None, None)

    def nuts(self, lot, quantity, place, **more):
        return (
            "NU-8",
            lot,
            quantity,
            place,
            None,
            more.get("last_use"),
            more.get("packet", "sealed"),
            more.get("owner"),
        )

    def bench(self, **more):
        (bench,) = top_up_sheet(today=TODAY, **more).benches
        (row,) = bench.rows
        return bench.home, row

    def test_below_the_minimum_it_is_brought_up_to_the_maximum(self):
        shop([self.nuts("A", 19, "BENCH"), self.nuts("B", 100, "A1")], [self.NUTS], places=[["BENCH", 99]])
        home, row = self.bench()
        assert home == "BENCH"
        assert [(fetch.place, fetch.lot, fetch.quantity.text) for fetch in row.fetches] == [("A1", "B", "31")]
        assert row.to_buy.text == "0"

    def test_at_the_minimum_nothing_is_brought(self):
        shop([self.nuts("A", 20, "BENCH"), self.nuts("B", 100, "A1")], [self.NUTS], places=[["BENCH", 99]])
        assert top_up_sheet(today=TODAY).benches == ()
        _, row = self.bench(below_only=False)
        assert (row.below, row.bring.text) == (False, "0")

    def test_the_lot_that_ends_first_is_brought_first_and_the_rest_is_bought(self):
        lots = [
            self.nuts("LATE", 6, "A1", last_use=date(2029, 1, 1)),
            self.nuts("SOON", 5, "A1", last_use=date(2027, 1, 1)),
            self.nuts("GONE", 90, "A1", last_use=date(2026, 3, 3)),
            self.nuts("HELD", 90, "Q1"),
            self.nuts("HIS", 90, "A1", owner="Ferry line"),
        ]
        shop(lots, [self.NUTS], places=[["BENCH", 99], ["Q1", 90, "quarantine"]][:1])
        load_sheets({"Places": [["place", "kind"], ["Q1", "quarantine"]]})
        _, row = self.bench()
        assert [(fetch.lot, fetch.quantity.text) for fetch in row.fetches] == [("SOON", "5"), ("LATE", "6")]
        assert row.to_buy.text == "39"

    def test_what_is_on_order_need_not_be_bought(self):
        shop([], [self.NUTS], places=[["BENCH", 99]])
        orders = [
            ["order", "line", "supplier", "part_number", "quantity", "promised"],
            ["PO-9", 1, "Ring House", "NU-8", 45, date(2026, 4, 1)],
        ]
        assert load_sheets({"Orders": orders}).stored
        _, row = self.bench()
        assert (row.on_order.text, row.to_buy.text) == ("45", "5")


class TestCustomers:
    def test_his_lots_are_listed_with_the_jobs_they_go_into(self):
        schedule = [
            ["job", "pump", "scope", "build_date", "customer"],
            ["J-1", "P-1", "full", date(2026, 3, 16), "Ferry Line"],
            ["J-2", "P-1", "full", date(2026, 3, 17), "Dock"],
        ]
        shop(
            [ring("HIS", 4, date(2030, 1, 1), owner="ferry line"), ring("OURS", 40, date(2029, 1, 1))],
            schedule=schedule,
        )
        (customer,) = customer_lots(plan_now())
        assert customer.open_jobs == ("J-1",)
        (row,) = customer.rows
        assert (row.lot, row.quantity.text) == ("HIS", "4")
        assert set(row.jobs) <= {"J-1"}

    def test_without_a_job_of_his_nothing_is_taken(self):
        shop([ring("HIS", 4, date(2030, 1, 1), owner="Somebody")])
        (customer,) = customer_lots(plan_now())
        assert (customer.open_jobs, customer.rows[0].taken.text, customer.rows[0].jobs) == ((), "0", ())


class TestWorth:
    def test_own_cost_goes_before_an_offer_and_an_offer_before_nothing(self):
        ball = ("BA-1", "ball", "part", "each", "steel", None, None, None, None, None, None, 2.5, None)
        shop(
            [
                ring("R", 10, date(2036, 1, 1)),
                ("BA-1", "B", 4, "A1", None, None, "sealed", None),
                ("CO-1", "C", 900, "A1", None, date(2036, 1, 1), "sealed", None),
            ],
            [ball],
        )
        value = shelf_value(today=TODAY)
        worths = {row.lot: (row.worth, row.cost_from) for row in value.rows}
        # 25 rings are offered at 9.50: ten are worth 3.80. Four balls at 2.50 are 10.00.
        assert worths == {"R": (Decimal("3.80"), "Ring House"), "B": (Decimal("10.00"), "own"), "C": (None, "")}
        assert (value.worth, value.without_cost) == (Decimal("13.80"), 1)

    def test_what_a_customer_owns_is_worth_nothing_to_the_shop(self):
        shop([ring("HIS", 10, date(2036, 1, 1), owner="Dock")])
        value = shelf_value(today=TODAY)
        assert (value.worth, value.owned, value.without_cost) == (Decimal(0), 1, 0)

    def test_two_years_without_a_movement_are_sleep_and_a_year_to_live_is_dying(self):
        sheets = {**SHOP, "Lots": [LOT_COLUMNS, list(ring("OLD", 25, date(2026, 12, 31)))]}
        at = datetime(2024, 3, 3, 12, tzinfo=UTC)
        assert load_files(files=[book_file(sheets)], by=None, at=at).stored
        value = shelf_value(today=TODAY)
        assert (value.sleeping, value.dying, value.past) == (Decimal("9.50"), Decimal("9.50"), Decimal(0))
        assert [row.lot for row in shelf_value(today=TODAY, only="sleeps").rows] == ["OLD"]
        assert not shelf_value(today=date(2026, 3, 3), only="sleeps").rows
