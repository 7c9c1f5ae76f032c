"""Clerks who work at one shelf at once: each does what comes to his hand until the time is up, and keeps a journal.

A journal line is written before an action (``try``), after it (``done``, or ``refused`` with the sentence), so that
whatever was promised to a clerk can be looked for in the ledger afterwards, and whatever stands there was asked for.
"""

from __future__ import annotations

import json
import random
import time
import traceback
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

from django.db import transaction

from bom.values import ONE
from kits.catalog.caching.revisions import mark_shop
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.people.models import User
from kits.picking.actions import confirm_line, start_round, undo_line
from kits.picking.models import PickRound
from kits.purchasing.models import OrderLine
from kits.purchasing.receiving.actions import receive_delivery, take_back
from kits.purchasing.receiving.checks import DeliveredLot
from kits.schedule.models import Job
from kits.stock.actions import count_shelf, move_stock, scrap_stock
from kits.stock.ledger import OnShelf
from kits.stock.lists.put_away import away_rows
from kits.stock.models import Balance, KitPiece, Lot, Place, Posting, Suspicion
from kits.stock.packed_kits.actions import fill_up_kit, open_kits, pack_kits, rob_kit
from kits.stock.suspects.actions import freeze_lot, lift_suspicion
from kits.stock.writes import LotFacts
from tests.kits.stock.deliveries import take_in

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY = date(2026, 3, 4)
BUILD = date(2026, 3, 16)
PARTS = ("OR-210-N90", "OR-210-N70", "NUT", "SEAT")
PACKED = ("K-VALVE", "K-GLAND")
AT_LEAST = 8
"""What each clerk tries, however slow the machine."""


class Clerk:
    """One clerk: a name, his own dice, and where he writes down what he did."""

    def __init__(self, number: int, journal: Path, seed: int) -> None:
        self.name = f"clerk-{number}-{seed}"
        self.dice = random.Random(f"{seed}-{number}")
        self.journal = journal.open("a", buffering=1)
        self.count = 0
        self.mine: list[int] = []
        self.user = User.objects.get(username="clerk")
        self.places = list(Place.objects.filter(kind="bin"))
        self.doors = [*Place.objects.filter(kind="staging").values_list("pk", flat=True), self.places[0].pk]

    def work(self, seconds: float) -> None:
        """Do one thing after the other until the time is up, some on the slowest machine too.

        Anything but a refusal is written down as an error.
        """
        ends = time.monotonic() + seconds
        often = {
            self.receive: 3, self.take_delivery: 4, self.put_away: 3, self.move: 4, self.count_bin: 3, self.scrap: 1,
            self.take_back: 2, self.pick: 4, self.pack: 3, self.open: 2, self.rob: 1, self.fill_up: 1,
            self.freeze: 1, self.lift: 2,
        }  # fmt: skip
        while time.monotonic() < ends or self.count < AT_LEAST:
            action = self.dice.choices(list(often), weights=list(often.values()))[0]
            self.count += 1
            key = f"{self.name}:{self.count}"
            try:
                action(key)
            except Refusal as refusal:
                self.write("refused", key, says=str(refusal))
            except Exception:
                self.write("error", key, says=traceback.format_exc())

    def write(self, word: str, key: str, **more: object) -> None:
        """One line of the journal, on the disk before anything else happens."""
        self.journal.write(json.dumps({"word": word, "key": key, **more}) + "\n")

    def common(self, key: str) -> dict[str, object]:
        return {"by": self.user, "at": AT, "key": key}

    def some_balance(self) -> Balance | None:
        found = list(Balance.objects.on_shelf().filter(lot__item__part_number__in=PARTS, quantity__gt=0)[:50])
        return self.dice.choice(found) if found else None

    def receive(self, key: str) -> None:
        item = Item.objects.get(part_number=self.dice.choice(PARTS))
        quantity = self.dice.randint(1, 5) * ONE
        self.write("try", key, does="receive", change=quantity)
        code = f"R-{self.dice.randint(1, 4)}"
        place = self.dice.choice(self.places)
        posting = take_in(
            item=item,
            lot_code=code,
            facts=LotFacts(),
            quantity=quantity,
            place_id=place.pk,
            today=TODAY,
            by=self.user,
            at=AT,
            key=key,
        )
        self.done(key, posting)

    def move(self, key: str) -> None:
        if (balance := self.some_balance()) is None:
            return
        source = OnShelf(balance.lot_id, balance.place_id, balance.condition, balance.packet)
        target = replace(source, place_id=self.dice.choice([one.pk for one in self.places if one != balance.place]))
        quantity = self.dice.randint(1, max(1, balance.quantity // ONE)) * ONE
        self.write("try", key, does="move", change=0)
        self.done(key, move_stock(source=source, target=target, quantity=quantity, reason="moved", **self.common(key)))

    def count_bin(self, key: str) -> None:
        if (balance := self.some_balance()) is None:
            return
        account = OnShelf(balance.lot_id, balance.place_id, balance.condition, balance.packet)
        counted = max(0, balance.quantity + self.dice.randint(-2, 2) * ONE)
        self.write("try", key, does="count")
        self.done(key, count_shelf(account=account, counted=counted, reason="counted", **self.common(key)))

    def scrap(self, key: str) -> None:
        if (balance := self.some_balance()) is None:
            return
        source = OnShelf(balance.lot_id, balance.place_id, balance.condition, balance.packet)
        self.write("try", key, does="scrap", change=-ONE)
        self.done(key, scrap_stock(source=source, quantity=ONE, reason="torn", **self.common(key)))

    def take_back(self, key: str) -> None:
        if not self.mine:
            return
        posting = Posting.objects.get(pk=self.mine.pop())
        self.write("try", key, does="reverse")
        self.done(key, take_back(posting=posting, reason="wrong", **self.common(key)))

    def pick(self, key: str) -> None:
        """Start a round for some job, book its first open line twice (a double tap), now and then take it back."""
        job = self.dice.choice([*Job.objects.order_by("-pk")[:12], None]) or self.take_in_job(key)
        self.write("try", key, does="pick")
        running = PickRound.objects.filter(state="running", lines__state="open").order_by("?").first()
        made = running or start_round(jobs=[job], by=self.user, at=AT, key=f"{key}:round")
        line = made.lines.filter(state="open").order_by("?").first()
        if line is None:
            return
        usable = {"lot": line.lot_id, "place": line.place_id, "condition": "usable", "quantity__gt": 0}
        there, taken = sum(Balance.objects.on_shelf().filter(**usable).values_list("quantity", flat=True)), {}
        for share in line.shares.select_related("bag"):
            taken[share.bag.job_id] = min(share.asked, there)
            there -= taken[share.bag.job_id]
        said = {"line": line, "quantities": taken, "reason": "all that lay there", "by": self.user, "at": AT}
        said["request_key"] = key
        first, second = confirm_line(**said), confirm_line(**said)
        assert first.pk == second.pk, "a double tap booked twice"
        self.write("done", key, posting=first.pick_id and f"{key}:pick")
        if self.dice.random() < 0.3:
            undo_line(line=line, by=self.user, at=AT, request_key=f"{key}:undo")

    def take_in_job(self, key: str) -> Job:
        """One more pump, so that there is something to pick however long the clerks work."""
        like = Job.objects.filter(job__startswith="J-").order_by("?").first()
        with transaction.atomic():
            mark_shop()
            return Job.objects.create(job=key, pump=like.pump, scope=like.scope, build_on=BUILD)

    def take_delivery(self, key: str) -> None:
        """Take in part of an order line, in one lot or two, now and then more than is still to come, heard twice."""
        line = self.dice.choice(list(OrderLine.objects.select_related("item").filter(quantity__gt=0)) or [None])
        if line is None:
            return
        most = line.quantity // ONE + self.dice.choice((0, 0, 0, 2))
        cured = "1Q26" if line.item.shelf_life_months else ""
        lots = [
            DeliveredLot(f"{line.order}-{number}", LotFacts(cure=cured), quantity * ONE, self.dice.choice(self.doors))
            for number in range(self.dice.choice((1, 1, 2)))
            for quantity in [self.dice.randint(1, min(4, max(1, most)))]
        ]
        self.write("try", key, does="take delivery", change=sum(lot.quantity for lot in lots))
        said = {
            "item": line.item, "order_line": line, "lots": lots, "asked": {}, "reason": "", "short_life_reason": "",
            "over_reason": self.dice.choice(("", "", "they were in the box")), "today": TODAY, **self.common(key),
        }  # fmt: skip
        first = receive_delivery(**said)
        assert [one.pk for one in first] == [one.pk for one in receive_delivery(**said)], "a delivery came twice"
        for posting in first:
            self.done(key, posting)

    def put_away(self, key: str) -> None:
        row = self.dice.choice([row for row in away_rows() if row.home_id] or [None])
        if row is None:
            return
        balance = Balance.objects.get(pk=row.balance_id)
        if not balance.quantity:
            return
        source = OnShelf(balance.lot_id, balance.place_id, balance.condition, balance.packet)
        target = OnShelf(balance.lot_id, row.home_id, balance.condition, balance.packet)
        self.write("try", key, does="put away", change=0)
        said = {"source": source, "target": target, "quantity": balance.quantity, "reason": "put away"}
        self.done(key, move_stock(**said, **self.common(key)))

    def pack(self, key: str) -> None:
        """Pack a kit or two from loose lots; a double tap packs no more."""
        kit = Item.objects.get(part_number=self.dice.choice(PACKED))
        self.write("try", key, does="pack")
        count, place = self.dice.randint(1, 2), self.dice.choice(self.places).pk
        said = {"kit": kit, "count": count, "place_id": place, "lives_to": BUILD, "today": TODAY, **self.common(key)}
        first = pack_kits(**said)
        assert first.pk == pack_kits(**said).pk, "a double tap packed twice"
        self.done(key, first)

    def some_kit(self) -> Balance | None:
        """An account of kits whose contents were written down when they were packed."""
        recorded = KitPiece.objects.order_by().values("kit_lot")
        found = list(Balance.objects.on_shelf().filter(lot__in=recorded, quantity__gt=0).select_related("lot")[:50])
        return self.dice.choice(found) if found else None

    def at_kit(self, balance: Balance) -> dict[str, object]:
        account = OnShelf(balance.lot_id, balance.place_id, balance.condition, balance.packet)
        return {"kit_lot": balance.lot, "account": account, "today": TODAY}

    def open(self, key: str) -> None:
        if (balance := self.some_kit()) is None:
            return
        self.write("try", key, does="open")
        said = {**self.at_kit(balance), "count": 1, "reason": "not built", "place_id": self.dice.choice(self.places).pk}
        self.done(key, open_kits(**said, **self.common(key)))

    def rob(self, key: str) -> None:
        if (balance := self.some_kit()) is None:
            return
        piece = KitPiece.objects.filter(kit_lot=balance.lot_id, quantity__gt=0).order_by("?").first()
        if piece is None:
            return
        self.write("try", key, does="rob")
        said = {"item": piece.item, "piece_lot": piece.piece_lot, "quantity": ONE, "reason": "wanted at once"}
        self.done(key, rob_kit(**self.at_kit(balance), **said, **self.common(key)))

    def fill_up(self, key: str) -> None:
        owed = KitPiece.objects.filter(owed__gt=0).order_by().values("kit_lot")
        found = list(Balance.objects.on_shelf().filter(lot__in=owed, quantity__gt=0).select_related("lot")[:50])
        if not found:
            return
        self.write("try", key, does="fill up")
        self.done(key, fill_up_kit(**self.at_kit(self.dice.choice(found)), lives_to=BUILD, **self.common(key)))

    def freeze(self, key: str) -> None:
        """Freeze a lot with the kits that hold it; a double tap is one suspicion."""
        lot = self.dice.choice(list(Lot.objects.filter(item__part_number__in=PARTS)))
        self.write("try", key, does="freeze")
        said = {"lot": lot, "reason": "the maker wrote", **self.common(key)}
        first = freeze_lot(**said)
        assert first.pk == freeze_lot(**said).pk, "a double tap froze twice"
        self.write("done", key, posting=f"{key}:freeze" if first.freezes.exists() else None)

    def lift(self, key: str) -> None:
        open_ones = list(Suspicion.objects.filter(lifted_at__isnull=True).select_related("lot"))
        if not open_ones:
            return
        self.write("try", key, does="lift")
        lift_suspicion(suspicion=self.dice.choice(open_ones), reason="it was another lot", **self.common(key))
        posted = Posting.objects.filter(key=f"{key}:lift").first()
        self.write("done", key, posting=posted.key if posted else None)

    def done(self, key: str, posting: Posting | None) -> None:
        self.write("done", key, posting=posting.key if posting else None)
        if posting is not None and posting.kind != "reversal":
            self.mine.append(posting.pk)


def read_journals(folder: Path, which: str = "*.jsonl") -> list[dict[str, object]]:
    """Every whole line of the journals; a line that a killed clerk did not finish is left out."""
    lines = []
    for path in sorted(folder.glob(which)):
        for line in path.read_text().splitlines():
            try:
                lines.append(json.loads(line))
            except ValueError:
                continue
    return lines
