"""Clerks who work at one shelf at once: each does what comes to his hand until the time is up, and keeps a journal.

A journal line is written before an action (``try``), after it (``done``, or ``refused`` with the sentence), so that
whatever was promised to a clerk can be looked for in the ledger afterwards, and whatever stands there was asked for.
"""

from __future__ import annotations

import json
import random
import time
import traceback
from datetime import UTC, date, datetime
from pathlib import Path

from bom.values import ONE
from kits.catalog.errors import Refusal
from kits.catalog.models import Item
from kits.people.models import User
from kits.picking.actions import confirm_line, start_round, undo_line
from kits.picking.models import PickRound
from kits.schedule.models import Job
from kits.stock.actions import count_shelf, move_stock, receive_lot, reverse_posting, scrap_stock
from kits.stock.ledger import OnShelf
from kits.stock.models import Balance, Place, Posting
from kits.stock.writes import LotFacts

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
TODAY = date(2026, 3, 4)
PARTS = ("OR-210-N90", "OR-210-N70", "NUT", "SEAT")


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

    def work(self, seconds: float) -> None:
        """Do one thing after the other until the time is up; anything but a refusal is written down as an error."""
        ends = time.monotonic() + seconds
        actions = (self.receive, self.move, self.count_bin, self.scrap, self.take_back, self.pick)
        while time.monotonic() < ends:
            action = self.dice.choices(actions, weights=(4, 5, 3, 1, 1, 3))[0]
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
        posting = receive_lot(
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
        target = OnShelf(balance.lot_id, self.dice.choice(self.places).pk)
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
        self.done(key, reverse_posting(posting=posting, reason="wrong", **self.common(key)))

    def pick(self, key: str) -> None:
        """Start a round for some job, book its first open line twice (a double tap), now and then take it back."""
        job = self.dice.choice(list(Job.objects.all()))
        self.write("try", key, does="pick")
        running = PickRound.objects.filter(state="running", lines__state="open").order_by("?").first()
        made = running or start_round(jobs=[job], by=self.user, at=AT, key=f"{key}:round")
        line = made.lines.filter(state="open").order_by("?").first()
        if line is None:
            return
        asked = {share.bag.job_id: share.asked for share in line.shares.select_related("bag")}
        said = {"line": line, "quantities": asked, "by": self.user, "at": AT, "request_key": key}
        first, second = confirm_line(**said), confirm_line(**said)
        assert first.pk == second.pk, "a double tap booked twice"
        self.write("done", key, posting=first.pick_id and f"{key}:pick")
        if self.dice.random() < 0.3:
            undo_line(line=line, by=self.user, at=AT, request_key=f"{key}:undo")

    def done(self, key: str, posting: Posting | None) -> None:
        self.write("done", key, posting=posting.key if posting else None)
        if posting is not None and posting.kind != "reversal":
            self.mine.append(posting.pk)


def read_journals(folder: Path) -> list[dict[str, object]]:
    """Every whole line of every journal; a line that a killed clerk did not finish is left out."""
    lines = []
    for path in sorted(folder.glob("*.jsonl")):
        for line in path.read_text().splitlines():
            try:
                lines.append(json.loads(line))
            except ValueError:
                continue
    return lines
