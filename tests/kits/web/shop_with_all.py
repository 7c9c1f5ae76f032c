"""The small shop with one of everything that a page can be about: its own, and one that belongs to something else."""

from datetime import date, datetime

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from bom.values import ONE
from kits.catalog.models import Item
from kits.exchange.actions import keep_upload, receive_upload
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.models import Upload
from kits.people.models import User
from kits.people.tokens.actions import make_token
from kits.picking.models import Bag, HandOver, PickRound, PumpQuestion, SentJob
from kits.planning.opening.actions import sign_for
from kits.purchasing.models import EndOfMaking, OrderLine, OutsideWork, ReplyLine, SupplierQuote
from kits.purchasing.orders.actions import draft_orders, send_order
from kits.purchasing.orders.writes import DraftLine
from kits.purchasing.returns.actions import GoesBack, refuse_at_door
from kits.schedule.models import Job
from kits.service.actions import Came, keep_photos, write_arrival
from kits.service.images import SentPhoto
from kits.service.models import FluidRule, GoAhead, Photo, SignRule
from kits.service.models import Quote as QuoteVersion
from kits.service.rules.actions import say_of_sign, take_published_cautions
from kits.stock.models import Balance, Certificate, Count, Lot, Place, Posting, TaughtCode, Unknown
from kits.stock.suspect_models import Concession
from kits.stock.suspects.actions import freeze_lot
from kits.web.request_keys import new_key
from tests.kits.persons import person_of
from tests.kits.service.pictures import jpeg
from tests.kits.web.hands import tap
from tests.kits.web.shops import load_small
from tests.kits.web.test_purchasing_pages import bring, filled
from tests.kits.web.test_request_pages import ask_ring_house

ROLES = {
    "clerk": "Storeroom clerk",
    "planner": "Planner",
    "purchaser": "Purchasing",
    "lead": "Service lead",
    "administrator": "Administrator",
    "viewer": "Viewer",
    "nobody": "",
}


def list_file(sheet, text):
    return SheetFile(f"{sheet}.csv", text.encode())


class ShopWithAll:
    """What there is, by name; ``people`` are one of each role, and one who signs in without any."""

    def __init__(self):
        load_small()
        self.people = {name: person_of(role, name) for name, role in ROLES.items()}
        chief = Client()
        chief.force_login(User.objects.create_superuser("chief"))
        clerk, read = self.people["clerk"], ["catalog.view_item"]
        self.token, _ = make_token(person=clerk, name="scales", scopes=read, by=clerk, at=timezone.now())
        self._store(chief)
        self._pick(chief)
        self._buy(chief)
        self._send_out()
        self._end()
        self._quote(chief)
        self._bring_lists()
        self._bring_a_pump()

    def _store(self, chief):
        lots = {lot.lot: lot for lot in Lot.objects.all()}
        self.ring, self.kit = lots["L-1"], lots["KIT-9"]
        self.shelf, self.cage = Place.objects.get(place="A1"), Place.objects.get(place="Q1")
        balances = [Balance.objects.get(lot__lot=lot) for lot in ("L-1", "B-7")]
        self.balance = balances[0]
        for balance in balances:
            tap(chief, "/storeroom/counts/", {"balance": [balance.pk]})
        self.count, self.other_count = Count.objects.order_by("pk")
        first = f"/storeroom/first/{self.shelf.pk}/"
        chief.post(first, {"key": new_key("unknown", self.shelf.pk), "looks_like": "green ring"})
        self.unknown = Unknown.objects.get()
        paper = SimpleUploadedFile("paper.pdf", b"%PDF-1.4 x", "application/pdf")
        chief.post(f"/storeroom/certificates/lots/{self.ring.pk}/", {"reference": "C-1", "file": paper})
        self.certificate = Certificate.objects.get()
        self.posting = Posting.objects.order_by("pk").first()

    def _pick(self, chief):
        for job in ("J-1", "J-2"):
            tap(chief, "/picking/start/", {"job": [job]}, on="/picking/")
        self.round, self.other_round = PickRound.objects.order_by("pk")
        self.job = Job.objects.get(job="J-1")
        line = self.other_round.lines.first()
        page = f"/picking/{self.other_round.pk}/"
        tap(chief, f"{page}lines/{line.pk}/", {"full": "1"}, on=f"{page}?line={line.pk}")
        self.other_bag, self.bag = Bag.objects.order_by("number")
        self.with_job = Balance.objects.filter(job__isnull=False, state="bagged", quantity__gt=0).first()
        address = f"/picking/bags/{self.bag.number}/"
        tap(chief, f"{address}hand-over/", {"taken_by": "Ana"}, on=address)
        self.hand_over = HandOver.objects.get()
        self.question = PumpQuestion.objects.create(
            job=self.job, lot=self.with_job.lot, quantity=self.with_job.quantity, key="asked", at=timezone.now()
        )
        chief_user, ball = User.objects.get(username="chief"), Lot.objects.get(lot="B-7")
        suspicion = freeze_lot(lot=ball, reason="wrong size", by=chief_user, at=timezone.now(), key="freeze")
        key = new_key("concede", self.job.pk, suspicion.pk)
        chief.post("/concede/J-1/", {"key": key, "suspicion": suspicion.pk, "reason": "measured"})
        self.concession = Concession.objects.get()
        page = "/picking/set-aside/"
        tap(chief, page, {"job": "J-1", "store": "plan"}, on=f"{page}?job=J-1")
        self.sent = SentJob.objects.get()
        self.taught_code = TaughtCode.objects.create(text="4006381333931", means="PART OR-014")

    def _buy(self, chief):
        said = {"quote": 13, "promised": datetime(2026, 3, 13), "quantity": 1000}
        rows = (("CO-1 / sure", said), ("BA-1 / wear", {"quote": 99}))
        bring(chief, filled(chief, *rows))
        self.answered, self.asked = ReplyLine.objects.order_by("key").reverse()
        key = new_key("accept", self.answered.reply_id)
        chief.post(f"/purchasing/replies/{self.answered.reply_id}/accept/", {"line": [self.answered.pk], "key": key})
        self.quote = SupplierQuote.objects.get()
        self.order_line = OrderLine.objects.get(order="PO-1")
        ask_ring_house(chief)
        self._draft()

    def _draft(self):
        buyer, line = self.people["purchaser"], self.order_line
        lines = [DraftLine(line.supplier, line.item, 1, line.quantity, date(2026, 3, 12))] * 2
        facts = {"by": buyer, "at": timezone.now(), "today": date(2026, 3, 4)}
        self.draft, self.sent_order = (
            draft_orders(lines=lines[:1], numbers={line.supplier.pk: number}, reason="short", key=number, **facts)[0]
            for number in ("PO-D", "PO-S")
        )
        send_order(order=self.sent_order.pk, sent_on=date(2026, 3, 4), key="send", **facts)
        back = GoesBack(line.quantity, "damaged", "", replaced=True)
        self.back = refuse_at_door(order_line=line.pk, back=back, key="back", **facts)
        self.held = Balance.objects.filter(condition="quarantine", job=None, quantity__gt=0).first()

    def _send_out(self):
        facts = {"work": "lapped", "left_in": "water", "sent_on": self.job.build_on, "promised_on": self.job.build_on}
        self.sent_out = OutsideWork.objects.create(
            key="sent out", supplier=self.order_line.supplier, item=self.ring.item, lot=self.ring, quantity=ONE,
            by=self.people["purchaser"], at=timezone.now(), **facts,
        )  # fmt: skip

    def _end(self):
        self.end = EndOfMaking.objects.create(
            key="end", item=Item.objects.get(part_number="BA-1"), from_on=self.job.build_on, source="a letter",
            by=self.people["purchaser"], at=timezone.now(),
        )  # fmt: skip

    def _quote(self, chief):
        tap(chief, "/quotes/J-1/", {"note": "as seen"})
        self.offer = QuoteVersion.objects.get()
        tap(chief, f"/go-aheads/{self.offer.pk}/", {"says": "Ms Reed"}, on="/quotes/J-1/")
        self.agreed = GoAhead.objects.get()

    def _bring_lists(self):
        jobs = list_file("schedule", "job,pump,scope,build_date\nJ-7,P-1,full,2026-03-18\n")
        items = list_file("items", "part_number,description,kind,stock_unit\nBA-2,ball,part,each\n")
        at, planner, lead = timezone.now(), self.people["planner"], self.people["lead"]
        self.jobs = keep_upload(files=[jobs], by=planner, at=at)
        self.items = keep_upload(files=[items], by=lead, at=at)
        self.half_done = receive_upload(files=[jobs], by=planner, at=at, worker="stopped")
        assert {one.state for one in Upload.objects.all()} == {"checked", "checking"}

    def _bring_a_pump(self):
        lead, at = self.people["lead"], timezone.now()
        job = Job.objects.select_related("pump").get(job="J-1")
        came = Came(serial="S-78", model="P-1", fluid="mineral oil")
        write_arrival(job=job, came=came, scope=job.scope, seen_at=None, by=lead, at=at, key="came")
        keep_photos(job=job, photos=[SentPhoto("plate.jpg", jpeg())], note="the plate", by=lead, at=at, key="photo")
        self.photo = Photo.objects.get()
        about, why = "the plate says serial S-78, the job S-77", "stamped anew"
        job = Job.objects.select_related("pump").get(job="J-1")
        self.waiver = sign_for(job=job, point="serial", about=about, why=why, by=lead, at=at, key="sign")
        take_published_cautions(by=lead, at=at, key="published")
        self.fluid_rule = FluidRule.objects.first()
        said = {"seen": "it leaks", "section": None, "scope": "full", "note": "", "why": "seen often"}
        say_of_sign(**said, by=lead, at=at, key="sign rule")
        self.sign_rule = SignRule.objects.get()
