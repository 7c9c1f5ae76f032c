"""The tables of the benchmark as text, ready to stand in the contributor guide."""

import itertools
import math

PLAN_PER_FLOOR, QUERY_PER_EXPLOSION, EXPONENT, WEAR_SECONDS = 6, 100, 1.15, 1.0
OURS = "this engine"
SAYS = {
    "compile": "structure compiled from the lists",
    "product": "SciPy: sparse matrix by 52 columns, one product",
    "floor": "SciPy: triangular solve, a column for each week (the floor of totals)",
    "floor_by_job": "SciPy: triangular solve, a column for each job, once (the floor of a plan by job)",
    "products_by_job": "SciPy: what each job renews, no conditions",
    "explosion": "explosion of all jobs, with conditions",
    "query": "SQLite: recursive query, same conditions",
    "duck_query": "DuckDB: recursive query, same conditions",
    "joins_by_job": "polars: joins level by level, same conditions",
    "plan": "plan",
    "plan_after_a_pick": "plan after one pick line was posted, made after the last plan",
    "plan_with_work_in_hand": "plan, with strip reports and issues",
    "rows": "the plan as plain rows",
}


def print_report(figures):
    """All tables."""
    print(figures["machine"])
    for name, why in figures["left_out"].items():
        print(f"left out: {name}, {why}")
    for part in (_shops, _growth, _race, _wear, _aims):
        print()
        for row in part(figures):
            print("| " + " | ".join(row) + " |")


def aims_of(figures):
    """Each aim, what was measured, and whether it is met."""
    last = figures["shops"][-1]
    aims = []
    for shop in figures["shops"]:
        for floor, says in (("floor", "floor of totals by week"), ("floor_by_job", "floor of a plan by job")):
            times = round(_ratio(shop, "plan", floor), 2)
            aim = f"plan at most {PLAN_PER_FLOOR} times the {says}, {shop['size']}"
            aims.append({"aim": aim, "measured": times, "met": times <= PLAN_PER_FLOOR})
    slowest = {name: times for name, times in figures["deep"]["times_ours"].items() if name.endswith("recursive query")}
    for name, times in slowest.items():
        aim = f"deep shared structure at least {QUERY_PER_EXPLOSION} times as fast as {name}"
        aims.append({"aim": aim, "measured": times, "met": times >= QUERY_PER_EXPLOSION})
    for race in (*_races(figures), figures["deep"]):
        name, times = min(race["times_ours"].items(), key=lambda pair: pair[1])
        deep = "deep, " if race is figures["deep"] else ""
        aim = f"never slower than any peer, {deep}{_number(race['lines'])} lines (closest: {name})"
        aims.append({"aim": aim, "measured": times, "met": times >= 1})
    if len(figures["shops"]) > 1:
        slope = _exponent(figures["shops"][0], last, "plan")
        aims.append({"aim": "plan grows close to linear, exponent", "measured": slope, "met": slope <= EXPONENT})
    batch = figures["wear"]["batch"]["processor_seconds"]
    aims.append({"aim": "pooled batch of 500 items in a second", "measured": batch, "met": batch <= WEAR_SECONDS})
    return aims


def _shops(figures):
    shops = figures["shops"]
    yield ["milliseconds of processor time", *(shop["size"] for shop in shops)]
    yield ["---"] * (len(shops) + 1)
    for name in ("items", "lines", "jobs", "pieces", "items_in_a_scope"):
        yield [name.replace("_", " "), *(_number(shop["shop"][name]) for shop in shops)]
    for name, says in SAYS.items():
        if all(name in shop["timings"] for shop in shops):
            yield [says, *(_milliseconds(shop, name) for shop in shops)]
    for phase in shops[0]["phases_of_plan"]:
        yield [f"of the plan: {phase}", *(_number(shop["phases_of_plan"][phase] * 1e3) for shop in shops)]
    yield ["plan / floor of totals by week", *(f"{_ratio(shop, 'plan', 'floor'):.0f}" for shop in shops)]
    yield ["plan / floor of a plan by job", *(f"{_ratio(shop, 'plan', 'floor_by_job'):.2g}" for shop in shops)]
    yield ["query / explosion, with conditions", *(f"{_ratio(shop, 'query', 'explosion'):.1f}" for shop in shops)]
    yield ["MB held by lists and structure", *(_number(shop["memory"]["lists_and_structure_mb"]) for shop in shops)]
    yield ["MB at the peak of the plan", *(_number(shop["memory"]["peak_with_plan_mb"]) for shop in shops)]


def _growth(figures):
    shops = figures["shops"]
    yield ["growth: exponent over the lines", "from", "to", "plan", "explosion", "floor"]
    yield ["---"] * 6
    steps = list(itertools.pairwise(shops))
    if len(shops) > 2:
        steps.append((shops[0], shops[-1]))
    for first, last in steps:
        times = f"{last['shop']['lines'] / first['shop']['lines']:.1f} times the lines"
        slopes = [f"{_exponent(first, last, name):.2f}" for name in ("plan", "explosion", "floor")]
        yield [times, first["size"], last["size"], *slopes]


def _race(figures):
    races = [*_races(figures), figures["deep"]]
    names = list(races[0]["milliseconds"])
    yield ["bare explosion, milliseconds", *(f"{_number(race['lines'])} lines" for race in races[:-1]), "deep"]
    yield ["---"] * (len(races) + 1)
    yield ["ways down", *(_number(race["ways_down"]) for race in races)]
    for name in names:
        cells = []
        for race in races:
            times = "" if name == OURS else f" ({_number(race['times_ours'][name])}x)"
            cells.append(_number(race["milliseconds"][name]) + times)
        yield [name, *cells]


def _wear(figures):
    yield ["wear, milliseconds of processor time", ""]
    yield ["---", "---"]
    batch, positions = figures["wear"]["batch"], figures["wear"]["positions"]
    yield ["500 items, 60 build days, 300 000 positions pooled", _number(batch["processor_seconds"] * 1e3)]
    yield [
        "one item, 5 000 positions on 200 days, equal to the binomial",
        _number(positions["processor_seconds"] * 1e3),
    ]


def _aims(figures):
    yield ["aim", "measured", "met"]
    yield ["---"] * 3
    for aim in figures["aims"]:
        yield [aim["aim"], f"{aim['measured']:,.2f}".replace(",", " "), "yes" if aim["met"] else "no"]


def _races(figures):
    return [figures["tiny"], *(shop["race"] for shop in figures["shops"])]


def _seconds(shop, name):
    return shop["timings"][name]["processor_seconds"]


def _ratio(shop, above, below):
    return _seconds(shop, above) / _seconds(shop, below)


def _exponent(first, last, name):
    lines = last["shop"]["lines"] / first["shop"]["lines"]
    return round(math.log(_seconds(last, name) / _seconds(first, name)) / math.log(lines), 2)


def _milliseconds(shop, name):
    return _number(_seconds(shop, name) * 1e3)


def _number(value):
    """Three figures of small numbers, whole large ones with a gap at each thousand; a dash for nothing."""
    if value is None:
        return "-"
    return f"{value:,.0f}".replace(",", " ") if abs(value) >= 100 or value == int(value) else f"{value:.3g}"
