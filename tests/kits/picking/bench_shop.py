"""A small shop to pick in: two ends a pump, kits at the door, nuts for four bags, look-alikes, a kit to be packed."""

from collections import defaultdict
from datetime import UTC, date, datetime

from django.contrib.auth.models import Group
from django.db import transaction

from bom.plan import plan
from bom.reading import ServedBy
from bom.values import ONE
from kits.catalog.caching.revisions import mark_catalog, mark_shop
from kits.catalog.models import Item, KitFit, ScopeSection, Setting, StructureLine
from kits.people.models import User
from kits.people.roles import CLEAN_WORK
from kits.picking.actions import confirm_line, start_round
from kits.planning.queries import reading_of
from kits.planning.snapshot.shop import take_snapshot
from kits.schedule.models import Job, Verdict
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Lot, Place
from kits.stock.writes import ShelfCount, post_shelf_counts
from tests.kits.kept_rows import kept_step, step_once

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
AS_OF = date(2026, 3, 4)


class BenchShop:
    """The shop, with short words for what tests do in it."""

    def __init__(self):
        vars(self).update(step_once("bench shop", self._open))

    def _open(self):
        with transaction.atomic():
            mark_catalog()
            mark_shop()
            self.clerk = User.objects.create_user("clerk")
            self.clerk.groups.add(Group.objects.get(name=CLEAN_WORK.name))
            Setting.objects.create(name="today", value=AS_OF.isoformat())
            self.places = {
                name: Place.objects.create(place=name, walk_order=order, kind=kind)
                for name, order, kind in (
                    ("K1", 10, "bin"),
                    ("A1", 20, "bin"),
                    ("A2", 30, "bin"),
                    ("H1", 40, "bin"),
                    ("Q1", 90, "quarantine"),
                )
            }
            self.items = {}
            self._list_items()
            self._list_structure()
            self._list_stock()
        return vars(self)

    def _list_items(self):
        self.item("PUMP", "pump")
        self.item("END", "assembly")
        self.item("VALVE", "assembly")
        self.item("CASE", "assembly")
        self.item("K-END", "kit", source="buy")
        self.item("K-VALVE", "kit", source="pack", lead_days=1)
        ring = {"form": "O-ring", "size": "0.734 x 0.139 in", "material": "NBR", "shelf_life_months": 180}
        self.item("OR-210-N90", hardness="90 A", **ring)
        self.item("OR-210-N70", hardness="70 A", **ring)
        self.item("OR-110-CLEAN", material="FKM", shelf_life_unlimited=True, resealed_usable=False, size="110",
                  cleanliness="oxygen_clean")  # fmt: skip
        self.item("SEAT", material="PEEK")
        self.item("NUT")
        self.item("BALL")
        self.item("GREASE", issue="bench")
        self.item("CORD", stock_unit="mm")

    def _list_structure(self):
        self.line("PUMP", "END", 2, "open")
        self.line("PUMP", "VALVE", 1, "open")
        self.line("PUMP", "CASE", 1, "open")
        self.line("CASE", "SEAT", 1, "keep")
        self.line("END", "OR-210-N90", 1, "renew", "gland")
        self.line("END", "OR-210-N70", 1, "renew", "shank")
        self.line("END", "NUT", 2, "renew", "studs")
        self.line("END", "GREASE", 1, "renew", "gland")
        self.line("END", "BALL", 1, "inspect", "ball")
        self.line("VALVE", "SEAT", 1, "renew")
        self.line("VALVE", "CORD", 310, "renew")
        self.line("K-END", "OR-210-N90", 1)
        self.line("K-VALVE", "SEAT", 1)
        KitFit.objects.create(kit=self.items["K-END"], fits=self.items["END"])
        KitFit.objects.create(kit=self.items["K-VALVE"], fits=self.items["VALVE"])
        for scope, section, how_many in (("both", "END", 2), ("one", "END", 1), ("valve", "VALVE", 1)):
            self.scope(scope, section, how_many)

    def _list_stock(self):
        self.stock("K-END", "K-1", "K1", 10, printed_last_use_on=date(2026, 3, 31))
        self.stock("OR-210-N70", "N-70", "A1", 40, cure="1Q23", cure_on=date(2023, 4, 1))
        self.stock("OR-210-N90", "N-90", "A1", 20, cure="1Q23", cure_on=date(2023, 4, 1))
        self.stock("NUT", "H-1", "H1", 40)
        self.stock("SEAT", "S-1", "A2", 8)
        self.stock("CORD", "C-1", "A2", 1000)

    def item(self, number, kind="part", stock_unit="each", **columns):
        self.items[number] = Item.objects.create(
            part_number=number, description=f"{number} of the test", kind=kind, stock_unit=stock_unit, **columns
        )
        return self.items[number]

    def line(self, parent, child, quantity, at_rebuild="", position="", **columns):
        StructureLine.objects.create(
            parent=self.items[parent],
            child=self.items[child],
            quantity=quantity * ONE,
            at_rebuild=at_rebuild,
            position=position,
            **columns,
        )

    def scope(self, scope, section, how_many=1):
        ScopeSection.objects.create(
            pump=self.items["PUMP"], scope=scope, section=self.items[section], how_many=how_many
        )

    def stock(self, part, code, place, quantity, condition="usable", packet="sealed", **facts):
        lot, count = self.lot_at(part, code, place, quantity, condition, packet, **facts)
        self.lay_in(count, key=f"stock {part} {code} {place} {condition} {packet} {quantity}")
        return lot

    def lot_at(self, part, code, place, quantity, condition="usable", packet="sealed", **facts):
        """A lot, and that so much of it lies at a place."""
        lot, _ = Lot.objects.get_or_create(item=self.items[part], lot=code, defaults=facts)
        account = OnShelf(lot.pk, self.places[place].pk, condition, packet)
        return lot, ShelfCount(account, quantity * ONE)

    def lay_in(self, *counts, key):
        with transaction.atomic():
            post_shelf_counts(counts, by=None, at=AT, key=key)

    @kept_step
    def job(self, number, scope="both", build_on=date(2026, 3, 16), **columns):
        with transaction.atomic():
            mark_shop()
            return Job.objects.create(job=number, pump=self.items["PUMP"], scope=scope, build_on=build_on, **columns)

    @kept_step
    def looked_at(self, job, verdict="keep"):
        """Both ends of a job on one pump were opened, and each ball was decided on."""
        with transaction.atomic():
            mark_shop()
            for end in range(1, 1 + (1 if job.scope == "one" else 2)):
                where = f"pump 1 / END {end} / ball"
                Verdict.objects.create(job=job, where=where, item=self.items["BALL"], verdict=verdict)

    def four_jobs(self):
        """Jobs that ask for 4 + 4 + 2 + 2 nuts."""
        scopes = ("both", "both", "one", "one")
        return [self.job(f"J-{n}", scope, date(2026, 3, 15 + n)) for n, scope in enumerate(scopes, 1)]

    @kept_step
    def start(self, *jobs, key="start"):
        return start_round(jobs=jobs, by=self.clerk, at=AT, key=key)

    @kept_step
    def pick(self, *jobs, key="pick"):
        """A round of the jobs, walked to its end."""
        made = self.start(*jobs, key=key)
        for line in made.lines.filter(state="open"):
            confirm_line(line=line, quantities=full(line), by=self.clerk, at=AT, request_key=f"{key} {line.number}")
        return made

    def plan(self):
        return plan(take_snapshot(AS_OF))

    def asked(self, job):
        """What the plan says that a job asks for besides what lies in its bag, loose or as kits, in stock units."""
        reading = reading_of(self.plan())
        found = defaultdict(int)
        for part, served in reading.served_of(reading.jobs[job.job]):
            if served.source is not ServedBy.BAG:
                found[part] += served.quantity / ONE
        return dict(found)


def line_of(made, part_number):
    return made.lines.get(lot__item__part_number=part_number)


def full(line):
    """The quantities of a line that is picked in full."""
    return {share.bag.job_id: share.asked for share in line.shares.select_related("bag")}


def held(part_number, **where):
    """What accounts of a part hold, in stock units."""
    rows = Balance.objects.filter(lot__item__part_number=part_number, **where)
    return sum(rows.values_list("quantity", flat=True)) / ONE


def shares(line):
    return [(share.bag.job.job, share.asked / ONE) for share in line.shares.select_related("bag__job")]
