"""A small shop in the tables, which grows by as many pumps, parts, lots and jobs as a test asks for."""

from datetime import UTC, date, datetime
from decimal import Decimal

from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Item, KitFit, ScopeSection, Setting, StructureLine
from kits.purchasing.models import Offer, OrderLine, Supplier
from kits.schedule.models import Batch, Job, OtherNeed, Verdict
from kits.stock.ledger import OnShelf
from kits.stock.models import Lot, Place
from kits.stock.writes import JobCount, ShelfCount, post_shelf_counts, set_job_counts

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
AS_OF = date(2026, 3, 4)


def fill_shop(count):
    """Store ``count`` pumps with one part, lot, order, job, need and verdict each."""
    with transaction.atomic():
        mark_catalog()
        mark_shop()
        Setting.objects.create(name="currency", value="EUR")
        Setting.objects.create(name="staging_days", value="2")
        supplier = Supplier.objects.create(
            supplier="Norrvik Seals",
            currency="EUR",
            transit_days=2,
            closed_from_on=date(2026, 8, 3),
            closed_to_on=date(2026, 8, 14),
        )
        batch = Batch.objects.create(name="March")
        cage = Place.objects.create(place="Cage", kind="quarantine")
        for number in range(count):
            fill_pump(number, supplier, batch, cage)


def fill_pump(number, supplier, batch, cage):
    pump = make_item(f"PUMP-{number}", "pump", default_option="compound=NBR")
    ring = make_item(f"RING-{number}", "part", shelf_life_months=36, lead_days=5, min_life_at_receipt="75 %")
    kit = make_item(f"KIT-{number}", "kit", source="pack", lead_days=1)
    only = make_item(f"ONLY-{number}", "part", source="in_kit_only", get_as=kit, issue="bench")
    StructureLine.objects.create(
        parent=pump,
        child=ring,
        quantity=4 * ONE,
        at_rebuild="inspect",
        position="ball",
        renewals_per_100=Decimal("12.5"),
        option="compound=NBR",
    )
    StructureLine.objects.create(parent=kit, child=only, quantity=ONE, order=2)
    StructureLine.objects.create(parent=kit, child=ring, quantity=3 * ONE, order=1, from_on=date(2026, 1, 1))
    ScopeSection.objects.create(pump=pump, scope="Full reseal", section=pump, how_many=1, option="compound=NBR")
    KitFit.objects.create(kit=kit, fits=pump, set_name="a", instances=1)
    Offer.objects.create(
        supplier=supplier, item=ring, pack_size=25 * ONE, lead_days=8, price_per_pack=Decimal("9.5"), currency="USD"
    )
    OrderLine.objects.create(
        order=f"PO-{number}", line="1", supplier=supplier, item=ring, quantity=9 * ONE, promised_on=date(2026, 3, 9)
    )
    OrderLine.objects.create(
        order=f"PO-{number}", line="2", supplier=supplier, item=ring, quantity=0, promised_on=date(2026, 3, 9)
    )
    job = Job.objects.create(
        job=f"J-{number}",
        pump=pump,
        scope=" full  RESEAL",
        build_on=date(2026, 3, 16),
        batch=batch,
        option="Compound=nbr",
    )
    OtherNeed.objects.create(need=f"van {number}", item=ring, quantity=2 * ONE, need_on=date(2026, 3, 20))
    Verdict.objects.create(job=job, where="pump 1 / ball 1", item=ring, verdict="renew", found="pitted")
    lot = Lot.objects.create(item=ring, lot="4Q25", cure="4Q25", cure_on=date(2026, 1, 1), received_on=AS_OF)
    bin_ = Place.objects.create(place=f"A-{number}")
    post_shelf_counts(
        [ShelfCount(OnShelf(lot.pk, bin_.pk), 7 * ONE), ShelfCount(OnShelf(lot.pk, cage.pk), 3 * ONE)],
        by=None,
        at=AT,
        key=f"shelf {number}",
    )
    set_job_counts(
        [
            JobCount(job.pk, lot.pk, "reserved", ONE, bin_.pk),
            JobCount(job.pk, lot.pk, "bagged", 2 * ONE),
            JobCount(job.pk, lot.pk, "issued", 3 * ONE),
            JobCount(job.pk, lot.pk, "returned", ONE),
        ],
        by=None,
        at=AT,
        key=f"job {number}",
    )


def make_item(number, kind, **columns):
    return Item.objects.create(part_number=number, description="x", kind=kind, stock_unit="each", **columns)
