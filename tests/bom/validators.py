"""What must hold of every plan, whatever the shop: each rule looks at the result alone and says what breaks it.

``breaches(plan)`` runs them all.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date

from bom.plan import Plan
from bom.values import ONE
from tests.bom.json_shape import shape_breaches
from tests.bom.results import (
    FAR,
    LATE,
    ORDER,
    READY,
    SHORT,
    WAITING,
    Piece,
    Result,
    arrival_of,
    days_of,
    fills_a_kit,
    may_take,
    millionths,
    packet_serves,
    serving_order,
    state_of,
)
from tests.oracle.explosion import conditions_of, contents_of, opened_contents, walk_job
from tests.oracle.findings import added_needs, renewed_positions
from tests.oracle.matching import lasts
from tests.oracle.structure import fold
from tests.oracle.verdicts import match_verdicts, settle

# --- pieces and what serves them


def pieces_are_served_whole(found: Result) -> Iterator[str]:
    """Matched, packed and uncovered make up what is asked."""
    for piece in found.pieces:
        served = sum(quantity for _, quantity in (*piece.lots, *piece.orders)) + piece.own
        if served + piece.packed + piece.uncovered != piece.quantity or piece.quantity <= 0:
            yield f"{piece}: {served} + {piece.packed} + {piece.uncovered} is not {piece.quantity}"
    if (found.plan.netting.draws.quantity <= 0).any():
        yield "something is drawn that is not above zero"


def supply_gives_what_it_holds(found: Result) -> Iterator[str]:
    """No lot and no order line gives more than it holds, and what is left of it is the rest."""
    drawn_lots, drawn_orders = Counter(), Counter()
    for piece in found.pieces:
        drawn_lots.update(dict(piece.lots))
        drawn_orders.update(dict(piece.orders))
    supplies = found.plan.supplies
    for lot, order, left in zip(
        supplies.lot_place.tolist(), supplies.order_place.tolist(), supplies.left.tolist(), strict=True
    ):
        if lot >= 0 and not 0 <= left <= found.shop.lots[lot].quantity - drawn_lots[lot]:
            yield f"{found.shop.lots[lot]}: {drawn_lots[lot]} drawn, {left} left"
        if (order >= 0 and found.shop.orders[order].quantity - drawn_orders[order] != left) or left < 0:
            yield f"{found.shop.orders[order]}: {drawn_orders[order]} drawn, {left} left"
    for place, quantity in drawn_lots.items():
        if quantity > found.shop.lots[place].quantity:
            yield f"{found.shop.lots[place]} gives {quantity}"


def lots_are_used_while_they_last(found: Result) -> Iterator[str]:
    """No lot serves a build after its last use, and none that is left out serves at all."""
    for piece in found.pieces:
        for place, _ in piece.lots:
            lot = found.shop.lots[place]
            if not lasts(lot.last_use, piece.build) or found.reason(lot) or lot.part_number != piece.part_number:
                yield f"{lot} serves {piece}"


def owners_keep_their_lots(found: Result) -> Iterator[str]:
    """A lot with an owner serves only that customer, and never planned wear."""
    for piece in found.pieces:
        for place, _ in piece.lots:
            owner = fold(found.shop.lots[place].owner)
            if owner and (piece.wear or owner != piece.customer):
                yield f"{found.shop.lots[place]} serves {piece}"


def clean_work_takes_closed_packets(found: Result) -> Iterator[str]:
    """Clean parts, and what goes into a clean kit, come from packets that nobody has opened."""
    for piece in found.pieces:
        for place, _ in piece.lots:
            if not packet_serves(found, piece, found.shop.lots[place]):
                yield f"{found.shop.lots[place]} serves {piece}"


def what_is_set_aside_stays_with_its_job(found: Result) -> Iterator[str]:
    """A job takes from its bag and its reservations only, and nobody else touches what is reserved."""
    aside, taken = Counter(), Counter()
    for issue in found.shop.issues:
        if issue.state in ("reserved", "bagged"):
            aside[issue.job, issue.part_number] += issue.quantity
    for piece in found.pieces:
        taken[piece.name, piece.part_number] += piece.own
    for key, quantity in taken.items():
        if quantity > aside[key]:
            yield f"{key}: {quantity} taken, {aside[key]} set aside"
    drawn = Counter()
    for piece in found.pieces:
        for place, quantity in piece.lots:
            drawn[found.shop.lots[place].part_number, found.shop.lots[place].lot] += quantity
    free = Counter()
    for lot in found.shop.lots:
        free[lot.part_number, lot.lot] += 0 if found.reason(lot) else lot.quantity
    for issue in found.shop.issues:
        if issue.state == "reserved":
            there = sum(
                lot.quantity for lot in found.shop.lots
                if (lot.part_number, lot.lot) == (issue.part_number, issue.lot) and issue.place in ("", lot.place)
                and not found.reason(lot)
            )  # fmt: skip
            free[issue.part_number, issue.lot] -= min(issue.quantity, there)
    for key, quantity in drawn.items():
        if quantity > max(0, free[key]):
            yield f"{key}: {quantity} drawn, {free[key]} not reserved"


def contents_are_kits_times_contents(found: Result) -> Iterator[str]:
    """What is packed or made asks for its contents, as many as it is packed, for the same job and build."""
    for piece in found.pieces:
        expected = {}
        if piece.packed:
            lines = contents_of(found.structure, piece.part_number, found.conditions(piece))
            expected = {part: -(-each * piece.packed // ONE) for part, each in lines.items()}
            if not expected:
                yield f"{piece} is packed from nothing"
        inside = Counter()
        for content in found.inside[piece.number]:
            if fills_a_kit(found, content):
                continue
            inside[content.part_number] += content.quantity
            same = (content.asker, content.build, content.wear) == (piece.asker, piece.build, piece.wear)
            if not same or content.way != piece.part_number or content.need > max(piece.need, found.first_day):
                yield f"{content} is not asked as {piece} is"
        if inside != Counter(expected):
            yield f"{piece}: {dict(inside)} asked, {expected} inside"


def packing_is_allowed(found: Result) -> Iterator[str]:
    """Only what is packed or made here is packed, and all of it; where the rest is bought, whole kits, from lots."""
    for piece in found.pieces:
        source = found.items[piece.part_number].source
        if piece.packed and source not in ("pack", "make", "pack_else_buy"):
            yield f"{piece} has the source {source}"
        if piece.uncovered and source in ("pack", "make"):
            inside = contents_of(found.structure, piece.part_number, found.conditions(piece))
            if any(inside.values()):
                yield f"{piece} is bought, although {inside} would make it"
        if piece.packed and source == "pack_else_buy":
            odd = [
                inside for inside in found.inside[piece.number] if inside.orders or inside.uncovered or inside.packed
            ]
            if piece.packed % ONE or piece.wear or odd:
                yield f"{piece} is packed from {odd}"


def nothing_usable_is_left_where_something_lacks(found: Result) -> Iterator[str]:
    """What is uncovered could not have been served: no lot that lasts, no order line."""
    left = {}
    supplies = found.plan.supplies
    for lot, order, rest in zip(
        supplies.lot_place.tolist(), supplies.order_place.tolist(), supplies.left.tolist(), strict=True
    ):
        if rest:
            row = found.shop.lots[lot] if lot >= 0 else found.shop.orders[order]
            left.setdefault(row.part_number, []).append(row)
    for piece in found.pieces:
        if piece.uncovered or piece.packed:
            for row in left.get(piece.part_number, ()):
                if may_take(found, piece, row):
                    yield f"{piece} lacks while {row} has some left"


def sure_comes_before_wear_and_early_before_late(found: Result) -> Iterator[str]:
    """No piece holds a lot that a piece served before it lacks and might have taken."""
    by_item = defaultdict(list)
    for piece in found.pieces:
        by_item[piece.part_number].append(piece)
    for pieces in by_item.values():
        ranked = sorted(pieces, key=serving_order)
        for place, piece in enumerate(ranked):
            if not piece.uncovered and not piece.packed and not any(d > piece.need for d in days_of(found, piece)):
                continue
            for later in ranked[place + 1 :]:
                for lot, _ in later.lots:
                    if may_take(found, piece, found.shop.lots[lot]):
                        yield f"{later} holds {found.shop.lots[lot]}, which {piece} lacks"


# --- what the rows say


# --- what the rows say


def demand_adds_up(found: Result) -> Iterator[str]:
    """Totals, stock and what nothing covers, each counted anew from pieces and lists."""
    lots, orders, bags = Counter(), Counter(), Counter()
    asking = {asker.job.job for asker in found.plan.demand.askers if asker.job}
    for lot in found.shop.lots:
        lots[lot.part_number] += lot.quantity
    for order in found.shop.orders:
        orders[order.part_number] += order.quantity
    for issue in found.shop.issues:
        if issue.state == "bagged" and issue.job in asking:
            bags[issue.part_number] += issue.quantity
    sums = defaultdict(Counter)
    for piece in found.pieces:
        kind = "passed_down" if piece.way else "planned_wear" if piece.wear else "sure"
        sums[piece.part_number][kind] += piece.quantity
        sums[piece.part_number]["total"] += piece.quantity
        sums[piece.part_number]["uncovered_wear" if piece.wear else "uncovered"] += piece.uncovered
    rows = {row["part_number"]: row for row in found.answer["demand"]}
    if missing := {part for part, held in sums.items() if held["total"]} - set(rows):
        yield f"no demand row for {missing}"
    for part, row in rows.items():
        for column in ("sure", "passed_down", "planned_wear", "total", "uncovered", "uncovered_wear"):
            if millionths(row[column]) != sums[part][column]:
                yield f"{part}: {column} is {row[column]}, the pieces say {sums[part][column] / ONE}"
        if millionths(row["on_hand"] + sum(row["left_out"].values())) != lots[part] + bags[part]:
            yield f"{part}: {row['on_hand']} on hand and {row['left_out']} are not all that lies there"
        if millionths(row["on_order"]) != orders[part]:
            yield f"{part}: {row['on_order']} on order, the lines say {orders[part] / ONE}"
        if row["spares"] > row["positions"] or row["expected"] > row["positions"]:
            yield f"{part}: {row['spares']} spares, {row['expected']} expected, {row['positions']} positions"
        if (row["chance_enough"] is None) == bool(row["positions"] and found.items[part].countable):
            yield f"{part}: chance_enough is {row['chance_enough']} with {row['positions']} positions"


def covers_never_fall(found: Result) -> Iterator[str]:
    """Planned wear only grows with the build day, is never more than is looked at, and is as sure as asked."""
    names = found.plan.demand.structure.items
    for item, cover in found.plan.netting.covers.items():
        held, total = names[item], sum(cover.planned)
        if min(cover.planned, default=0) < 0 or list(cover.days) != sorted(set(cover.days)):
            yield f"{held.part_number}: {cover.planned} on {cover.days}"
        if total > cover.positions:
            yield f"{held.part_number}: {total} planned for {cover.positions} positions"
        if held.countable and cover.positions and not _is_enough(cover.enough, total // ONE, held.how_sure_percent):
            yield f"{held.part_number}: {total // ONE} are not {held.how_sure_percent} % sure"


def _is_enough(enough, quantity: int, percent: float) -> bool:
    rising = bool((enough[1:] >= enough[:-1] - 1e-12).all()) and enough[0] >= 0 and enough[-1] <= 1 + 1e-12
    return rising and enough[min(quantity, enough.size - 1)] >= percent / 100 - 1e-9


def kit_rows_add_up(found: Result) -> Iterator[str]:
    """Covered and short make the need of the assembly; covered, spare and surplus make what is in the kits."""
    jobs = {job.job: job for job in found.shop.jobs}
    groups = defaultdict(list)
    for row in found.answer["kits"]:
        groups[row["job"], row["fits"]].append(row)
    for (name, fits), rows in groups.items():
        conditions = conditions_of(found.structure, jobs[name])
        for row in rows:
            brought = opened_contents(found.structure, row["kit"], conditions)
            told = _sum(row, "covered", "spare", "surplus")
            if told != {part: each * row["count"] for part, each in brought.items() if each}:
                yield f"{row}: {brought} in one kit"
        if sum(bool(row["short"]) for row in rows) > 1:
            yield f"{name}, {fits}: short stands on several rows"
        needed = _needed(found, jobs[name], fits)
        told = Counter()
        for row in rows:
            told.update(_sum(row, "covered", "short"))
        issued = any(issue.job == name and issue.state in ("issued", "returned") for issue in found.shop.issues)
        if any(told[part] > needed[part] for part in told) or (not issued and told != needed):
            yield f"{name}, {fits}: {dict(told)} covered and short, {dict(needed)} needed"


def _sum(row: dict, *columns: str) -> Counter:
    total = Counter()
    for column in columns:
        total.update({part: millionths(quantity) for part, quantity in row[column].items()})
    return total


def _needed(found: Result, job, fits: str) -> Counter:
    """The sure need inside an assembly that kits cover, from a walk of its own."""
    walk = walk_job(found.structure, job)
    told = match_verdicts(job, walk.positions, found.shop.verdicts)
    sure, _ = settle(walk.positions, told, renewed_positions(found.shop, job, walk.positions, told))
    needed = Counter()
    for part, quantity, cover in walk.needs + added_needs(found.shop, job, walk):
        needed[part] += quantity if cover == fits else 0
    for position in sure:
        needed[position.part_number] += position.quantity if position.cover == fits else 0
    return +needed


def statuses_agree_with_pieces(found: Result) -> Iterator[str]:
    """State, day and lateness of every job, worked out again from its pieces."""
    tops = defaultdict(list)
    for piece in found.pieces:
        if not piece.wear and piece.parent < 0:
            tops[piece.name].append(piece)
    for row in (*found.answer["jobs"], *found.answer["other_needs"]):
        name = row["job"] if "job" in row else row["need"]
        states = [state_of(found, piece) for piece in tops[name]]
        days = [found.shop.as_of, *(arrival_of(found, piece) for piece in tops[name])]
        state = max((ORDER.index(state) for state in states), default=0)
        parts_on = None if FAR in days else max(days).isoformat()
        if (row["status"], row["parts_on"]) != (ORDER[state], parts_on):
            yield f"{row}: the pieces say {ORDER[state]} and {parts_on}"
        if "job" in row:
            yield from _job_row_breaches(found, row, tops[name])


def _job_row_breaches(found: Result, row: dict, tops: list[Piece]) -> Iterator[str]:
    status, late = row["status"], row["days_late"]
    if (row["blocking_part"] is None) != (status == READY):
        yield f"{row}: blocking part and status disagree"
    if (status == LATE and not late) or (status in (READY, WAITING) and tops and late):
        yield f"{row}: days late and status disagree"
    if row["order_by"] is not None and status != SHORT:
        yield f"{row}: an order day where nothing is to order"
    bought = any(row["job"] in buy["jobs"] for buy in found.answer["buy"])
    if bought != (status == SHORT):
        yield f"{row}: {'' if bought else 'not '}named in the purchase list"
    leaning = any(row["job"] in chase["jobs"] for chase in found.answer["chase"])
    if leaning != row["leans_on_overdue"]:
        yield f"{row}: {'' if leaning else 'not '}named among the orders to chase"
    freed = [freeing["part_number"] for freeing in found.answer["frees"] if row["job"] in freeing["jobs"]]
    if len(freed) > 1 or (freed and status not in (LATE, SHORT)):
        yield f"{row}: freed by {freed}"


def buy_rows_add_up(found: Result) -> Iterator[str]:
    """Whole packs that hold what is short, by an offer that exists, ordered in time to be there in time."""
    demand = {row["part_number"]: row for row in found.answer["demand"]}
    for row in found.answer["buy"]:
        net, ordered = millionths(row["net"]), millionths(row["order_quantity"])
        if net != millionths(row["short"] + max(row["short_wear"], row["top_up"])) or net <= 0:
            yield f"{row}: net"
        if ordered != row["packs"] * millionths(row["pack_size"]) or ordered < net:
            yield f"{row}: order quantity"
        if millionths(row["surplus"]) != ordered - net:
            yield f"{row}: surplus"
        asked = demand.get(row["part_number"], {"uncovered": 0, "uncovered_wear": 0})
        if (row["short"], row["short_wear"]) != (asked["uncovered"], asked["uncovered_wear"]):
            yield f"{row}: {asked['uncovered']} and {asked['uncovered_wear']} are uncovered"
        if (row["wear_advice"] and not row["short_wear"]) or bool(row["jobs"]) != bool(row["short"]):
            yield f"{row}: advice or jobs"
        if row["need_on"] is None and row["net"] != row["top_up"]:
            yield f"{row}: no need date"
        yield from _offer_breaches(found, row)
        yield from _day_breaches(found, row)
    short = {part for part, row in demand.items() if row["uncovered"] or row["uncovered_wear"]}
    if missing := short - {row["part_number"] for row in found.answer["buy"]}:
        yield f"nothing is bought of {missing}"


def _offer_breaches(found: Result, row: dict) -> Iterator[str]:
    item = found.items[row["part_number"]]
    inside, bought = ONE, item.part_number
    if item.get_as:
        inside, bought = found.structure.pieces_inside(item.get_as, item.part_number), item.get_as
    size = millionths(row["pack_size"])
    if row["supplier"] is None:
        if size != inside or row["price"] is not None:
            yield f"{row}: pack size or price without an offer"
        return
    fitting = [
        offer for offer in found.shop.catalog.offers
        if (offer.supplier, offer.part_number) == (row["supplier"], bought) and offer.pack_size * inside // ONE == size
        and row["packs"] >= offer.minimum_packs and row["packs"] % offer.multiple_packs == 0
    ]  # fmt: skip
    if not fitting:
        yield f"{row}: no offer sells so many"
    prices = {round(offer.price_per_pack * row["packs"], 2) for offer in fitting if offer.price_per_pack is not None}
    if row["price"] is not None and row["price"] not in {float(price) for price in prices}:
        yield f"{row}: the offers say {prices}"


def _day_breaches(found: Result, row: dict) -> Iterator[str]:
    need, by, arrival = (row[name] and date.fromisoformat(row[name])
                         for name in ("need_on", "order_by", "earliest_arrival"))  # fmt: skip
    if (by is None) != (need is None or arrival is None):
        yield f"{row}: order_by"
    if by and need and (by > need or row["days_late"] != found.calendar.between(by, found.shop.as_of)):
        yield f"{row}: days late"
    if by and need and arrival and by >= found.shop.as_of and arrival > max(need, found.first_day):
        yield f"{row}: ordered in time, and yet late"


def order_rows_agree_with_lines(found: Result) -> Iterator[str]:
    """Late lines that sure pieces draw on are to be expedited, and overdue lines chased, and no others."""
    late, leaning = defaultdict(list), defaultdict(set)
    for piece in found.pieces:
        for place, quantity in () if piece.wear else piece.orders:
            if found.promised(place) > piece.need:
                late[place].append((piece, quantity))
            if found.shop.orders[place].promised < found.shop.as_of:
                leaning[place].add(piece.name)
    rows = {(row["order"], row["line"]): row for row in found.answer["expedite"]}
    chased = {(row["order"], row["line"]): row for row in found.answer["chase"]}
    for place, line in enumerate(found.shop.orders):
        row = rows.pop((line.order, line.line), None)
        told = row and (millionths(row["quantity"]), row["need_on"], row["jobs"])
        drawn = late[place]
        expected = drawn and (
            sum(quantity for _, quantity in drawn),
            min(piece.need for piece, _ in drawn).isoformat(),
            sorted({piece.name for piece, _ in drawn}),
        )
        if (told or None) != (expected or None):
            yield f"{line}: {told} to expedite, {expected} drawn late"
        row = chased.pop((line.order, line.line), None)
        overdue = line.promised < found.shop.as_of and line.quantity > 0
        if bool(row) != overdue or (row and row["jobs"] != sorted(leaning[place])):
            yield f"{line}: {row} to chase, {leaning[place]} lean on it"
    if rows or chased:
        yield f"{rows} and {chased} name no order line"


def pack_rows_agree_with_pieces(found: Result) -> Iterator[str]:
    """What is to be packed or made, by when and for whom."""
    packed = defaultdict(list)
    for piece in found.pieces:
        if piece.packed:
            packed[piece.part_number].append(piece)
    expected = [
        {
            "kit": part,
            "quantity": sum(piece.packed for piece in packed[part]) / ONE,
            "need_on": min(piece.need for piece in packed[part]).isoformat(),
            "jobs": sorted({piece.name for piece in packed[part] if not piece.wear}),
        }
        for part in sorted(packed)
    ]
    if found.answer["pack"] != expected:
        yield f"{found.answer['pack']} to pack, {expected} by the pieces"


def frees_are_ranked(found: Result) -> Iterator[str]:
    ranks = [(-len(row["jobs"]), row["part_number"]) for row in found.answer["frees"]]
    if ranks != sorted(ranks) or any(not row["jobs"] for row in found.answer["frees"]):
        yield f"{found.answer['frees']} is not ranked"


def dying_lots_are_told(found: Result) -> Iterator[str]:
    """Every usable lot that dies before the last build, and no other, with no more left than it holds."""
    days = [asker.job.build_on if asker.job else asker.need.need_on for asker in found.plan.demand.askers]
    last = max(days, default=found.shop.as_of)
    expected = Counter()
    for lot in found.shop.lots:
        if lot.last_use and lot.last_use < last and not found.reason(lot) and not found.items[lot.part_number].bench:
            expected[lot.part_number, lot.lot, lot.last_use.isoformat()] += lot.quantity
    told = {
        (row["part_number"], row["lot"], row["last_use"]): millionths(row["quantity"])
        for row in found.answer["expiring"]
    }
    if told != +expected:
        yield f"{told} told to die, {dict(expected)} do"
    if any(row["unused"] > row["quantity"] for row in found.answer["expiring"]):
        yield "more is unused than lies there"


def rows_have_their_shape(found: Result) -> Iterator[str]:
    """Keys, types, order and whole numbers of the JSON."""
    yield from shape_breaches(found.answer)


VALIDATORS = (
    rows_have_their_shape,
    pieces_are_served_whole,
    supply_gives_what_it_holds,
    lots_are_used_while_they_last,
    owners_keep_their_lots,
    clean_work_takes_closed_packets,
    what_is_set_aside_stays_with_its_job,
    contents_are_kits_times_contents,
    packing_is_allowed,
    nothing_usable_is_left_where_something_lacks,
    sure_comes_before_wear_and_early_before_late,
    demand_adds_up,
    covers_never_fall,
    kit_rows_add_up,
    statuses_agree_with_pieces,
    buy_rows_add_up,
    order_rows_agree_with_lines,
    pack_rows_agree_with_pieces,
    frees_are_ranked,
    dying_lots_are_told,
)


def breaches(plan: Plan, answer: dict | None = None) -> list[str]:
    """Everything that is wrong with a plan, each with the name of the rule."""
    found = Result(plan, answer)
    return [f"{validator.__name__}: {says}" for validator in VALIDATORS for says in validator(found)]
