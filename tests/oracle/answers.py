"""The whole plan, slowly: from the shop to the object that ``plan --json`` prints."""

from datetime import date

from bom.errors import Fault, ShopError
from bom.values import ASKING_STAGES, ONE
from tests.oracle.buying import choose_offer
from tests.oracle.calendar import Calendar
from tests.oracle.explained import LATE, READY, SHORT, WORDS, Explained
from tests.oracle.explosion import Conditions, conditions_of, walk_job
from tests.oracle.faults import find_faults
from tests.oracle.kits import take_kits
from tests.oracle.matching import Matching, Piece, Supply
from tests.oracle.structure import Structure, fold, natural
from tests.oracle.verdicts import chance_of, clusters_of, learn_rates, match_verdicts, settle
from tests.oracle.wear import at_most, expected, plan_wear

KIT_COLUMNS = ("covered", "short", "spare", "surplus")


def slow_plan(shop, batch: str | None = None, through: date | None = None) -> dict:
    faults = find_faults(shop)
    if faults:
        raise ShopError(tuple(Fault("", fault.names, "", fault.says) for fault in faults))
    return SlowPlan(shop).as_json(batch, through)


def number(millionths: int):
    """Stock units: a whole number as such, else a float."""
    return millionths // ONE if millionths % ONE == 0 else millionths / ONE


def numbers(quantities: dict) -> dict:
    return {name: number(quantity) for name, quantity in sorted(quantities.items()) if quantity}


def iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


class SlowPlan:
    """Runs everything in its order when made; ``as_json`` only writes it down."""

    def __init__(self, shop):
        self.shop = shop
        self.structure = Structure(shop.catalog)
        self.calendar = Calendar(shop.workdays, shop.holidays)
        self.jobs = sorted((job for job in shop.jobs if job.stage in ASKING_STAGES), key=lambda job: job.job)
        self.needs = sorted(shop.needs, key=lambda need: need.need)
        self.flags = set()
        self.supply = Supply(shop, self.structure)
        self.matching = Matching(shop, self.structure, self.calendar, self.supply)
        self.take_jobs_apart()
        self.ask()
        self.matching.serve_sure()
        self.left_for_safety = {part_number: self.left_after_sure(part_number) for part_number in self.structure.items}
        self.plan_wear()
        self.matching.serve_wear(self.planned)
        self.buy_rows = {}
        for part_number in sorted(self.structure.items):
            self.decide_buying(part_number)
        self.explained = Explained(shop, self.structure, self.calendar, self.buying_lead)

    # --- demand

    def take_jobs_apart(self):
        """Walk every job, settle its verdicts, take its kits."""
        walks = {job.job: walk_job(self.structure, job) for job in self.shop.jobs if self.can_walk(job)}
        found = {
            job.job: match_verdicts(job, walks[job.job].positions, self.shop.verdicts)
            for job in self.shop.jobs if job.job in walks
        }
        self.learned = learn_rates([(job, found[job.job]) for job in self.shop.jobs if job.job in walks])
        self.kit_rows, self.asked, self.clusters, self.spares, self.open = [], {}, {}, {}, {}
        for job in self.jobs:
            walk = walks[job.job]
            conditions = conditions_of(self.structure, job)
            sure, still_open = settle(walk.positions, found[job.job])
            needs = walk.needs + [(position.part_number, position.quantity, position.cover) for position in sure]
            rows, asked, self.spares[job.job] = take_kits(
                self.structure, job, conditions, walk, needs, still_open, self.issued_to(job.job)
            )
            self.kit_rows += rows
            self.asked[job.job] = asked
            self.open[job.job] = still_open
            self.clusters[job.job] = clusters_of(still_open, self.learned)
            self.raise_flags(job, walk, conditions, found[job.job], still_open, {row["kit"] for row in rows})

    def can_walk(self, job) -> bool:
        return bool(self.structure.scope_rows(job.pump, job.scope))

    def issued_to(self, job: str) -> dict:
        issued = {}
        for issue in self.shop.issues:
            if issue.job == job and issue.state in ("issued", "returned"):
                sign = 1 if issue.state == "issued" else -1
                issued[issue.part_number] = issued.get(issue.part_number, 0) + sign * issue.quantity
        return {part_number: quantity for part_number, quantity in issued.items() if quantity > 0}

    def raise_flags(self, job, walk, conditions, found, still_open, kits):
        reached = walk.reached + [line for kit in kits for line in self.lines_in_kit(kit, conditions)]
        limited = [line for line in reached if line.from_serial or line.to_serial]
        if not conditions.serial and any(
            conditions.meet_options(line) and conditions.meet_dates(line) and not self.structure.items[line.child].bench
            for line in limited
        ):
            self.flags.add(("serial_needed", None, job.job))
        for position, verdict in found.items():
            if verdict.verdict == "rework":
                self.flags.add(("rework", position.part_number, job.job))
            if verdict.verdict == "not_as_listed":
                self.flags.add(("plan_again", position.part_number, job.job))
        for position in still_open:
            if chance_of(position.line, self.learned) is None:
                self.flags.add(("no_rate", position.part_number, None))

    def lines_in_kit(self, kit: str, conditions):
        for line in self.structure.lines_of(kit):
            yield line
            if self.structure.items[line.child].kind == "kit" and conditions.meet(line):
                yield from self.lines_in_kit(line.child, conditions)

    def ask(self):
        """Turn what jobs and other needs ask into pieces."""
        for job in self.jobs:
            conditions = conditions_of(self.structure, job)
            need = self.matching.need_of(job.build_on)
            for part_number, quantity in self.asked[job.job].items():
                self.add_piece(Piece(part_number, quantity, job.job, need, job.build_on, job.priority, job.customer,
                                     conditions))
        for other in self.needs:
            if not self.structure.items[other.part_number].bench:
                need = max(other.need_on, self.matching.first_day)
                self.add_piece(Piece(other.part_number, other.quantity, other.need, need, other.need_on,
                                     other.priority, other.for_whom, Conditions(None, other.need_on)))

    def add_piece(self, piece):
        self.matching.sure.setdefault(piece.part_number, []).append(piece)

    def plan_wear(self):
        self.planned, self.wear_distribution = {}, {}
        inspected = {position.part_number for job in self.jobs for position in self.open[job.job]}
        for part_number in sorted(inspected):
            jobs = [
                (job.build_on, self.clusters[job.job], self.spares[job.job].get(part_number, 0))
                for job in self.jobs if self.open_quantity(job, part_number)
            ]
            added, distribution = plan_wear(self.structure.items[part_number], jobs)
            self.planned[part_number], self.wear_distribution[part_number] = added, distribution

    def open_quantity(self, job, part_number: str) -> int:
        return sum(position.quantity for position in self.open[job.job] if position.part_number == part_number)

    # --- what to buy

    @property
    def last_build(self) -> date:
        days = [job.build_on for job in self.jobs] + [other.need_on for other in self.needs]
        return max(days, default=self.shop.as_of)

    def left_after_sure(self, part_number: str) -> int:
        on_lots = sum(
            row.free for row in self.supply.usable(part_number)
            if not row.lot.owner and (row.lot.last_use is None or row.lot.last_use >= self.last_build)
        )
        return on_lots + sum(order.left for order in self.supply.orders.get(part_number, []))

    def sure(self, part_number: str) -> list:
        return self.matching.sure.get(part_number, [])

    def wear(self, part_number: str) -> list:
        return self.matching.wear.get(part_number, [])

    def decide_buying(self, part_number: str):
        item = self.structure.items[part_number]
        if item.bench:
            return
        short = sum(piece.uncovered for piece in self.sure(part_number))
        short_wear = sum(piece.uncovered for piece in self.wear(part_number))
        top_up = 0
        if item.source not in ("pack", "make"):
            top_up = max(0, item.safety_stock - self.left_for_safety[part_number])
        net = short + max(short_wear, top_up)
        if not net:
            return
        wear_need = self.wear_need(part_number) if short_wear else None
        need_on = min(piece.need for piece in self.sure(part_number) if piece.uncovered) if short else wear_need
        choice = choose_offer(self.shop, self.structure, self.calendar, part_number, net, need_on)
        self.buy_rows[part_number] = {
            "short": short, "short_wear": short_wear, "top_up": top_up, "net": net, "choice": choice,
            "need_on": need_on, "wear_advice": self.advise(part_number, wear_need, choice.lead),
        }

    def wear_need(self, part_number: str) -> date:
        """The first day on which sure need and planned wear together exceed lots and orders promised by then."""
        pieces = self.sure(part_number) + self.wear(part_number)
        for day in sorted({piece.need for piece in pieces}):
            asked = sum(piece.quantity for piece in pieces if piece.need <= day)
            coming = sum(order.line.quantity for order in self.supply.orders.get(part_number, [])
                         if order.line.promised <= day)
            if asked > self.supply.on_hand(part_number) + coming:
                return day
        return min(piece.need for piece in self.wear(part_number) if piece.uncovered)

    def advise(self, part_number: str, wear_need: date | None, lead: int | None) -> str | None:
        if wear_need is None or lead is None:
            return None
        if self.calendar.forward(self.shop.as_of, lead) > wear_need:
            return "only_if_found"
        strips = [
            job.strip_on or job.build_on
            for piece in self.wear(part_number) if piece.uncovered
            for job in self.jobs
            if job.build_on == piece.build and self.open_quantity(job, piece.wear_of)
        ]
        if strips and self.calendar.backward(wear_need, lead) >= min(strips):
            return "decide_after_strip"
        return None

    def buying_lead(self, part_number: str) -> int | None:
        if part_number in self.buy_rows:
            return self.buy_rows[part_number]["choice"].lead
        return self.structure.items[part_number].lead_days

    # --- answers

    def pieces_of(self, name: str) -> list:
        """What the job or need itself asks, without what its kits and assemblies ask in turn."""
        return [piece for pieces in self.matching.sure.values() for piece in pieces
                if piece.name == name and not piece.via]

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
                days.append(self.calendar.backward(piece.need, lead))
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
        on_hand = self.supply.on_hand(part_number)
        return {
            "part_number": part_number,
            "sure": number(sure),
            "passed_down": number(passed_sure + passed_wear),
            "positions": number(positions),
            "spares": number(sum(self.spares[job.job].get(part_number, 0) for job in self.jobs)),
            "expected": round(float(expectation) / ONE, 9),
            "planned_wear": number(planned),
            "total": number(total),
            "on_hand": number(on_hand),
            "left_out": numbers(self.supply.left_out(part_number)),
            "on_order": number(self.supply.on_order(part_number)),
            "uncovered": number(sum(piece.uncovered for piece in self.sure(part_number))),
            "uncovered_wear": number(sum(piece.uncovered for piece in self.wear(part_number))),
            "chance_enough": self.chance_enough(part_number, on_hand - sure - passed_sure),
        }

    def chance_enough(self, part_number: str, left: int) -> float | None:
        distribution = self.wear_distribution.get(part_number)
        if distribution is None:
            return None
        return 0.0 if left < 0 else round(float(at_most(distribution, left // ONE)), 9)

    def buy_row(self, part_number: str) -> dict:
        row = self.buy_rows[part_number]
        choice, need_on = row["choice"], row["need_on"]
        order_by = None
        if need_on is not None and choice.lead is not None:
            order_by = self.calendar.backward(need_on, choice.lead)
        arrival = None if choice.lead is None else self.calendar.forward(self.shop.as_of, choice.lead)
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
            "jobs": sorted({piece.name for piece in self.sure(part_number) if piece.uncovered}),
        }

    def all_orders(self) -> list:
        orders = [order for orders in self.supply.orders.values() for order in orders]
        return sorted(orders, key=lambda order: (order.line.part_number, natural(order.line.order),
                                                 natural(order.line.line)))

    def drawing_on(self, order) -> list:
        return [
            (piece, quantity, late)
            for piece in self.sure(order.line.part_number)
            for drawn, quantity, late in piece.orders if drawn is order
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
            rows.append({
                "order": line.order,
                "line": line.line,
                "part_number": line.part_number,
                "quantity": number(drawn),
                "promised": iso(line.promised),
                "need_on": iso(need_on),
                "days_late": self.calendar.between(need_on, line.promised),
                "bought_today_on": iso(self.bought_today_on(line.part_number, drawn, need_on)),
                "jobs": sorted({piece.name for piece, _ in late}),
            })
        return rows

    def bought_today_on(self, part_number: str, quantity: int, need_on: date) -> date | None:
        if self.structure.items[part_number].source in ("pack", "make"):
            return None
        if part_number in self.buy_rows:
            lead = self.buy_rows[part_number]["choice"].lead
        else:
            lead = choose_offer(self.shop, self.structure, self.calendar, part_number, quantity, need_on).lead
        return None if lead is None else self.calendar.forward(self.shop.as_of, lead)

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
            for order in self.all_orders() if order.overdue
        ]

    def pack_rows(self) -> list:
        rows = []
        for part_number in sorted(self.structure.items):
            sure = [piece for piece in self.sure(part_number) if piece.packed]
            wear = [piece for piece in self.wear(part_number) if piece.packed]
            if sure or wear:
                rows.append({
                    "kit": part_number,
                    "quantity": number(sum(piece.packed for piece in sure + wear)),
                    "need_on": iso(min(piece.need for piece in sure + wear)),
                    "jobs": sorted({piece.name for piece in sure}),
                })
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
            {"part_number": part_number, "lot": lot, "last_use": iso(last_use),
             "quantity": number(quantity), "unused": number(unused)}
            for (part_number, lot, last_use), (quantity, unused) in sorted(sums.items()) if quantity
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
        flags = set(self.flags)
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

    def kit_row(self, row: dict) -> dict:
        return {name: row[name] for name in ("job", "kit", "fits", "count")} | {
            name: numbers(row[name]) for name in KIT_COLUMNS
        }

    def as_json(self, batch: str | None, through: date | None) -> dict:
        """Every job is matched; ``batch`` and ``through`` only choose the rows that are shown."""
        jobs = [job for job in self.jobs
                if (batch is None or fold(job.batch) == fold(batch)) and (through is None or job.build_on <= through)]
        others = [] if batch is not None else [
            other for other in self.needs if through is None or other.need_on <= through
        ]
        shown = {job.job for job in jobs}
        everything = batch is None and through is None
        touched = {piece.part_number for name in shown for piece in self.all_pieces_of(name)}
        touched |= {position.part_number for job in jobs for position in self.open[job.job]}

        def is_touched(part_number):
            return everything or part_number in touched

        def names_one(row):
            return everything or bool(shown & set(row["jobs"]))

        demand = [self.demand_row(part_number) for part_number in sorted(self.structure.items)
                  if is_touched(part_number) and not self.is_bench(part_number)]
        kit_rows = sorted((row for row in self.kit_rows if row["job"] in shown),
                          key=lambda row: (row["job"], row["kit"], row["fits"]))
        return {
            "as_of": iso(self.shop.as_of),
            "staging_days": self.shop.staging_days,
            "jobs": [self.job_row(job) for job in jobs],
            "other_needs": [
                {"need": other.need, "status": WORDS[state], "parts_on": iso(parts_on)}
                for other in others for state, parts_on in [self.status_of(other.need)]
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
