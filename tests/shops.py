"""Random small shops that obey every rule, with many ties and every kind of trouble.

``random_shop(seed)`` always gives the same shop for the same seed. Quantities are small and dates few, so that ties,
shortages, late orders and dying lots are common.
"""

import random
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cache

from bom.values import (
    ASKING_STAGES,
    ONE,
    Catalog,
    Finding,
    FindingRule,
    Issue,
    Item,
    Job,
    KitFit,
    Line,
    Lot,
    Offer,
    OrderLine,
    OtherNeed,
    ScopeSection,
    Shop,
    Verdict,
)
from tests.oracle import slow_faults
from tests.oracle.explosion import conditions_of, walk_job
from tests.oracle.findings import inspected_in, meets_a_rule, wet_additions
from tests.oracle.structure import Structure

BASE = date(2026, 3, 4)
ALTERNATIVES = {"compound": ("nbr", "fkm"), "service": ("normal", "oxygen"), "depth": ("reseal", "overhaul")}
GROUPS = {"bumpers": "assembly", "pair": "section", "whole": "pump"}
RATES = (0, 5, 10, 20, 25, 35, 50, 50, Fraction(25, 2), 100)
FINDINGS = ("metal in the oil", "bore honed")
CUSTOMERS = ("", "Harbour Line", "Tube Mill")


def with_bags(shop: Shop, seed: int) -> Shop:
    """The shop with what is in its kits written down: most are short of something, or hold something else."""
    rng = random.Random(f"bags {seed}")
    kits = {item.part_number for item in shop.catalog.items if item.kind == "kit"}
    parts = sorted(item.part_number for item in shop.catalog.items if item.kind == "part" and item.countable)
    bags = {}
    for lot in shop.lots:
        key = (lot.part_number, lot.lot)
        if lot.part_number in kits and key not in bags:
            listed = [(line.child, line.quantity) for line in shop.catalog.lines if line.parent == lot.part_number]
            held = [(part, rng.choice((0, quantity, quantity, 2 * quantity))) for part, quantity in listed]
            bags[key] = rng.choice((None, (*dict(held).items(), (rng.choice(parts), ONE))))
    lots = tuple(replace(lot, contents=bags.get((lot.part_number, lot.lot))) for lot in shop.lots)
    return replace(shop, lots=lots)


def with_half_kits(shop: Shop, seed: int) -> Shop:
    """The shop while its kits are being entered: of some the contents are missing, of others what they fit."""
    rng = random.Random(f"half kits {seed}")
    kits = sorted(item.part_number for item in shop.catalog.items if item.kind == "kit")
    empty = {kit for kit in kits if rng.random() < 0.3}
    loose = {kit for kit in kits if rng.random() < 0.3}
    items = tuple(
        replace(item, source="buy", get_as=None) if item.get_as in empty else item for item in shop.catalog.items
    )
    lines = tuple(line for line in shop.catalog.lines if line.parent not in empty)
    fits = tuple(fit for fit in shop.catalog.kit_fits if fit.kit not in loose)
    return replace(shop, catalog=replace(shop.catalog, items=items, lines=lines, kit_fits=fits))


@dataclass(frozen=True)
class Size:
    parts: int
    jobs: int
    lines: int
    lots: int


SIZES = {"tiny": Size(3, 2, 2, 1), "small": Size(7, 5, 4, 3), "medium": Size(12, 9, 5, 3)}


@cache
def random_shop(seed: int, size: str = "small") -> Shop:
    """A shop without faults; a draw that breaks a rule is thrown away and drawn anew."""
    for attempt in range(500):
        shop = ShopMaker(random.Random(f"{size} {seed} {attempt}"), SIZES[size]).make_shop()
        if shop:
            return shop
    raise AssertionError(f"seed {seed}: no valid shop in 500 draws")


class ShopMaker:
    """Draws one shop, list by list."""

    def __init__(self, rng: random.Random, size: Size):
        self.rng, self.size = rng, size
        self.as_of = BASE + timedelta(days=rng.choice((0, 0, 0, 1, 2, 3, 4, 5, 6)))
        self.plenty = rng.choice((1, 2, 4, 8))  # how well the shelves are filled
        self.parts = [f"P{number}" for number in range(1, size.parts + 1)]
        self.measured = ["M1", "M2"]
        self.assemblies = ["A1", "A2", "A3", "A4"]
        self.made = ["A8", "A9"]
        self.kits = ["K1", "K2", "K3", "K4", "K5", "K6"]
        self.pumps = ["U1", "U2"]
        self.last_uses, self.owners = {}, {}  # one lot has one last use and one owner, wherever it lies

    def chance(self, percent: int) -> bool:
        return self.rng.randrange(100) < percent

    def day(self, first: int = -2, last: int = 24) -> date:
        """Few different days, so that many are equal."""
        return self.as_of + timedelta(days=self.rng.choice(range(first, last, 3)))

    def make_shop(self) -> Shop | None:
        """None where it breaks a rule."""
        lines = self.make_lines()
        scopes = self.make_scopes(lines)
        items = self.make_items(lines)
        catalog = Catalog(items, lines, scopes, self.make_fits(), self.make_offers(items))
        jobs = self.make_jobs(scopes)
        lots = self.make_lots(items)
        shop = Shop(
            self.as_of,
            catalog,
            self.rng.choice((0, 1, 1, 1, 2)),
            holidays=self.make_holidays(),
            lots=lots,
            workdays=self.rng.choice([(True,) * 5 + (False,) * 2] * 4 + [(True,) * 6 + (False,)]),
            orders=self.make_orders(items),
            jobs=jobs,
            needs=self.make_needs(),
        )
        if slow_faults(shop):
            return None
        structure = Structure(catalog)
        walks = [(job, walk_job(structure, job)) for job in jobs]
        shop = replace(shop, issues=self.make_issues(walks, lots), verdicts=self.make_verdicts(walks))
        shop = self.with_closures(self.with_far_orders(self.with_findings(shop, structure, walks)))
        return None if slow_faults(shop) else shop

    # --- catalog

    def quantity(self, part_number: str) -> int:
        if part_number in self.measured:
            return self.rng.choice((ONE // 2, ONE, 2 * ONE + 500_000, 310 * ONE, 1_234_567))
        return self.rng.choice((1, 1, 1, 2, 2, 3)) * ONE

    def loose_thing(self) -> str:
        return self.rng.choice(self.parts * 4 + self.measured * 2 + self.made + ["B1", "X1"])

    def make_lines(self) -> tuple[Line, ...]:
        lines = []
        for assembly in self.assemblies:
            lines += self.lines_of_assembly(assembly)
        lines += self.open_lines()
        for assembly in self.made:
            lines += self.lines_of_made(assembly)
        for kit in self.kits:
            lines += self.lines_of_kit(kit, lines)
        return self.count_for_whole_pump(tuple(lines))

    def lines_of_assembly(self, assembly: str) -> list[Line]:
        lines, used = [], set()
        for number in range(self.rng.randint(1, self.size.lines)):
            kind = self.rng.choice(("plain",) * 6 + ("compound", "service", "depth", "dates", "serials"))
            child = self.loose_thing()
            position = f"seat {number + 1}"
            if kind == "plain" and child not in used and self.chance(30):
                position = ""
            used.add(child)
            line = self.rebuild_line(assembly, child, position, number)
            lines += self.alternatives(line, kind) if kind != "plain" else [line]
        return lines

    def rebuild_line(self, assembly: str, child: str, position: str, order: int) -> Line:
        at_rebuild = self.rng.choice(("renew", "renew", "renew", "inspect", "inspect", "inspect", "keep"))
        wetted = child in ("P6", "P7") and self.chance(60)
        line = Line(assembly, child, self.quantity(child), at_rebuild, position, order=order, wetted=wetted)
        if at_rebuild != "inspect":
            return line
        rate = None if self.chance(15) else Fraction(self.rng.choice(RATES))
        group = self.rng.choice(["", "", "", *GROUPS])
        return replace(
            line, renewals_per_100=rate, renew_together=group, renew_together_over=GROUPS.get(group, "assembly")
        )

    def alternatives(self, line: Line, kind: str) -> list[Line]:
        """The same place filled in different ways, of which a job meets one."""
        other = replace(line, child=self.rng.choice(self.parts), quantity=self.rng.choice((1, 1, 2)) * ONE)
        nbr, fkm = (("compound", "nbr"),), (("compound", "fkm"),)
        if kind == "compound":
            return [replace(line, options=nbr), replace(other, options=fkm)]
        if kind == "service":
            third = replace(other, child=self.rng.choice(self.parts))
            return [
                replace(line, options=nbr),
                replace(other, options=(*fkm, ("service", "normal"))),
                replace(third, options=(*fkm, ("service", "oxygen"))),
            ]
        if kind == "depth":
            renewed = replace(line, at_rebuild="renew", renewals_per_100=None, renew_together="")
            return [replace(line, options=(("depth", "reseal"),)), replace(renewed, options=(("depth", "overhaul"),))]
        if kind == "dates":
            last = self.day()
            return [replace(line, to_on=last), replace(other, from_on=last + timedelta(days=1))]
        return [replace(line, to_serial="H3-0999"), replace(other, from_serial="H3-1000")]

    def open_lines(self) -> list[Line]:
        def opens(parent, child, count, position):
            return Line(parent, child, count * ONE, "open", position, order=90)

        lines = [
            opens("A1", "A2", self.rng.choice((1, 2, 2)), "inlet; outlet"),
            opens("A3", "A4", self.rng.choice((1, 2)), "each head"),
            opens("U1", "A1", 2, "ends"),
            opens("U1", "A3", 1, "drive"),
            opens("U2", "A1", 1, "end"),
            opens("U2", "A3", self.rng.choice((1, 1, 2)), "drive"),
        ]
        if self.chance(30):
            lines.append(opens("A3", "A2", 1, "bleed"))
        if self.chance(30):
            lines += [
                replace(opens("U1", "A2", 1, "relief"), options=(("compound", "nbr"),)),
                replace(opens("U1", "A4", self.rng.choice((1, 2)), "relief"), options=(("compound", "fkm"),)),
            ]
        if self.chance(20):
            lines.append(replace(opens("U2", "A4", 1, "booster"), from_on=self.day()))
        for pump in self.pumps:
            lines.append(self.rebuild_line(pump, self.rng.choice(self.parts), "label", 99))
        return lines

    def lines_of_made(self, assembly: str) -> list[Line]:
        lines = []
        for number, child in enumerate(self.rng.sample(self.parts, 2)):
            at_rebuild = self.rng.choice(("", "renew", "inspect", "keep"))
            options = self.rng.choice(((),) * 5 + ((("compound", "fkm"),),))
            lines.append(Line(assembly, child, self.quantity(child), at_rebuild, f"slot {number}", options=options))
        if self.chance(30):
            lines.append(Line(assembly, self.rng.choice(("M1", "B1")), ONE, "", "slot 9"))
        if assembly == "A8" and self.chance(50):
            lines.append(Line("A8", "A9", ONE, "", "core"))
        return lines

    def lines_of_kit(self, kit: str, lines: list[Line]) -> list[Line]:
        """Mostly what the assemblies renew, now and then a piece too many or too few."""
        renewed = sorted({line.child for line in lines if line.at_rebuild in ("renew", "inspect")})
        children = self.rng.sample(renewed, min(len(renewed), self.rng.randint(1, 4)))
        if kit in ("K1", "K2") and "X1" not in children and self.chance(60):
            children.append("X1")
        kit_lines = []
        for number, child in enumerate(children):
            line = Line(kit, child, self.quantity(child), position=self.rng.choice(("", f"bag {number}")))
            if self.chance(15):
                line = replace(line, position=f"bag {number}")
                kit_lines += self.alternatives(line, self.rng.choice(("compound", "dates", "serials")))
            else:
                kit_lines.append(line)
        if kit == "K5" and self.chance(60):
            kit_lines.append(Line(kit, "K2", self.rng.choice((1, 2)) * ONE))
        if kit == "K6" and self.chance(40):
            kit_lines.append(Line(kit, "K3", ONE))
        return kit_lines

    def count_for_whole_pump(self, lines: tuple[Line, ...]) -> tuple[Line, ...]:
        """Give some lines as the total of a pump; the same structure, counted the other way."""
        structure = Structure(Catalog(tuple(Item(name) for name in self.all_names()), lines))
        counted = []
        for line in lines:
            pump = self.rng.choice(self.pumps)
            count, disagree = structure.instances(pump, line.parent)
            if line.parent in self.assemblies and count and not disagree and self.chance(12):
                line = replace(line, quantity=line.quantity * count, quantity_is_for="whole_pump", pump=pump)
            counted.append(line)
        return tuple(counted)

    def all_names(self) -> list[str]:
        return [*self.parts, *self.measured, "B1", "X1", *self.assemblies, *self.made, *self.kits, *self.pumps]

    def make_scopes(self, lines) -> tuple[ScopeSection, ...]:
        structure = Structure(Catalog(tuple(Item(name) for name in self.all_names()), lines))
        rows = []
        for pump in self.pumps:
            ends, drives = structure.instances(pump, "A1")[0], structure.instances(pump, "A3")[0]
            rows += self.scope(pump, "full reseal", [("A1", ends), ("A3", drives)])
            rows += self.scope(pump, "one end", [("A1", 1)])
            rows += self.scope(pump, "checks", [("A2", self.rng.randint(1, structure.instances(pump, "A2")[0]))])
            rows += self.scope(pump, "all", [(pump, 1)])
        return tuple(rows)

    def scope(self, pump: str, name: str, sections: list) -> list[ScopeSection]:
        use_kits = self.chance(80)
        options = self.some_answers(30)
        return [
            ScopeSection(pump, name, section, count, use_kits, options if index == 0 else ())
            for index, (section, count) in enumerate(sections)
        ]

    def some_answers(self, percent: int) -> tuple:
        return tuple(
            sorted((name, self.rng.choice(values)) for name, values in ALTERNATIVES.items() if self.chance(percent))
        )

    def make_items(self, lines) -> tuple[Item, ...]:
        items = [self.part(name) for name in self.parts]
        items += [replace(self.part(name), countable=False) for name in self.measured]
        items.append(Item("B1", countable=self.chance(50), bench=True, safety_stock=self.rng.choice((0, 5 * ONE))))
        holders = sorted({line.parent for line in lines if line.child == "X1" and line.parent in self.kits})
        get_as = self.rng.choice(holders) if holders else None
        items.append(
            Item(
                "X1",
                source="in_kit_only" if get_as else "buy",
                get_as=get_as,
                safety_stock=self.rng.choice((0, 0, ONE)),
            )
        )
        items += [Item(name, "assembly") for name in self.assemblies]
        items += [Item(name, "assembly", source="make", lead_days=self.rng.choice((0, 1, 2))) for name in self.made]
        for name in self.kits:
            source = "buy" if name == get_as else self.rng.choice(("buy", "pack", "pack_else_buy", "pack_else_buy"))
            items.append(
                Item(
                    name,
                    "kit",
                    source=source,
                    lead_days=self.rng.choice((None, 0, 1, 1, 1, 2, 2)),
                    safety_stock=self.rng.choice((0, 0, 0, 2 * ONE)),
                )
            )
        items += [Item(name, "pump", default_options=self.some_answers(85)) for name in self.pumps]
        return tuple(items)

    def part(self, name: str) -> Item:
        limited = self.chance(30)
        return Item(
            name,
            lead_days=self.rng.choice((None, 0, 2, 5, 5, 10, 20)),
            safety_stock=self.rng.choice((0, 0, 0, 2, 5)) * ONE,
            how_sure_percent=self.rng.choice((50.0, 80.0, 90.0, 90.0, 95.0, 99.5)),
            limited_life=limited,
            life_months=60 if limited else None,
            ageless=not limited and self.chance(50),
            resealed_usable=self.chance(60),
            cleanliness=self.rng.choice(("normal", "oxygen_clean")) if name in ("P6", "P7") else "normal",
        )

    def make_fits(self) -> tuple[KitFit, ...]:
        fkm = (("compound", "fkm"),)
        fits = [
            KitFit("K1", "A1", self.rng.choice(((), (), (("compound", "nbr"),))), self.rng.choice((1, 1, 2))),
            KitFit("K2", "A2", (), self.rng.choice((1, 1, 2))),
        ]
        if self.chance(50):
            fits.append(KitFit("K3", "A1", self.rng.choice(((), fkm)), preferred=self.chance(50)))
        if self.chance(40):
            fits.append(KitFit("K4", "A1", set_name=self.rng.choice(("b", "b", "Z"))))
        if self.chance(40):
            options = self.rng.choice(((), fkm))
            fits.append(KitFit("K5", self.rng.choice(("A3", "A4")), options, self.rng.choice((1, 2))))
        if self.chance(20):
            fits.append(KitFit("K6", self.rng.choice((*self.pumps, "A3")), set_name=self.rng.choice(("", "a"))))
        return tuple(fits)

    def make_offers(self, items) -> tuple[Offer, ...]:
        offers = []
        for item in items:
            if item.kind == "pump" or item.bench or item.part_number == "X1":
                continue
            for supplier in self.rng.sample(("Norrvik", "Fernhope", "Lantry"), self.rng.choice((0, 0, 1, 1, 2, 3))):
                offers += self.offer(item.part_number, supplier)
        return tuple(offers)

    def offer(self, part_number: str, supplier: str) -> list[Offer]:
        expired = self.as_of + timedelta(days=self.rng.choice((-10, -1, 0, 30)))
        offer = Offer(
            supplier,
            part_number,
            self.rng.choice(("", f"{supplier[0]}-{part_number}")),
            pack_size=self.rng.choice((1, 1, 2, 5, 10)) * ONE,
            minimum_packs=self.rng.choice((1, 1, 2)),
            multiple_packs=self.rng.choice((1, 1, 1, 3)),
            lead_days=self.rng.choice((None, 1, 3, 3, 8, 15)),
            transit_days=self.rng.choice((0, 0, 2)),
            price_per_pack=None if self.chance(12) else Decimal(self.rng.choice((500, 500, 950, 1200, 2675))) / 100,
            foreign_currency="USD" if self.chance(12) else "",
            valid_to=self.rng.choice((None, None, None, expired)),
        )
        if offer.price_per_pack is None or self.chance(60):
            return [offer]
        cheaper = offer.price_per_pack * Decimal("0.8")
        return [offer, replace(offer, price_from_packs=self.rng.choice((2, 3, 5)), price_per_pack=cheaper)]

    # --- supply

    def make_holidays(self) -> tuple[date, ...]:
        days = {self.as_of + timedelta(days=self.rng.randint(-3, 25)) for _ in range(self.rng.choice((0, 1, 2, 3)))}
        return tuple(sorted(days))

    def make_lots(self, items) -> tuple[Lot, ...]:
        lots = {}
        for item in items:
            if item.kind == "pump" or item.bench or (item.kind == "assembly" and self.chance(70)):
                continue
            for number in range(self.rng.randint(self.plenty > 2, self.size.lots)):
                lot = self.lot(item, number)
                lots[lot.part_number, lot.lot, lot.place, lot.condition, lot.packet] = lot
        return tuple(lots.values())

    def lot(self, item: Item, number: int) -> Lot:
        last_use = self.rng.choice((None, None, self.day(-5), self.day(-5), self.day(30, 90)))
        quantity = self.rng.randint(1, 5) * self.plenty * ONE
        if not item.countable:
            quantity = self.rng.choice((ONE // 2, 3 * ONE, 400 * ONE, 7_654_321))
        code = self.rng.choice((f"L{number}", "L9", "L10"))
        last_use = self.last_uses.setdefault((item.part_number, code), last_use)
        return Lot(
            item.part_number,
            code,
            quantity,
            place=self.rng.choice(("S1", "S2")),
            condition="quarantine" if self.chance(8) else "usable",
            packet=self.rng.choice(("sealed",) * 7 + ("resealed", "resealed", "loose")),
            last_use=last_use,
            received=self.rng.choice((None, BASE - timedelta(days=100), BASE - timedelta(days=50))),
            owner=self.owners.setdefault((item.part_number, code), self.rng.choice(("",) * 9 + ("harbour line",))),
        )

    def make_orders(self, items) -> tuple[OrderLine, ...]:
        orders = []
        for item in items:
            if item.kind == "pump" or item.bench or not self.chance(35 + 5 * self.plenty):
                continue
            for _ in range(self.rng.choice((1, 1, 2))):
                number = len(orders)
                quantity = self.rng.choice((ONE, 5 * ONE + 1))
                if item.countable:
                    quantity = self.rng.randint(1, 5) * self.rng.choice((1, self.plenty)) * ONE
                orders.append(
                    OrderLine(
                        f"PO-{number // 2 + 8}",
                        str(number % 2 * 7 + 4),
                        item.part_number,
                        quantity,
                        self.day(-8, 20),
                        self.rng.choice(("Norrvik", "Lantry")),
                    )
                )
        return tuple(orders)

    # --- demand

    def make_jobs(self, scopes) -> tuple[Job, ...]:
        jobs = []
        for number in range(self.rng.randint(1, self.size.jobs)):
            jobs.append(
                self.job(
                    f"J-{number + 1}",
                    self.rng.choice(("expected", "expected", "here", "stripped", "stripped", "building", "held")),
                )
            )
        for number in range(self.rng.choice((0, 0, 1, 2))):
            old = self.job(f"J-old-{number}", self.rng.choice(("shipped", "built", "tested", "cancelled")))
            jobs.append(replace(old, quantity=self.rng.choice((1, 3, 3)), scope="full reseal"))
        return tuple(jobs)

    def job(self, name: str, stage: str) -> Job:
        build_on = self.day()
        scope = self.rng.choice(("full reseal", "full reseal", "one end", "checks", "all"))
        return Job(
            name,
            self.rng.choice(self.pumps),
            scope,
            build_on,
            quantity=self.rng.choice((1, 1, 1, 2)),
            batch=self.rng.choice(("", "Spring", "Easter")),
            priority=self.rng.choice((1, 5, 5, 5, 9)),
            options=self.some_answers(40),
            use_kits=self.rng.choice((None, None, None, True, False)),
            serial=self.rng.choice(("", "H3-0714", "h3-999", "H3-1000", "H4-0117")),
            customer=self.rng.choice(CUSTOMERS),
            strip_on=self.rng.choice((None, build_on - timedelta(days=3), build_on - timedelta(days=10))),
            stage=stage,
            cleanliness="oxygen_clean" if self.chance(15) else "normal",
        )

    def make_needs(self) -> tuple[OtherNeed, ...]:
        needs = []
        for number in range(self.rng.choice((0, 0, 1, 2))):
            thing = self.rng.choice(self.parts + self.kits + self.made + self.measured)
            needs.append(
                OtherNeed(
                    f"N-{number + 1}",
                    thing,
                    self.quantity(thing),
                    self.day(-2, 25),
                    self.rng.choice(CUSTOMERS),
                    self.rng.choice((1, 5)),
                )
            )
        return tuple(needs)

    def make_issues(self, walks, lots) -> tuple[Issue, ...]:
        issues = {}

        def add(issue):
            issues[issue.job, issue.part_number, issue.lot, issue.state] = issue

        for job, walk in walks:
            if not self.chance(40):
                continue
            wanted = sorted({part_number for part_number, _, _ in walk.needs})
            wanted += [fit.kit for fit in self.make_fits() if fit.fits in walk.covered_instances]
            for part_number in self.rng.sample(wanted, min(len(wanted), self.rng.randint(1, 3))):
                quantity = self.quantity(part_number)
                state = self.rng.choice(("issued", "issued", "bagged"))
                add(Issue(job.job, part_number, "L1", quantity, state))
                if state == "issued" and self.chance(25):
                    add(Issue(job.job, part_number, "L1", self.rng.choice((ONE, quantity)), "returned"))
        for issue in self.reservations(walks, lots):
            add(issue)
        return tuple(issues.values())

    def reservations(self, walks, lots):
        """Never more than lies there, and only of lots that can be told apart by lot code and place."""
        rows = {}
        for lot in lots:
            rows.setdefault((lot.part_number, lot.lot, lot.place), []).append(lot)
        for same in rows.values():
            lot = same[0]
            if len(same) > 1 or lot.owner or not walks or not self.chance(12):
                continue
            job = self.rng.choice(walks)[0]
            quantity = lot.quantity if self.chance(40) else min(lot.quantity, ONE)
            yield Issue(job.job, lot.part_number, lot.lot, quantity, "reserved", lot.place)

    def make_verdicts(self, walks) -> tuple[Verdict, ...]:
        verdicts = []
        for job, walk in walks:
            if job.stage in ("expected", "here", "held") and not self.chance(5):
                continue
            all_of_it = job.stage not in ASKING_STAGES
            for position in walk.positions:
                if all_of_it or self.chance(60):
                    verdicts.append(self.verdict(job, position))
        return tuple(verdicts)

    def verdict(self, job: Job, position) -> Verdict:
        where = position.where
        if job.quantity == 1 and self.chance(40):
            where = where.removeprefix("pump 1 / ")
        if self.chance(10):
            where = where.upper()
        verdict = self.rng.choice(("keep",) * 7 + ("renew",) * 4 + ("missing", "rework", "not_as_listed"))
        found = self.rng.choice(("", "pitted", "scored")) if verdict != "keep" else ""
        with_group = self.rng.choice((None, None, None, True, True, False))
        found = found or ("by itself" if with_group is False else "")
        return Verdict(job.job, where, position.part_number, verdict, found, with_group)

    # --- drawn last, so that the rest of a shop is the same with and without them

    def with_far_orders(self, shop: Shop) -> Shop:
        """Some orders come about as late as wear still waits for them, or later."""
        far = [replace(line, promised=self.day(80, 112)) if self.chance(15) else line for line in shop.orders]
        return replace(shop, orders=tuple(far))

    def with_closures(self, shop: Shop) -> Shop:
        """Some suppliers close for a while, before, on or after today."""
        closed = {}
        for supplier in sorted({row.supplier for row in shop.catalog.offers}):
            if self.chance(40):
                first = self.day(-12, 12)
                closed[supplier] = {"closed_from": first, "closed_to": first + timedelta(days=self.rng.randrange(14))}
        offers = tuple(replace(row, **closed.get(row.supplier, {})) for row in shop.catalog.offers)
        return replace(shop, catalog=replace(shop.catalog, offers=offers))

    def with_findings(self, shop: Shop, structure: Structure, walks) -> Shop:
        if self.chance(25):
            return shop
        rules = {}
        for _ in range(self.rng.choice((2, 3, 4, 6))):
            rule = self.rule(structure)
            if rule is not None:
                rules[rule.finding, rule.assembly, rule.effect, rule.part_number] = rule
        shop = replace(shop, catalog=replace(shop.catalog, finding_rules=tuple(rules.values())))
        for job, walk in walks:
            if job.stage in ASKING_STAGES and self.chance(75):
                shop = self.with_findings_on(shop, structure, job, walk)
        return shop

    def rule(self, structure: Structure) -> FindingRule | None:
        name, assembly = self.rng.choice(FINDINGS), self.rng.choice((*self.assemblies * 2, *self.pumps))
        if self.chance(50):
            part = self.rng.choice(self.parts + self.measured + self.made + ["X1"])
            return FindingRule(name, assembly, "add", part, self.quantity(part))
        part = self.rng.choice(("", *(name for name in structure.items if inspected_in(structure, assembly, name))))
        return FindingRule(name, assembly, "renew", part) if inspected_in(structure, assembly, part) else None

    def with_findings_on(self, shop: Shop, structure: Structure, job: Job, walk) -> Shop:
        """Findings that come to something, and that clean work allows."""
        sections = ["", "", *(row.section for row in structure.scope_rows(job.pump, job.scope))]
        for _ in range(self.rng.choice((1, 1, 2))):
            name = self.rng.choice(FINDINGS)
            finding = Finding(job.job, name.upper() if self.chance(20) else name, self.rng.choice(sections))
            known = {(row.finding.casefold(), row.section) for row in shop.findings if row.job == job.job}
            more = replace(shop, findings=(*shop.findings, finding))
            fits = (name, finding.section) not in known and meets_a_rule(shop, finding, walk)
            if fits and not wet_additions(more, structure, job, walk, conditions_of(structure, job)):
                shop = more
        return shop
