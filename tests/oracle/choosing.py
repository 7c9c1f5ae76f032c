"""The jobs of greatest weight that the shelf can complete: every set of jobs, way of packing and kit is tried."""

from dataclasses import replace
from itertools import combinations, product
from math import prod

from bom.values import ASKING_STAGES, ONE
from tests.oracle.explosion import Conditions, conditions_of, contents_of
from tests.oracle.matching import Supply
from tests.oracle.plan import JobsTakenApart
from tests.oracle.structure import fold

PUT_TOGETHER = {"pack", "make", "pack_else_buy"}


class TooLarge(Exception):
    """There are too many ways to try them all."""


class SlowChoice:
    """Askers by name (no two alike), what each wants, and what lies there for whom."""

    def __init__(self, shop, most_ways: int = 2000):
        slow = JobsTakenApart(shop)
        self.structure, self.most_ways = slow.structure, most_ways
        self.supply = Supply(replace(shop, orders=()), self.structure)
        self.wants, self.build, self.customer, self.conditions = {}, {}, {}, {}
        for job in shop.jobs:
            if job.stage in ASKING_STAGES:
                self.wants[job.job] = slow.asked[job.job]
                self.build[job.job], self.customer[job.job] = job.build_on, fold(job.customer)
                self.conditions[job.job] = conditions_of(self.structure, job)
        for need in shop.needs:
            bench = self.structure.items[need.part_number].bench
            self.wants[need.need] = {} if bench else {need.part_number: need.quantity}
            self.build[need.need], self.customer[need.need] = need.need_on, fold(need.for_whom)
            self.conditions[need.need] = Conditions(None, need.need_on)

    def best_weight(self, weights: dict) -> int:
        """The greatest weight of a set that can be completed; what cannot be done with few cannot with more."""
        names = sorted(name for name in self.wants if weights[name])
        hopeless, best = [], 0
        for size in range(1, len(names) + 1):
            for chosen in combinations(names, size):
                if any(set(few) <= set(chosen) for few in hopeless):
                    continue
                if self.can_complete(chosen):
                    best = max(best, sum(weights[name] for name in chosen))
                else:
                    hopeless.append(chosen)
        return best

    def can_complete(self, chosen) -> bool:
        asked = {}
        for name in chosen:
            for part_number, quantity in self.wants[name].items():
                asked.setdefault(part_number, {})[name] = quantity
        return self.can_serve(asked)

    def can_serve(self, asked: dict) -> bool:
        """Whether everything asked can be served, with some number of each thing put together for each job."""
        if not asked:
            return True
        part_number = min(asked, key=lambda name: (self.structure.level(name), name))
        rest = {name: dict(of_name) for name, of_name in asked.items() if name != part_number}
        wanted = asked[part_number]
        enough = []
        for packed, poor in product(
            self.ways_to_pack(part_number, wanted), self.ways_to_take_poor(part_number, wanted)
        ):
            if any(all(few[name] <= packed[name] for name in packed) for few in enough):
                continue  # with less packed, and no poor kit, it was enough too, and asks for less
            taken = {name: sum(number for who, _, _, number in poor if who == name) * ONE for name in wanted}
            left = {name: wanted[name] - packed[name] - taken[name] for name in wanted}
            if min(left.values()) < 0 or not self.lots_suffice(part_number, left):
                continue
            if not poor:
                enough.append(packed)
            if self.can_serve(self.with_missing(self.with_contents(rest, part_number, packed), poor)):
                return True
        return False

    def ways_to_take_poor(self, part_number: str, wanted: dict) -> list:
        """How many kits that lack something each job takes of which lot: job, kind of lot, what is missing, how many.

        What is set aside for the job, and what lies free of a lot, are two kinds.
        """
        places, held = [], {}
        for name in wanted:
            own = [
                (("own", name, n), *row) for n, row in enumerate(self.supply.own_reserved.get((name, part_number), []))
            ]
            free = [(("lot", n), row, row.free) for n, row in enumerate(self.supply.usable(part_number))]
            for kind, row, quantity in (*own, *free):
                missing = self.missing(name, row.lot)
                if missing and self.may_take(name, row.lot):
                    held[kind] = quantity // ONE
                    places.append((name, kind, missing))
        counts = [range(min(held[kind], wanted[name] // ONE) + 1) for name, kind, _ in places]
        if prod(map(len, counts)) > self.most_ways:
            raise TooLarge(part_number)
        ways = []
        for way in product(*counts):
            used = {}
            for (_, kind, _), number in zip(places, way, strict=True):
                used[kind] = used.get(kind, 0) + number
            if all(number <= held[kind] for kind, number in used.items()):
                ways.append(tuple((*place, number) for place, number in zip(places, way, strict=True) if number))
        return sorted(ways, key=len)

    def missing(self, name: str, lot) -> dict:
        """What one kit of a lot is without for a job."""
        if lot.contents is None:
            return {}
        there, listed = dict(lot.contents), contents_of(self.structure, lot.part_number, self.conditions[name])
        return {part: each - there.get(part, 0) for part, each in listed.items() if each > there.get(part, 0)}

    def may_take(self, name: str, lot) -> bool:
        lives = lot.last_use is None or lot.last_use >= self.build[name]
        return lives and fold(lot.owner) in ("", self.customer[name])

    def with_missing(self, asked: dict, poor: tuple) -> dict:
        for name, _, missing, number in poor:
            for part, each in missing.items():
                of_part = asked.setdefault(part, {})
                of_part[name] = of_part.get(name, 0) + each * number
        return asked

    def ways_to_pack(self, part_number: str, wanted: dict) -> list:
        """How much is put together for each job, fewest first."""
        source = self.structure.items[part_number].source
        counts = {}
        for name, quantity in wanted.items():
            packs = source in PUT_TOGETHER and contents_of(self.structure, part_number, self.conditions[name])
            assert not packs or quantity % ONE == 0, "only whole things are put together here"
            counts[name] = range(0, quantity + 1 if packs else 1, ONE)
        if prod(map(len, counts.values())) > self.most_ways:
            raise TooLarge(part_number)
        ways = [dict(zip(counts, way, strict=True)) for way in product(*counts.values())]
        return sorted(ways, key=lambda way: sum(way.values()))

    def with_contents(self, asked: dict, part_number: str, packed: dict) -> dict:
        asked = {name: dict(of_name) for name, of_name in asked.items()}
        for name, quantity in packed.items():
            if quantity:
                for inside, each in contents_of(self.structure, part_number, self.conditions[name]).items():
                    of_inside = asked.setdefault(inside, {})
                    of_inside[name] = of_inside.get(name, 0) + each * quantity // ONE
        return asked

    def lots_suffice(self, part_number: str, wanted: dict) -> bool:
        """Whether any jobs together find what they want in what may serve one of them; then each has its share."""
        asking = [name for name, quantity in wanted.items() if quantity]
        there = []
        for name in asking:
            key = (name, part_number)
            for row, taken in self.supply.own_reserved.get(key, []):
                if self.may_take(name, row.lot) and not self.missing(name, row.lot):
                    there.append(({name}, taken))
            for last_use, held in self.supply.own_bagged.get(key, []):
                if last_use is None or last_use >= self.build[name]:
                    there.append(({name}, held))
        for row in self.supply.usable(part_number):
            serves = {name for name in asking if self.may_take(name, row.lot) and not self.missing(name, row.lot)}
            there.append((serves, row.free))
        return all(
            sum(wanted[name] for name in some) <= sum(held for serves, held in there if not serves.isdisjoint(some))
            for size in range(1, len(asking) + 1)
            for some in combinations(asking, size)
        )
