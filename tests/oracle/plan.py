"""Everything in its order: jobs taken apart, pieces served, purchases decided."""

from datetime import date

from bom.values import ASKING_STAGES
from tests.oracle.buying import Lead, choose_offer, lead_of
from tests.oracle.calendar import Calendar
from tests.oracle.explained import Explained
from tests.oracle.explosion import Conditions, conditions_of, walk_job
from tests.oracle.findings import added_needs, renewed_positions
from tests.oracle.kits import take_kits
from tests.oracle.matching import Matching, Piece, Supply
from tests.oracle.structure import Structure
from tests.oracle.verdicts import chance_of, clusters_of, learn_rates, match_verdicts, settle
from tests.oracle.wear import plan_wear


class JobsTakenApart:
    """What each job asks for, before anything is served."""

    def __init__(self, shop):
        self.shop = shop
        self.structure = Structure(shop.catalog)
        self.jobs = sorted((job for job in shop.jobs if job.stage in ASKING_STAGES), key=lambda job: job.job)
        self.flags = set()
        self.take_jobs_apart()

    def take_jobs_apart(self):
        """Walk every job, settle its verdicts, take its kits."""
        walks = {job.job: walk_job(self.structure, job) for job in self.shop.jobs if self.can_walk(job)}
        found = {
            job.job: match_verdicts(job, walks[job.job].positions, self.shop.verdicts)
            for job in self.shop.jobs
            if job.job in walks
        }
        self.learned = learn_rates([(job, found[job.job]) for job in self.shop.jobs if job.job in walks])
        self.kit_rows, self.asked, self.clusters, self.spares, self.open = [], {}, {}, {}, {}
        for job in self.jobs:
            walk = walks[job.job]
            conditions = conditions_of(self.structure, job)
            renewed = renewed_positions(self.shop, job, walk.positions, found[job.job])
            sure, still_open = settle(walk.positions, found[job.job], renewed)
            needs = walk.needs + added_needs(self.shop, job, walk)
            needs += [(position.part_number, position.quantity, position.cover) for position in sure]
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


class SlowPlan(JobsTakenApart):
    """Runs everything in its order when made; what it found is then asked of it."""

    def __init__(self, shop):
        super().__init__(shop)
        self.calendar = Calendar(shop.workdays, shop.holidays)
        self.needs = sorted(shop.needs, key=lambda need: need.need)
        self.supply = Supply(shop, self.structure)
        self.matching = Matching(shop, self.structure, self.calendar, self.supply)
        self.ask()
        self.matching.serve_sure()
        self.left_for_safety = {part_number: self.left_after_sure(part_number) for part_number in self.structure.items}
        self.left_on_lots = {part_number: self.free_lots(part_number) for part_number in self.structure.items}
        self.plan_wear()
        self.matching.serve_wear(self.planned)
        self.buy_rows = {}
        for part_number in sorted(self.structure.items):
            self.decide_buying(part_number)
        self.explained = Explained(shop, self.structure, self.calendar, self.buying_lead)

    def ask(self):
        """Turn what jobs and other needs ask into pieces."""
        for job in self.jobs:
            conditions = conditions_of(self.structure, job)
            need = self.matching.need_of(job.build_on)
            for part_number, quantity in self.asked[job.job].items():
                self.add_piece(
                    Piece(part_number, quantity, job.job, need, job.build_on, job.priority, job.customer, conditions)
                )
        for other in self.needs:
            if not self.structure.items[other.part_number].bench:
                need = max(self.calendar.backward(other.need_on, 0), self.matching.first_day)
                self.add_piece(
                    Piece(
                        other.part_number,
                        other.quantity,
                        other.need,
                        need,
                        other.need_on,
                        other.priority,
                        other.for_whom,
                        Conditions(None, other.need_on),
                    )
                )

    def add_piece(self, piece):
        self.matching.sure.setdefault(piece.part_number, []).append(piece)

    def plan_wear(self):
        self.planned, self.worn_by_day = {}, {}
        inspected = {position.part_number for job in self.jobs for position in self.open[job.job]}
        for part_number in sorted(inspected):
            jobs = [
                (job.build_on, self.clusters[job.job], self.spares[job.job].get(part_number, 0))
                for job in self.jobs
                if self.open_quantity(job, part_number)
            ]
            self.planned[part_number], self.worn_by_day[part_number] = plan_wear(
                self.structure.items[part_number], jobs
            )

    def open_quantity(self, job, part_number: str) -> int:
        return sum(position.quantity for position in self.open[job.job] if position.part_number == part_number)

    def first_build(self, part_number: str) -> date | None:
        """The first build day of a piece, or of a position still to be looked at, that asks for the item."""
        days = [piece.build for piece in self.sure(part_number) + self.wear(part_number)]
        days += [job.build_on for job in self.jobs if self.open_quantity(job, part_number)]
        return min(days, default=None)

    def on_hand(self, part_number: str) -> int:
        return self.supply.on_hand(part_number, self.first_build(part_number))

    @property
    def last_build(self) -> date:
        days = [job.build_on for job in self.jobs] + [other.need_on for other in self.needs]
        return max(days, default=self.shop.as_of)

    def left_after_sure(self, part_number: str) -> int:
        on_lots = sum(
            row.free
            for row in self.supply.usable(part_number)
            if not row.lot.owner and (row.lot.last_use is None or row.lot.last_use >= self.last_build)
        )
        return on_lots + sum(order.left for order in self.supply.orders.get(part_number, []))

    def free_lots(self, part_number: str) -> list:
        """(last use, quantity) that wear, which is no customer's, may have."""
        return [(row.lot.last_use, row.free) for row in self.supply.usable(part_number) if not row.lot.owner]

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
            "short": short,
            "short_wear": short_wear,
            "top_up": top_up,
            "net": net,
            "choice": choice,
            "need_on": need_on,
            "wear_advice": self.advise(part_number, wear_need, choice.lead),
        }

    def wear_need(self, part_number: str) -> date:
        """The first day on which sure need and planned wear together exceed lots and orders promised by then."""
        pieces = self.sure(part_number) + self.wear(part_number)
        for day in sorted({piece.need for piece in pieces}):
            asked = sum(piece.quantity for piece in pieces if piece.need <= day)
            coming = sum(
                order.line.quantity for order in self.supply.orders.get(part_number, []) if order.line.promised <= day
            )
            if asked > self.on_hand(part_number) + coming:
                return day
        return min(piece.need for piece in self.wear(part_number) if piece.uncovered)

    def advise(self, part_number: str, wear_need: date | None, lead: Lead | None) -> str | None:
        if wear_need is None or lead is None:
            return None
        if lead.forward(self.calendar, self.shop.as_of) > wear_need:
            return "only_if_found"
        strips = [
            job.strip_on or job.build_on
            for piece in self.wear(part_number)
            if piece.uncovered
            for job in self.jobs
            if job.build_on == piece.build and self.open_quantity(job, piece.wear_of)
        ]
        if strips and lead.backward(self.calendar, wear_need) >= min(strips):
            return "decide_after_strip"
        return None

    def buying_lead(self, part_number: str) -> Lead | None:
        if part_number in self.buy_rows:
            return self.buy_rows[part_number]["choice"].lead
        return lead_of(self.structure.items[part_number].lead_days)
