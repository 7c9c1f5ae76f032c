"""The catalog of an invented shop: items, structure lines, scopes, kits and offers, drawn from one seed."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import numpy as np

from bom.values import ONE, Catalog, Item, KitFit, Line, Offer, ScopeSection
from tests.benchmarks.synthetic_lists import (
    COMPOUND,
    DATED,
    DEPTH,
    INSPECT,
    KEEP,
    OPEN,
    RENEW,
    SERIAL,
    SERVICE,
    Numbers,
    draw_leaves,
    draw_opened,
)

AS_OF = date(2026, 3, 2)
CHANGES = (AS_OF - timedelta(900), AS_OF - timedelta(200), AS_OF + timedelta(90), AS_OF + timedelta(200))
"""Days on which practice changed, or will."""
RATES, RATE_CHANCES = (2, 5, 10, 15, 20, 25, 35, 50), (0.1, 0.2, 0.2, 0.15, 0.12, 0.1, 0.08, 0.05)
GROUPS = ("assembly", "section", "pump")
LETTERS = {"pump": "U", "section": "S", "sub": "A", "joint": "J", "kit": "K", "part": "P"}
SUPPLIERS = tuple(f"Supplier {number}" for number in range(1, 31))
VALUES = {COMPOUND: ("compound", "nbr", "fkm"), SERVICE: ("service", "normal", "oxygen")}
SCOPES = {"reseal": (("depth", "reseal"), True), "overhaul": (("depth", "overhaul"), True),
          "reseal without kits": (("depth", "reseal"), False)}  # fmt: skip


class CatalogMaker:
    """Draws one catalog; ``numbers`` tells which item number is what."""

    def __init__(self, size, rng):
        self.rng, self.size = rng, size
        self.numbers = Numbers(size)
        self.names = [
            f"{LETTERS[kind]}-{n:06d}" for kind in self.numbers.first for n in range(self.numbers.count[kind])
        ]
        self.by_parent = defaultdict(list)

    def make_catalog(self):
        opened, leaves = draw_opened(self.numbers, self.rng), draw_leaves(self.numbers, self.rng)
        items = self.make_items()
        self.countable = [item.countable for item in items]
        self.sections = defaultdict(list)
        for parent, child, quantity in zip(
            *(c.tolist() for c in (opened.parent, opened.child, opened.quantity)), strict=True
        ):
            self.add(Line(self.names[parent], self.names[child], quantity * ONE, OPEN, "each side"))
            if parent < self.numbers.first["section"]:
                self.sections[parent].append((child, quantity))
        self.add_leaves(leaves)
        fits = self.make_kits()
        self.meet_count()
        lines = tuple(
            replace(line, order=place) for listed in self.by_parent.values() for place, line in enumerate(listed)
        )
        return Catalog(items, lines, self.make_scopes(), fits, self.make_offers(items), revision="1")

    def add(self, line):
        self.by_parent[line.parent].append(line)

    # --- items

    def make_items(self):
        items = [self.make_item(kind, number) for kind in self.numbers.first for number in self.range_of(kind)]
        return tuple(items)

    def range_of(self, kind):
        return range(self.numbers.first[kind], self.numbers.first[kind] + self.numbers.count[kind])

    def make_item(self, kind, number):
        rng, name = self.rng, self.names[number]
        if kind == "pump":
            return Item(name, "pump", default_options=(("compound", "nbr"), ("service", "normal")))
        if kind == "kit":
            source = rng.choice(("buy", "pack_else_buy", "pack"), p=(0.3, 0.5, 0.2))
            return Item(name, "kit", source=str(source), lead_days=int(rng.integers(1, 4)))
        if kind != "part":
            return Item(name, "assembly", lead_days=int(rng.integers(20, 90)))
        ageless = rng.random() < 0.6
        return Item(
            name,
            countable=rng.random() >= 0.02,
            bench=rng.random() < 0.01,
            lead_days=int(5 + rng.gamma(2.0, 12.0)) if rng.random() < 0.98 else None,
            safety_stock=int(rng.integers(1, 20)) * ONE if rng.random() < 0.1 else 0,
            how_sure_percent=float(rng.choice((80.0, 90.0, 95.0), p=(0.1, 0.8, 0.1))),
            ageless=ageless,
            limited_life=not ageless,
            life_months=None if ageless else int(rng.choice((60, 120, 180))),
        )

    # --- structure

    def add_leaves(self, leaves):
        rng, columns = self.rng, (leaves.parent, leaves.child, leaves.other, leaves.quantity, leaves.condition)
        rates = rng.choice(RATES, leaves.parent.size, p=RATE_CHANCES).tolist()
        dice = rng.random((leaves.parent.size, 2)).tolist()
        rows = zip(*(column.tolist() for column in columns), leaves.action.tolist(), rates, dice, strict=True)
        for number, (parent, child, other, quantity, condition, action, rate, (first, second)) in enumerate(rows):
            line = Line(self.names[parent], self.names[child], self.amount(child, quantity), action, f"place {number}")
            if action == INSPECT:
                group = first < 0.1
                line = replace(
                    line,
                    renewals_per_100=None if second < 0.03 else Fraction(rate),
                    renew_together="set" if group else "",
                    renew_together_over=GROUPS[int(first * 30)] if group else "assembly",
                )
            for alternative in self.alternatives(line, condition, other, quantity, rate):
                self.add(alternative)

    def amount(self, item, quantity):
        return quantity * ONE if self.countable[item] else quantity * 12_345_678

    def alternatives(self, line, condition, other, quantity, rate):
        """One line, or the two lines of which a job meets one."""
        second = replace(line, child=self.names[other], quantity=self.amount(other, quantity))
        if condition in VALUES:
            name, usual, special = VALUES[condition]
            return replace(line, options=((name, usual),)), replace(second, options=((name, special),))
        if condition == DEPTH:
            looked = replace(line, at_rebuild=INSPECT, renewals_per_100=Fraction(rate))
            return replace(looked, options=(("depth", "reseal"),)), replace(line, options=(("depth", "overhaul"),))
        if condition == DATED:
            day = CHANGES[int(self.rng.integers(len(CHANGES)))]
            return replace(line, to_on=day - timedelta(1)), replace(second, from_on=day)
        if condition == SERIAL:
            family = int(self.rng.integers(self.numbers.families))
            return replace(line, to_serial=f"F{family}-499"), replace(second, from_serial=f"F{family}-500")
        return (line,)

    def meet_count(self):
        """Add ``keep`` lines, or take some off, until the number of lines is the one asked for."""
        off = sum(map(len, self.by_parent.values())) - self.size.lines
        lists = [self.names[n] for kind in ("section", "sub") for n in self.range_of(kind)]
        while off:
            held = self.by_parent[lists[int(self.rng.integers(len(lists)))]]
            kept = [place for place, line in enumerate(held) if line.at_rebuild == KEEP]
            if off > 0 and kept:
                del held[kept[-1]]
                off -= 1
            elif off < 0 and kept:
                held.append(replace(held[kept[-1]], position=f"more {-off}"))
                off += 1

    def make_scopes(self):
        """Three scopes for each pump; each opens all its sections."""
        return tuple(
            ScopeSection(self.names[pump], scope, self.names[section], how_many, use_kits, (option,))
            for pump, held in self.sections.items()
            for scope, (option, use_kits) in SCOPES.items()
            for section, how_many in held
        )

    # --- kits

    def make_kits(self):
        """Kits for subassemblies; half of them come in pairs, one for each compound."""
        kits = [self.names[number] for number in self.range_of("kit")]
        subs = [self.names[number] for number in self.range_of("sub")]
        self.rng.shuffle(subs)
        fits = []
        for sub in subs:
            if not kits:
                break
            if self.rng.random() < 0.33 and len(kits) > 1:
                for compound in VALUES[COMPOUND][1:]:
                    kit, only = kits.pop(), (("compound", compound),)
                    self.fill_kit(kit, sub, dict(only))
                    fits.append(KitFit(kit, sub, only))
            else:
                kit = kits.pop()
                self.fill_kit(kit, sub, {})
                fits.append(KitFit(kit, sub, instances=int(self.rng.choice((1, 2), p=(0.9, 0.1)))))
        return tuple(fits)

    def fill_kit(self, kit, sub, chosen):
        """What the assembly renews, with every twentieth place left out, and a few spares for what it inspects."""
        for place, lines in self.places_below(sub, "").items():
            renews = any(line.at_rebuild == RENEW for line, _ in lines)
            if self.rng.random() < (0.05 if renews else 0.7):
                continue
            for line, times in lines:
                options = dict(line.options)
                if any(options.get(name, value) != value for name, value in chosen.items()):
                    continue
                left = tuple(pair for pair in line.options if pair[0] not in chosen)
                self.add(
                    replace(line, parent=kit, quantity=line.quantity * times, at_rebuild="", position=place,
                            renewals_per_100=None, renew_together="", renew_together_over="assembly", options=left)
                )  # fmt: skip
        if not self.by_parent[kit]:
            first = next(line for line in self.by_parent[sub] if line.at_rebuild != OPEN)
            self.add(Line(kit, first.child, first.quantity, position="only place"))

    def places_below(self, assembly, path, times=1):
        """Renewed and inspected lines below an assembly, by place, each with its number of instances."""
        places = defaultdict(list)
        for line in self.by_parent[assembly]:
            if line.at_rebuild in (RENEW, INSPECT):
                places[f"{path}{line.position}"].append((line, times))
            elif line.at_rebuild == OPEN:
                places |= self.places_below(line.child, f"{path}{line.child} ", times * line.quantity // ONE)
        return places

    # --- offers

    def make_offers(self, items):
        rng, offers = self.rng, []
        for item in items:
            if item.kind not in ("part", "kit") or item.source == "pack":
                continue
            for supplier in rng.choice(len(SUPPLIERS), int(rng.choice((1, 2, 3), p=(0.6, 0.3, 0.1))), replace=False):
                pack = int(rng.choice((1, 1, 1, 10, 25))) * ONE
                price, lead = Decimal(int(rng.lognormal(5.0, 1.2)) + 1) / 100, int(5 + rng.gamma(2.0, 12.0))
                for step, start in enumerate((1, 10, 50)[: int(rng.integers(1, 4))]):
                    offers.append(
                        Offer(SUPPLIERS[supplier], item.part_number, f"{item.part_number}/{supplier}", pack,
                              lead_days=lead, transit_days=2, price_per_pack=price * (10 - step) / 10,
                              price_from_packs=start)
                    )  # fmt: skip
        return tuple(offers)


def usage_in_scope(catalog, opened_times):
    """How many of each item are renewed when each assembly is opened so many times, conditions left aside.

    A rough figure, to stock the shelf by; it is worked out without the engine.
    """
    index = {item.part_number: number for number, item in enumerate(catalog.items)}
    action = np.array([line.at_rebuild for line in catalog.lines])
    parent = np.array([index[line.parent] for line in catalog.lines])
    child = np.array([index[line.child] for line in catalog.lines])
    quantity = np.array([line.quantity for line in catalog.lines], float) / ONE
    goes, ends = action == OPEN, action == RENEW
    front, total = opened_times.astype(float), opened_times.astype(float)
    while front.any():
        front = np.bincount(child[goes], front[parent[goes]] * quantity[goes], len(index))
        total += front
    return total, np.bincount(child[ends], total[parent[ends]] * quantity[ends], len(index))
