"""Supply against demand: piece by piece, lot by lot, order line by order line."""

from dataclasses import dataclass, field, replace
from datetime import date

from bom.values import ASKING_STAGES, ONE
from tests.oracle.explosion import Conditions, contents_of
from tests.oracle.structure import fold, natural

FAR = date.max
LATEST_FOR_WEAR = 60  # working days after the need date


@dataclass(eq=False)
class LotLeft:
    lot: object
    reason: str | None
    free: int
    reserved_elsewhere: int = 0


@dataclass(eq=False)
class OrderLeft:
    line: object
    arrives: date
    overdue: bool
    left: int


@dataclass(eq=False)
class Piece:
    """What one job (or other need, or the wear of one build date) asks of one item along one way."""

    part_number: str
    quantity: int
    name: str
    need: date
    build: date
    priority: int
    customer: str
    conditions: Conditions
    via: str = ""
    wear_of: str = ""  # the inspected item behind a planned piece; empty for sure pieces
    bag: int = 0
    lots: list = field(default_factory=list)  # (LotLeft, quantity)
    orders: list = field(default_factory=list)  # (OrderLeft, quantity, late)
    packed: int = 0
    uncovered: int = 0
    contents: list = field(default_factory=list)
    holder: "Piece | None" = None  # what it is packed into, or what the kit is packed into that it fills up
    fills: bool = False  # what a kit from the shelf is without

    @property
    def is_asked_by_job(self):
        return self.holder is None

    @property
    def serving_key(self):
        return (self.need, self.priority, self.build, self.name, self.via != "", self.via)

    @property
    def wear_key(self):
        return (self.need, self.build, self.via != "", self.via)

    def with_all_contents(self):
        yield self
        for inside in self.contents:
            yield from inside.with_all_contents()


def lot_key(lot):
    """Earliest last use first, then received, then lot code; of one lot the opened packets first."""
    return (lot.last_use or FAR, lot.received or FAR, lot.lot, lot.packet == "sealed", lot.place)


def reason_left_out(lot, item, as_of: date) -> str | None:
    if lot.condition != "usable":
        return lot.condition
    if item.limited_life and lot.last_use is None:
        return "no_date"
    if lot.last_use is not None and lot.last_use < as_of:
        return "expired"
    return None if packet_allows(lot, item) else "resealed"


def packet_allows(lot, item, clean_work: bool = False) -> bool:
    """What is clean is so in its sealed packet only; what does not age minds no packet."""
    if lot.packet == "sealed":
        return True
    if clean_work or item.cleanliness != "normal":
        return False
    return item.ageless or (lot.packet == "resealed" and item.resealed_usable)


def lasts(last_use: date | None, until: date) -> bool:
    return last_use is None or last_use >= until


class Supply:
    """Everything on the shelf and on order, getting less as pieces are served."""

    def __init__(self, shop, structure):
        self.as_of = shop.as_of
        self.items = structure.items
        self.lots, self.orders = {}, {}
        self.own_reserved, self.own_bagged, self.in_bags = {}, {}, {}  # the bags as they were: (last use, quantity)
        for lot in sorted(shop.lots, key=lot_key):
            reason = reason_left_out(lot, structure.items[lot.part_number], shop.as_of)
            self.lots.setdefault(lot.part_number, []).append(LotLeft(lot, reason, lot.quantity))
        for line in shop.orders:
            arrives = max(line.promised, shop.as_of)
            order = OrderLeft(line, arrives, line.promised < shop.as_of, line.quantity)
            self.orders.setdefault(line.part_number, []).append(order)
        for orders in self.orders.values():
            orders.sort(key=lambda order: (order.arrives, natural(order.line.order), natural(order.line.line)))
        asking = {job.job for job in shop.jobs if job.stage in ASKING_STAGES}
        for issue in shop.issues:
            key = (issue.job, issue.part_number)
            if issue.state == "bagged" and issue.job in asking:
                self.own_bagged.setdefault(key, []).append([self.known_last_use(issue), issue.quantity])
                self.in_bags.setdefault(issue.part_number, []).append((self.known_last_use(issue), issue.quantity))
            elif issue.state == "reserved":
                self.reserve(issue, key, issue.job in asking)

    def known_last_use(self, issue):
        """The bag holds what is no longer in the lot's row, but the lot's date still tells how long it lasts."""
        rows = self.lots.get(issue.part_number, [])
        return next((row.lot.last_use for row in rows if row.lot.lot == issue.lot), None)

    def reserve(self, issue, key, asks: bool):
        """Set pieces of a usable lot aside; from an unusable one nothing comes."""
        left = issue.quantity
        for row in self.usable(issue.part_number):
            if row.lot.lot != issue.lot or (issue.place and row.lot.place != issue.place):
                continue
            taken = min(left, row.free)
            row.free -= taken
            left -= taken
            if asks:
                self.own_reserved.setdefault(key, []).append([row, taken])
            else:
                row.reserved_elsewhere += taken

    def usable(self, part_number: str) -> list:
        return [row for row in self.lots.get(part_number, []) if row.reason is None]

    def counted(self, part_number: str) -> list:
        """(last use, quantity) of all that is not left out for what it is or for whom it is kept."""
        rows = [(row.lot.last_use, row.lot.quantity - row.reserved_elsewhere) for row in self.usable(part_number)]
        return rows + self.in_bags.get(part_number, [])

    def on_hand(self, part_number: str, first_build: date | None) -> int:
        total = sum(quantity for _, quantity in self.counted(part_number))
        return total - self.too_old(part_number, first_build)

    def too_old(self, part_number: str, first_build: date | None) -> int:
        """What dies before the first build that asks for the item."""
        if first_build is None:
            return 0
        rows = self.counted(part_number)
        return sum(quantity for last_use, quantity in rows if not lasts(last_use, first_build))

    def left_out(self, part_number: str, first_build: date | None) -> dict:
        out = {"too_old": self.too_old(part_number, first_build)}
        for row in self.lots.get(part_number, []):
            if row.reason:
                out[row.reason] = out.get(row.reason, 0) + row.lot.quantity
            out["reserved"] = out.get("reserved", 0) + row.reserved_elsewhere
        return {reason: quantity for reason, quantity in out.items() if quantity}

    def on_order(self, part_number: str) -> int:
        return sum(order.line.quantity for order in self.orders.get(part_number, []))

    def open_lots(self, piece: Piece) -> list:
        """Free lots that this piece may take, earliest last use first."""
        return [
            row
            for row in self.usable(piece.part_number)
            if row.free > 0
            and lasts(row.lot.last_use, piece.build)
            and self.packet_serves(row.lot, piece)
            and (not row.lot.owner or (fold(row.lot.owner) == fold(piece.customer) and not piece.wear_of))
        ]

    def packet_serves(self, lot, piece: Piece) -> bool:
        """What goes into a clean kit comes from sealed packets."""
        clean_kit = bool(piece.via) and self.items[piece.via].cleanliness != "normal"
        return packet_allows(lot, self.items[piece.part_number], clean_kit)

    def take_lots(self, piece: Piece, wanted: int) -> int:
        for row in self.open_lots(piece):
            taken = min(wanted, row.free)
            if taken:
                row.free -= taken
                wanted -= taken
                piece.lots.append((row, taken))
        return wanted

    def take_own(self, piece: Piece, wanted: int) -> int:
        """What is set aside for this job, or in its bag, goes to it before anything else, if it lasts to the build."""
        key = (piece.name, piece.part_number)
        for bag in self.own_bagged.get(key, []):
            taken = min(wanted, bag[1])
            if taken and lasts(bag[0], piece.build):
                bag[1] -= taken
                wanted -= taken
                piece.bag += taken
        for aside in self.own_reserved.get(key, []):
            taken = min(wanted, aside[1])
            if taken and lasts(aside[0].lot.last_use, piece.build) and self.packet_serves(aside[0].lot, piece):
                aside[1] -= taken
                wanted -= taken
                piece.lots.append((aside[0], taken))
        return wanted

    def take_orders(self, piece: Piece, wanted: int, until: date = FAR) -> int:
        for order in self.orders.get(piece.part_number, []):
            taken = min(wanted, order.left)
            if taken and order.arrives <= until:
                order.left -= taken
                wanted -= taken
                piece.orders.append((order, taken, order.arrives > piece.need))
        return wanted


class Matching:
    """Serves all sure pieces, then packs where that is a choice, then serves planned wear."""

    def __init__(self, shop, structure, calendar, supply):
        self.shop, self.structure, self.calendar, self.supply = shop, structure, calendar, supply
        self.first_day = calendar.forward(shop.as_of, 0)
        self.sure, self.wear = {}, {}
        self.by_level = sorted(structure.items, key=lambda part_number: (structure.level(part_number), part_number))

    def need_of(self, build_on: date) -> date:
        return max(self.calendar.backward(build_on, self.shop.staging_days), self.first_day)

    def serve_sure(self):
        for part_number in self.by_level:
            for piece in sorted(self.sure.get(part_number, []), key=lambda piece: piece.serving_key):
                left = self.supply.take_own(piece, piece.quantity)
                left = self.supply.take_lots(piece, left)
                self.fill_bags(piece, self.sure)
                self.settle_rest(piece, self.supply.take_orders(piece, left), self.sure)
        filling = {}
        for part_number in sorted(self.structure.items):
            if self.structure.items[part_number].source == "pack_else_buy":
                for piece in sorted(self.sure.get(part_number, []), key=lambda piece: piece.serving_key):
                    self.pack_if_possible(piece)
                    for inside in piece.contents:
                        self.fill_bags(inside, filling)
        for part_number in self.by_level:
            for piece in sorted(filling.get(part_number, []), key=lambda piece: piece.serving_key):
                self.sure.setdefault(part_number, []).append(piece)
                left = self.supply.take_own(piece, piece.quantity)
                left = self.supply.take_lots(piece, left)
                self.fill_bags(piece, filling)
                self.settle_rest(piece, self.supply.take_orders(piece, left), filling)

    def fill_bags(self, piece: Piece, pieces: dict):
        """What the kits taken from the shelf are without is asked for beside them."""
        lacking = {}
        for row, quantity in piece.lots:
            if row.lot.contents is None:
                continue
            there = dict(row.lot.contents)
            for part, each in contents_of(self.structure, piece.part_number, piece.conditions).items():
                lacking[part] = lacking.get(part, 0) + max(0, each - there.get(part, 0)) * quantity // ONE
        for part, quantity in lacking.items():
            if quantity:
                filling = replace(
                    piece, part_number=part, quantity=quantity, via=piece.part_number, fills=True,
                    lots=[], orders=[], packed=0, uncovered=0, contents=[], bag=0,
                )  # fmt: skip
                pieces.setdefault(part, []).append(filling)
                if piece.holder:
                    piece.holder.contents.append(filling)

    def serve_wear(self, planned: dict):
        """``planned``: part number -> (build date, quantity) increments of its own inspected positions."""
        for part_number in self.by_level:
            for build_on, quantity in planned.get(part_number, []):
                if quantity:
                    conditions = Conditions(None, build_on)
                    need = self.need_of(build_on)
                    piece = Piece(part_number, quantity, "", need, build_on, 0, "", conditions, wear_of=part_number)
                    self.wear.setdefault(part_number, []).append(piece)
            for piece in sorted(self.wear.get(part_number, []), key=lambda piece: piece.wear_key):
                left = self.supply.take_lots(piece, piece.quantity)
                self.fill_bags(piece, self.wear)
                until = self.calendar.forward(piece.need, LATEST_FOR_WEAR)
                self.settle_rest(piece, self.supply.take_orders(piece, left, until), self.wear)

    def settle_rest(self, piece: Piece, left: int, pieces: dict):
        """What no supply covers is packed or made here, or is uncovered."""
        contents = []
        if left and self.structure.items[piece.part_number].source in ("pack", "make"):
            contents = self.ask_for_contents(piece, left)
        if not contents:  # a thing without contents cannot be put together here
            piece.uncovered = left
            return
        piece.packed, piece.contents = left, contents
        for inside in contents:
            pieces.setdefault(inside.part_number, []).append(inside)

    def ask_for_contents(self, piece: Piece, quantity: int) -> list:
        item = self.structure.items[piece.part_number]
        need = max(self.calendar.backward(piece.need, item.lead_days or 0), self.first_day)
        return [
            Piece(
                child,
                -(-each * quantity // ONE),
                piece.name,
                need,
                piece.build,
                piece.priority,
                piece.customer,
                piece.conditions,
                via=piece.part_number,
                wear_of=piece.wear_of,
                holder=piece,
            )
            for child, each in contents_of(self.structure, piece.part_number, piece.conditions).items()
        ]

    def pack_if_possible(self, piece: Piece):
        """Pack whole kits from free lots that last; one kit at a time, as long as every piece of it is there."""
        while piece.uncovered >= ONE:
            one_kit = self.ask_for_contents(piece, ONE)
            if not one_kit or any(self.free_for(inside) < inside.quantity for inside in one_kit):
                return
            for inside in one_kit:
                self.supply.take_lots(inside, inside.quantity)
                self.join(piece, inside)
            piece.uncovered -= ONE
            piece.packed += ONE

    def free_for(self, piece: Piece) -> int:
        return sum(row.free for row in self.supply.open_lots(piece))

    def join(self, piece: Piece, inside: Piece):
        """Kits packed for one piece are one asking: add to what it already asked of this item."""
        for earlier in piece.contents:
            if not earlier.fills and earlier.part_number == inside.part_number:
                earlier.quantity += inside.quantity
                earlier.lots.extend(inside.lots)
                return
        piece.contents.append(inside)
        self.sure.setdefault(inside.part_number, []).append(inside)
