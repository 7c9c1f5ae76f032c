"""The cheapest mix of kits and loose parts, by trying every number of kits and every offer."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import product

import networkx as nx

from bom.values import ONE
from tests.oracle.buying import choose_offer, lead_of_offer, offers_of, packs_for
from tests.oracle.explosion import contents_of
from tests.oracle.plan import SlowPlan

FAR = date.max


@dataclass(frozen=True)
class Quote:
    rows: tuple
    pack_size: int
    arrives: date

    def cheapest(self, quantity: int) -> Decimal:
        """The lowest total, more packs up to a price break included."""
        lowest = self.rows[0]
        enough = packs_for(max(quantity, 0), self.pack_size, lowest.minimum_packs, lowest.multiple_packs)
        counts = {enough}
        for row in self.rows:
            start = packs_for(
                row.price_from_packs * self.pack_size, self.pack_size, lowest.minimum_packs, lowest.multiple_packs
            )
            counts.add(max(start, enough))
        return min(self.price(count) for count in counts)

    def price(self, packs: int) -> Decimal:
        reached = [row for row in self.rows if row.price_from_packs <= packs]
        return (reached[-1] if reached else self.rows[0]).price_per_pack * packs


@dataclass
class Missing:
    kit: str
    count: int
    need: date
    build: date
    inside: dict
    packing: int


class SlowMix:
    """``best`` is (kits that come in time only this way, money spent with the charge for each change)."""

    def __init__(self, shop, at_least: Decimal, also_bought: bool = False):
        self.shop, self.at_least = shop, at_least
        self.slow = SlowPlan(shop)
        self.structure, self.calendar = self.slow.structure, self.slow.calendar
        self.rows = {name: self.row_of(name) for name in self.structure.items}
        self.missing = list(self.missing_kits(("buy", "pack_else_buy") if also_bought else ("pack_else_buy",)))
        self.openable = self.openable_kits()
        self.items = sorted(
            {missing.kit for missing in self.missing}
            | {part for missing in self.missing for part in missing.inside}
            | set(self.openable)
            | {part for parts in self.openable.values() for part in parts}
        )
        self.best = self.try_everything()

    def quotes_of(self, name: str) -> list:
        found = []
        for rows in offers_of(self.structure, name):
            lowest = rows[0]
            good = lowest.valid_to is None or lowest.valid_to >= self.shop.as_of
            lead = lead_of_offer(lowest, self.structure.items[name])
            arrives = FAR if lead is None else lead.forward(self.calendar, self.shop.as_of)
            if good and all(row.price_per_pack is not None and not row.foreign_currency for row in rows):
                found.append(Quote(tuple(rows), lowest.pack_size, arrives))
        return found

    def row_of(self, name: str) -> dict:
        quotes = self.quotes_of(name)
        listed = self.slow.buy_rows.get(name)
        if not listed:
            return {"net": 0, "short": 0, "limit": FAR, "quotes": quotes, "over": 0, "arrives": FAR}
        net, need_on, choice = listed["net"], listed["need_on"], listed["choice"]
        if listed["wear_advice"]:
            net = listed["short"] + listed["top_up"]
            need_on = need_on if listed["short"] else None
            if not net:
                return {"net": 0, "short": 0, "limit": FAR, "quotes": quotes, "over": 0, "arrives": FAR}
            choice = choose_offer(self.shop, self.structure, self.calendar, name, net, need_on)
        arrives = FAR if choice.lead is None else choice.lead.forward(self.calendar, self.shop.as_of)
        limit = FAR if need_on is None else max(need_on, arrives)
        return {
            "net": net,
            "short": listed["short"],
            "limit": limit,
            "arrives": arrives,
            "quotes": [quote for quote in quotes if quote.arrives <= limit],
            "over": choice.packs * choice.pack_size - net,
        }

    def missing_kits(self, sources):
        for name, item in self.structure.items.items():
            if item.kind != "kit" or item.source not in sources or not self.rows[name]["quotes"]:
                continue
            for piece in self.slow.sure(name):
                inside = contents_of(self.structure, name, piece.conditions)
                if piece.uncovered >= ONE and inside:
                    packing = item.lead_days or 0 if item.source == "pack_else_buy" else 0
                    yield Missing(name, piece.uncovered // ONE, piece.need, piece.build, inside, packing)

    def openable_kits(self) -> dict:
        """Unlimited lines only, one level: the shops tried here have no kits in kits."""
        found = {}
        for line in self.structure.catalog.lines:
            row, kit = self.rows[line.child], self.structure.items[line.parent]
            limited = line.options or line.from_on or line.to_on or line.from_serial or line.to_serial
            if kit.kind != "kit" or limited or not row["short"] or not row["quotes"]:
                continue
            if any(quote.arrives <= row["limit"] for quote in self.rows[kit.part_number]["quotes"]):
                inside = found.setdefault(kit.part_number, {})
                inside[line.child] = inside.get(line.child, 0) + line.quantity
        return found

    def ways_of(self, missing: Missing) -> list:
        """(put together in time, put together as late as the bought kit, how many of them are rescued)."""
        late = self.rows[missing.kit]["limit"] > missing.need
        ways = []
        for in_time in range(missing.count + 1):
            may_be_late = late and self.rows[missing.kit]["limit"] < FAR
            for as_late in range(missing.count - in_time + 1 if may_be_late else 1):
                ways.append((in_time, as_late, in_time if late else 0))
        return ways

    def openings(self, kit: str) -> list:
        """(how many, which quote): none, or some from one quote."""
        most = max(-(-self.rows[part]["short"] // each) for part, each in self.openable[kit].items())
        return [(0, None), *product(range(1, most + 1), self.rows[kit]["quotes"])]

    def try_everything(self):
        best = None
        for ways in product(*map(self.ways_of, self.missing)):
            rescued = sum(way[2] for way in ways)
            if best and rescued < best[0]:
                continue
            for opened in product(*map(self.openings, self.openable)):
                cost = self.cost(ways, dict(zip(self.openable, opened, strict=True)))
                if cost is not None and (best is None or (-rescued, cost) < (-best[0], best[1])):
                    best = (rescued, cost)
        return best or (0, Decimal(0))

    def cost(self, ways, opened) -> Decimal | None:
        total = Decimal(0)
        for name in self.items:
            price = self.cost_of_item(name, ways, opened)
            if price is None:
                return None
            total += price
        changed = {missing.kit for missing, way in zip(self.missing, ways, strict=True) if way[0] + way[1]}
        changes = len(changed) + sum(1 for count, _ in opened.values() if count)
        return total + self.at_least * changes

    def cost_of_item(self, name: str, ways, opened) -> Decimal | None:
        row = self.rows[name]
        instead = sum(way[0] + way[1] for missing, way in zip(self.missing, ways, strict=True) if missing.kit == name)
        brought = sum(
            count * self.openable[kit].get(name, 0)
            for kit, (count, quote) in opened.items()
            if count and quote.arrives <= row["limit"]
        )
        count, fixed_quote = opened.get(name, (0, None))
        needed = row["net"] - instead * ONE - min(row["short"], brought) + count * ONE
        asks = []
        for missing, way in zip(self.missing, ways, strict=True):
            for kits, limit in ((way[0], missing.need), (way[1], self.rows[missing.kit]["limit"])):
                if kits and name in missing.inside:
                    asks.append((kits * missing.inside[name], missing.build, missing.packing, limit))
        if not row["quotes"]:
            bought = self.least_to_buy(name, asks, row["arrives"])
            fits = bought is not None and needed + bought <= row["net"] + row["over"]
            return Decimal(0) if fits else None
        prices = []
        nothing = self.least_to_buy(name, asks, FAR)
        if nothing is not None and needed + nothing <= 0:
            prices.append(Decimal(0))
        for quote in [fixed_quote] if fixed_quote else row["quotes"]:
            bought = self.least_to_buy(name, asks, quote.arrives)
            if bought is not None:
                prices.append(quote.cheapest(needed + bought))
        return min(prices, default=None)

    def least_to_buy(self, name: str, asks: list, arrives: date) -> int | None:
        """What of the asked does not come off the shelf; None when something that must come off it cannot."""
        must = [ask for ask in asks if arrives == FAR or self.calendar.forward(arrives, ask[2]) > ask[3]]
        cap = self.may_take(name)
        forced = sum(ask[0] for ask in must)
        if self.off_shelf(name, must) < forced or forced > cap:
            return None
        return sum(ask[0] for ask in asks) - min(cap, self.off_shelf(name, asks))

    def may_take(self, name: str) -> int:
        item = self.structure.items[name]
        if not item.safety_stock or item.source in ("pack", "make") or item.bench:
            return 10**15
        return max(0, self.slow.left_for_safety[name] - item.safety_stock)

    def off_shelf(self, name: str, asks: list) -> int:
        graph = nx.DiGraph()
        graph.add_nodes_from(["start", "end"])
        for number, (quantity, _, _, _) in enumerate(asks):
            graph.add_edge(("ask", number), "end", capacity=quantity)
        for place, lot in enumerate(self.slow.supply.usable(name)):
            if lot.free and not lot.lot.owner:
                graph.add_edge("start", ("lot", place), capacity=lot.free)
                for number, (_, build, _, _) in enumerate(asks):
                    if lot.lot.last_use is None or lot.lot.last_use >= build:
                        graph.add_edge(("lot", place), ("ask", number), capacity=lot.free)
        return nx.maximum_flow_value(graph, "start", "end")
