"""The whole plan, slowly: from the shop to the object that ``plan --json`` prints."""

from datetime import date

from bom.errors import Fault, ShopError
from bom.values import ONE
from tests.oracle.buying import choose_offer
from tests.oracle.explained import LATE, READY, SHORT, WORDS
from tests.oracle.faults import find_faults
from tests.oracle.matching import lasts
from tests.oracle.plan import SlowPlan
from tests.oracle.structure import fold, natural
from tests.oracle.wear import at_most, expected

KIT_COLUMNS = ("covered", "short", "spare", "surplus")


def slow_plan(shop, batch: str | None = None, through: date | None = None) -> dict:
    faults = find_faults(shop)
    if faults:
        raise ShopError(tuple(Fault("", fault.names, "", fault.says) for fault in faults))
    return SlowAnswers(shop).as_json(batch, through)


def number(millionths: int):
    """Stock units: a whole number as such, else a float."""
    return millionths // ONE if millionths % ONE == 0 else millionths / ONE


def numbers(quantities: dict) -> dict:
    return {name: number(quantity) for name, quantity in sorted(quantities.items()) if quantity}


def iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


class SlowAnswers(SlowPlan):
    """Writes the plan down, row by row."""

    def pieces_of(self, name: str) -> list:
        """What the job or need itself asks, without what its kits and assemblies ask in turn."""
        return [piece for piece in self.all_pieces_of(name) if piece.is_asked_by_job]

    def all_pieces_of(self, name: str) -> list:
        return [piece for pieces in self.matching.sure.values() for piece in pieces if piece.name == name]

    def status_of(self, name: str) -> tuple[int, date | None]:
        pieces = self.pieces_of(name)
        state = max((self.explained.state(piece) for piece in pieces), default=READY)
        days = [self.shop.as_of, *(self.explained.arrival(piece) for piece in pieces)]
        return state, None if None in days else max(days)

    def job_row(self, job) -> dict:
        state, parts_on = self.status_of(job.job)
        need = self.matching.need_of(job.build_on)
        everything = self.all_pieces_of(job.job)
        return {
            "job": job.job,
            "status": WORDS[state],
            "parts_on": iso(parts_on),
            "days_late": None if parts_on is None else self.calendar.between(need, parts_on),
            "blocking_part": None if state == READY else self.explained.blocking_part(self.pieces_of(job.job)),
            "order_by": iso(self.order_by(everything)),
            "leans_on_overdue": any(order.overdue for piece in everything for order, _, _ in piece.orders),
        }

    def order_by(self, pieces) -> date | None:
        days = []
        for piece in pieces:
            if piece.uncovered:
                lead = self.buying_lead(piece.part_number)
                if lead is None:
                    return None
                days.append(lead.backward(self.calendar, piece.need))
        return min(days, default=None)

    def demand_row(self, part_number: str) -> dict | None:
        sure = sum(piece.quantity for piece in self.sure(part_number) if not piece.via)
        passed_sure = sum(piece.quantity for piece in self.sure(part_number) if piece.via)
        passed_wear = sum(piece.quantity for piece in self.wear(part_number) if piece.via)
        planned = sum(quantity for _, quantity in self.planned.get(part_number, []))
        positions = sum(self.open_quantity(job, part_number) for job in self.jobs)
        total = sure + passed_sure + passed_wear + planned
        if not total and not positions:
            return None
        expectation = sum(expected(self.clusters[job.job], part_number) for job in self.jobs)
        on_hand = self.on_hand(part_number)
        return {
            "part_number": part_number,
            "sure": number(sure),
            "passed_down": number(passed_sure + passed_wear),
            "positions": number(positions),
            "spares": number(sum(self.spares[job.job].get(part_number, 0) for job in self.jobs)),
            "expected": round(float(expectation) / ONE, 6),
            "planned_wear": number(planned),
            "total": number(total),
            "on_hand": number(on_hand),
            "left_out": numbers(self.supply.left_out(part_number, self.first_build(part_number))),
            "on_order": number(self.supply.on_order(part_number)),
            "uncovered": number(sum(piece.uncovered for piece in self.sure(part_number))),
            "uncovered_wear": number(sum(piece.uncovered for piece in self.wear(part_number))),
            "chance_enough": self.chance_enough(part_number),
        }

    def chance_enough(self, part_number: str) -> float | None:
        """The smallest over the build days of wear: that what is found up to then is no more than what then lives."""
        by_day = self.worn_by_day.get(part_number)
        if by_day is None:
            return None
        for piece in self.sure(part_number):
            if sum(quantity for _, quantity in piece.lots) + piece.bag < piece.quantity:
                return 0.0
        chances = []
        for day, worn in by_day.items():
            left = sum(free for last_use, free in self.left_on_lots[part_number] if lasts(last_use, day))
            chances.append(at_most(worn, left // ONE))
        return round(float(min(chances)), 9)

    def buy_row(self, part_number: str) -> dict:
        row = self.buy_rows[part_number]
        choice, need_on = row["choice"], row["need_on"]
        order_by = None
        if need_on is not None and choice.lead is not None:
            order_by = choice.lead.backward(self.calendar, need_on)
        arrival = None if choice.lead is None else choice.lead.forward(self.calendar, self.shop.as_of)
        return {
            "part_number": part_number,
            "short": number(row["short"]),
            "short_wear": number(row["short_wear"]),
            "top_up": number(row["top_up"]),
            "net": number(row["net"]),
            "packs": choice.packs,
            "pack_size": number(choice.pack_size),
            "order_quantity": number(choice.packs * choice.pack_size),
            "surplus": number(choice.packs * choice.pack_size - row["net"]),
            "supplier": choice.supplier,
            "price": None if choice.price is None else float(round(choice.price, 2)),
            "need_on": iso(need_on),
            "order_by": iso(order_by),
            "days_late": None if order_by is None else self.calendar.between(order_by, self.shop.as_of),
            "earliest_arrival": iso(arrival),
            "wear_advice": row["wear_advice"],
            "next_break": self.next_break(choice),
            "jobs": sorted({piece.name for piece in self.sure(part_number) if piece.uncovered}),
        }

    def next_break(self, choice) -> dict | None:
        found = choice.next_break
        return found and {
            "packs": found["packs"],
            "price": float(round(found["price"], 2)),
            "saving": float(round(found["saving"], 2)),
        }

    def all_orders(self) -> list:
        orders = [order for orders in self.supply.orders.values() for order in orders]
        return sorted(
            orders, key=lambda order: (order.line.part_number, natural(order.line.order), natural(order.line.line))
        )

    def drawing_on(self, order) -> list:
        return [
            (piece, quantity, late)
            for piece in self.sure(order.line.part_number)
            for drawn, quantity, late in piece.orders
            if drawn is order
        ]

    def expedite_rows(self) -> list:
        rows = []
        for order in self.all_orders():
            late = [(piece, quantity) for piece, quantity, is_late in self.drawing_on(order) if is_late]
            if not late:
                continue
            line = order.line
            need_on = min(piece.need for piece, _ in late)
            drawn = sum(quantity for _, quantity in late)
            rows.append(
                {
                    "order": line.order,
                    "line": line.line,
                    "part_number": line.part_number,
                    "quantity": number(drawn),
                    "promised": iso(line.promised),
                    "need_on": iso(need_on),
                    "days_late": self.calendar.between(need_on, line.promised),
                    "bought_today_on": iso(self.bought_today_on(line.part_number, drawn, need_on)),
                    "jobs": sorted({piece.name for piece, _ in late}),
                }
            )
        return rows

    def bought_today_on(self, part_number: str, quantity: int, need_on: date) -> date | None:
        if self.structure.items[part_number].source in ("pack", "make"):
            return None
        if part_number in self.buy_rows:
            lead = self.buy_rows[part_number]["choice"].lead
        else:
            lead = choose_offer(self.shop, self.structure, self.calendar, part_number, quantity, need_on).lead
        return None if lead is None else lead.forward(self.calendar, self.shop.as_of)

    def chase_rows(self) -> list:
        return [
            {
                "order": order.line.order,
                "line": order.line.line,
                "part_number": order.line.part_number,
                "quantity": number(order.line.quantity),
                "promised": iso(order.line.promised),
                "days_late": self.calendar.between(order.line.promised, self.shop.as_of),
                "jobs": sorted({piece.name for piece, _, _ in self.drawing_on(order)}),
            }
            for order in self.all_orders()
            if order.overdue
        ]

    def pack_rows(self) -> list:
        rows = []
        for part_number in sorted(self.structure.items):
            sure = [piece for piece in self.sure(part_number) if piece.packed]
            wear = [piece for piece in self.wear(part_number) if piece.packed]
            if sure or wear:
                rows.append(
                    {
                        "kit": part_number,
                        "quantity": number(sum(piece.packed for piece in sure + wear)),
                        "need_on": iso(min(piece.need for piece in sure + wear)),
                        "jobs": sorted({piece.name for piece in sure}),
                    }
                )
        return rows

    def expiring_rows(self) -> list:
        sums = {}
        for part_number in self.structure.items:
            for row in self.supply.usable(part_number):
                lot = row.lot
                if lot.last_use is not None and lot.last_use < self.last_build and not self.is_bench(part_number):
                    key = (part_number, lot.lot, lot.last_use)
                    quantity, unused = sums.get(key, (0, 0))
                    sums[key] = (quantity + lot.quantity, unused + row.free)
        return [
            {
                "part_number": part_number,
                "lot": lot,
                "last_use": iso(last_use),
                "quantity": number(quantity),
                "unused": number(unused),
            }
            for (part_number, lot, last_use), (quantity, unused) in sorted(sums.items())
            if quantity
        ]

    def is_bench(self, part_number: str) -> bool:
        return self.structure.items[part_number].bench

    def frees_rows(self) -> list:
        freed = {}
        for job in self.jobs:
            if self.status_of(job.job)[0] in (LATE, SHORT):
                blamed = set().union(*(self.explained.to_blame(piece) for piece in self.pieces_of(job.job)))
                if len(blamed) == 1:
                    freed.setdefault(blamed.pop(), []).append(job.job)
        ranked = sorted(freed, key=lambda part_number: (-len(freed[part_number]), part_number))
        return [{"part_number": part_number, "jobs": sorted(freed[part_number])} for part_number in ranked]

    def flag_rows(self) -> list:
        flags = set(self.flags) | set(self.unfinished_kits())
        for job in self.jobs:
            _, parts_on = self.status_of(job.job)
            for piece in self.all_pieces_of(job.job):
                if piece.uncovered and self.buying_lead(piece.part_number) is None:
                    flags.add(("no_lead", piece.part_number, None))
                for row, _ in piece.lots:
                    if parts_on and row.lot.last_use is not None and row.lot.last_use < parts_on:
                        flags.add(("lot_dies", piece.part_number, job.job))
        return [
            {"kind": kind, "part_number": part_number, "job": job, "says": ""}
            for kind, part_number, job in sorted(flags, key=lambda flag: tuple(text or "" for text in flag))
        ]

    def unfinished_kits(self):
        """Kits that no job takes for now, since one half of what is to be said of them is missing."""
        shop, lists = self.shop, self.structure
        for fit in shop.catalog.kit_fits:
            if not lists.in_force(fit):
                yield ("fits_nothing" if lists.lines_of(fit.kit) else "kit_without_contents", fit.kit, None)
        for item in shop.catalog.items:
            wanted = any(line.child == item.part_number for line in shop.catalog.lines)
            wanted = wanted or any(other.get_as == item.part_number for other in shop.catalog.items)
            wanted = wanted or any(row.part_number == item.part_number for row in (*shop.needs, *shop.issues))
            fitted = any(fit.kit == item.part_number for fit in shop.catalog.kit_fits)
            if item.kind == "kit" and lists.lines_of(item.part_number) and not fitted and not wanted:
                yield "fits_nothing", item.part_number, None

    def kit_row(self, row: dict) -> dict:
        return {name: row[name] for name in ("job", "kit", "fits", "count")} | {
            name: numbers(row[name]) for name in KIT_COLUMNS
        }

    def as_json(self, batch: str | None, through: date | None) -> dict:
        """Every job is matched; ``batch`` and ``through`` only choose the rows that are shown."""
        jobs = [
            job
            for job in self.jobs
            if (batch is None or fold(job.batch) == fold(batch)) and (through is None or job.build_on <= through)
        ]
        others = (
            [] if batch is not None else [other for other in self.needs if through is None or other.need_on <= through]
        )
        shown = {job.job for job in jobs}
        everything = batch is None and through is None
        waiting = shown | {other.need for other in others}
        touched = {piece.part_number for name in waiting for piece in self.all_pieces_of(name)}
        touched |= {position.part_number for job in jobs for position in self.open[job.job]}

        def is_touched(part_number):
            return everything or part_number in touched

        def names_one(row):
            return everything or bool(waiting & set(row["jobs"]))

        demand = [
            self.demand_row(part_number)
            for part_number in sorted(self.structure.items)
            if is_touched(part_number) and not self.is_bench(part_number)
        ]
        kit_rows = sorted(
            (row for row in self.kit_rows if row["job"] in shown), key=lambda row: (row["job"], row["kit"], row["fits"])
        )
        return {
            "as_of": iso(self.shop.as_of),
            "staging_days": self.shop.staging_days,
            "jobs": [self.job_row(job) for job in jobs],
            "other_needs": [
                {"need": other.need, "status": WORDS[state], "parts_on": iso(parts_on)}
                for other in others
                for state, parts_on in [self.status_of(other.need)]
            ],
            "demand": [row for row in demand if row],
            "kits": [self.kit_row(row) for row in kit_rows],
            "buy": [self.buy_row(part_number) for part_number in sorted(self.buy_rows) if is_touched(part_number)],
            "expedite": [row for row in self.expedite_rows() if names_one(row)],
            "chase": self.chase_rows(),
            "pack": [row for row in self.pack_rows() if is_touched(row["kit"])],
            "expiring": self.expiring_rows(),
            "frees": [row for row in self.frees_rows() if names_one(row)],
            "flags": [row for row in self.flag_rows() if row["job"] is None or row["job"] in shown],
        }
