"""A shop that packs a kit of two rings, a seat and a length of cord, grease that is never counted, and their lots."""

from datetime import UTC, date, datetime

from django.db import transaction
from django.db.models import Sum

from bom.values import ONE
from kits.catalog.models import Item, StructureLine
from kits.people.models import User
from kits.schedule.models import Job
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, KitPiece, Lot, Place
from kits.stock.packed_kits.actions import fill_up_kit, open_kits, pack_kits, rob_kit
from kits.stock.queries import ledger_differences
from kits.stock.writes import ShelfCount, post_shelf_counts

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY = date(2026, 3, 4)
BUILD = date(2026, 3, 24)


class KitShop:
    """The bench, with short words for what tests do at it."""

    def __init__(self):
        self.clerk = User.objects.create_user("clerk", first_name="Cleo", last_name="Clerk")
        self.places = {
            name: Place.objects.create(place=name, kind=kind)
            for name, kind in (("K1", "bin"), ("A1", "bin"), ("C1", "bin"), ("Q1", "quarantine"))
        }
        self.items = {}
        self.item("PUMP", "pump")
        self.item("KIT", "kit", source="pack", lead_days=1)
        self.item("RING", shelf_life_months=180, material="NBR", home_place="A1")
        self.item("SEAT", material="PEEK", home_place="C1")
        self.item("CORD", stock_unit="mm")
        self.item("GREASE", issue="bench")
        for child, quantity in (("RING", 2), ("SEAT", 1), ("CORD", 310), ("GREASE", 1)):
            self.line("KIT", child, quantity)
        self.job = Job.objects.create(job="J-1", pump=self.items["PUMP"], scope="full", build_on=BUILD)
        self.stock("RING", "OLD", "A1", 3, printed_last_use_on=date(2026, 3, 31))
        self.stock("RING", "NEW", "A1", 20, printed_last_use_on=date(2030, 3, 31))
        self.stock("SEAT", "S-1", "C1", 5)
        self.stock("CORD", "C-1", "C1", 2000)

    def item(self, number, kind="part", stock_unit="each", **columns):
        self.items[number] = Item.objects.create(
            part_number=number, description=f"{number} of the test", kind=kind, stock_unit=stock_unit, **columns
        )
        return self.items[number]

    def line(self, parent, child, quantity, **columns):
        return StructureLine.objects.create(
            parent=self.items[parent], child=self.items[child], quantity=quantity * ONE, **columns
        )

    def stock(self, part, code, place, quantity, condition="usable", packet="sealed", **facts):
        lot, _ = Lot.objects.get_or_create(item=self.items[part], lot=code, defaults=facts)
        account = OnShelf(lot.pk, self.places[place].pk, condition, packet)
        with transaction.atomic():
            post_shelf_counts(
                [ShelfCount(account, quantity * ONE)],
                by=None,
                at=AT,
                key=f"stock {part} {code} {place} {condition} {packet} {quantity}",
            )
        return lot

    def pack(self, count, lives_to=BUILD, key="pack", kit="KIT", **columns):
        return pack_kits(
            kit=self.items[kit],
            count=count,
            place_id=self.places["K1"].pk,
            lives_to=lives_to,
            today=TODAY,
            by=self.clerk,
            at=AT,
            key=key,
            **columns,
        )

    def open(self, lot, count=1, key="open", condition="usable", **columns):
        account = OnShelf(lot.pk, self.places["K1"].pk, condition)
        return open_kits(
            kit_lot=lot,
            account=account,
            count=count,
            today=TODAY,
            by=self.clerk,
            at=AT,
            key=key,
            reason="not wanted any more",
            **columns,
        )

    def rob(self, lot, part, code, quantity=1, key="rob", reason="wanted by J-1 today", **columns):
        return rob_kit(
            kit_lot=lot,
            account=OnShelf(lot.pk, self.places["K1"].pk),
            item=self.items[part],
            piece_lot=self.lot(part, code) if code else None,
            quantity=quantity * ONE,
            today=TODAY,
            by=self.clerk,
            at=AT,
            key=key,
            reason=reason,
            **columns,
        )

    def fill_up(self, lot, lives_to=BUILD, key="fill"):
        return fill_up_kit(
            kit_lot=lot,
            account=OnShelf(lot.pk, self.places["K1"].pk),
            lives_to=lives_to,
            today=TODAY,
            by=self.clerk,
            at=AT,
            key=key,
        )

    def lot(self, part, code):
        return Lot.objects.by_code(self.items[part], code)

    def loose(self, part, kit_lot):
        """The lot of pieces that came out of kits whose own lots nobody knew."""
        return Lot.objects.get(item=self.items[part], out_of=kit_lot)

    def kit_lots(self, kit="KIT"):
        """The lots of a kit of which something is left, and how many."""
        rows = Lot.objects.filter(item=self.items[kit]).annotate(left=Sum("balances__quantity")).order_by("pk")
        return {lot: lot.left // ONE for lot in rows if lot.left}


def held(lot, **where):
    """What accounts of a lot hold, in stock units."""
    return sum(Balance.objects.filter(lot=lot, **where).values_list("quantity", flat=True)) / ONE


def recorded(kit_lot):
    """What one kit holds by its record: part and lot -> there, owed."""
    rows = KitPiece.objects.filter(kit_lot=kit_lot).select_related("item", "piece_lot")
    return {
        (row.item.part_number, row.piece_lot.lot if row.piece_lot else ""): (row.quantity / ONE, row.owed / ONE)
        for row in rows
    }


def of_lot(lot):
    """All of a lot that is anywhere: on the shelf, with jobs, and inside kits."""
    rows = KitPiece.objects.filter(piece_lot=lot).select_related("kit_lot")
    inside = sum(row.quantity / ONE * held(row.kit_lot) for row in rows)
    return held(lot) + inside


def assert_ledger_holds():
    assert ledger_differences() == []
