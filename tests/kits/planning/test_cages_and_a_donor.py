"""Two cages found cracked after the quote, one loose on the shelf and a donor beside it, worked out by hand.

Today is Wednesday 4 March 2026; the pump is built on Wednesday the 11th, its parts lie at the bench on Tuesday the
10th. Cages are sold in packs of two for 88.00 and take 12 working days: ordered today they are here on Friday the 20th,
8 working days after the 10th. A packed kit on the shelf, meant for nobody, holds one cage.
"""

from datetime import date
from decimal import Decimal

import pytest

from bom.questions.kits.proposals import take_from_kit
from bom.values import ONE
from kits.catalog.models import Item
from kits.planning.queries import plan_now
from kits.planning.sheets.jobs.quote import quote_sheet
from kits.schedule.models import Job
from kits.service.quoting.actions import store_quote
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Lot, Place
from kits.stock.packed_kits.actions import pack_kits, rob_kit
from kits.stock.queries import ledger_differences
from tests.kits.exchange.books import AT, SHOP, load_sheets
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db
TODAY, BUILD = date(2026, 3, 4), date(2026, 3, 11)
SHEETS = {
    **{name: SHOP[name] for name in ("Settings", "Places", "Suppliers")},
    "Items": [
        ["part_number", "description", "kind", "stock_unit", "material", "source"],
        ["P-1", "pump", "pump", "each", None, None],
        ["E-1", "end", "assembly", "each", None, None],
        ["CG", "ball cage", "part", "each", "steel", None],
        ["K-C", "cage kit", "kit", "each", None, "pack"],
    ],
    "Structure": [
        ["parent", "child", "quantity", "at_rebuild", "renewals_per_100", "position"],
        ["P-1", "E-1", 2, "open", None, "ends"],
        ["E-1", "CG", 1, "inspect", 10, "cage"],
        ["K-C", "CG", 1, None, None, None],
    ],
    "Scopes": [["pump", "scope", "section", "how_many"], ["P-1", "full", "E-1", 2]],
    "Lots": [["part_number", "lot", "quantity", "place"], ["CG", "C-1", 2, "A1"]],
    "Offers": [
        ["supplier", "part_number", "pack_size", "lead_time", "price_per_pack"],
        ["Ring House", "CG", 2, 12, 88],
    ],
    "Schedule": [["job", "pump", "scope", "build_date", "stage"], ["J-1", "P-1", "full", BUILD, "stripped"]],
}


def strip(verdict):
    rows = [["J-1", f"pump 1 / E-1 {end} / cage", "CG", verdict] for end in (1, 2)]
    assert load_sheets({"Verdicts": [["job", "where", "part_number", "verdict"], *rows]}).stored


def quote(lead, key):
    job = Job.objects.select_related("pump").get(job="J-1")
    return store_quote(job=job, said=quote_sheet(plan_now(TODAY), job).said, note="", by=lead, at=AT, key=key)


def standing():
    (answer,) = plan_now(TODAY).answers
    return answer.status, answer.days_late


def test_the_donor_brings_the_job_back_to_its_day_and_the_customer_pays_for_two_cages():
    outcome = load_sheets(SHEETS)
    assert outcome.stored, outcome.problems
    clerk, lead = person_of("Storeroom clerk", "clerk"), person_of("Service lead", "lead")
    place, kit, cage = (
        Place.objects.get(place="A1"),
        Item.objects.get(part_number="K-C"),
        Item.objects.get(part_number="CG"),
    )
    pack_kits(kit=kit, count=1, place_id=place.pk, lives_to=BUILD, today=TODAY, by=clerk, at=AT, key="pack")
    strip("keep")
    first = quote(lead, "1")
    assert standing() == ("ready", 0)

    strip("renew")
    second = quote(lead, "2")
    assert second.total - first.total == Decimal("88.00"), "two at 44.00, wherever they come from"
    assert standing() == ("short", 8)
    (donor,) = take_from_kit(plan_now(TODAY))
    assert (donor.job, donor.part_number, donor.quantity, [debt.kit for debt in donor.debts]) == (
        "J-1",
        "CG",
        ONE,
        ["K-C"],
    )
    assert donor.planned_for == ()

    rob_kit(
        kit_lot=Lot.objects.get(item=kit), account=OnShelf(Lot.objects.get(item=kit).pk, place.pk), item=cage,
        piece_lot=Lot.objects.get(lot="C-1"), quantity=ONE, today=TODAY, by=clerk, at=AT, key="rob",
        reason="J-1 is promised for Wednesday",
    )  # fmt: skip
    assert standing() == ("ready", 0)
    assert quote_sheet(plan_now(TODAY), Job.objects.select_related("pump").get(job="J-1")).is_current
    loose = Balance.objects.filter(lot__item=cage, place=place).values_list("quantity", flat=True)
    assert sum(loose) == 2 * ONE
    assert ledger_differences() == []
