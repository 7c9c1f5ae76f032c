"""The structure of an invented shop as arrays: who stands in whose list, how often, and under which condition.

How it is drawn, so that the figures can be judged:

* Lists. One item in ``MEAN_LIST`` lines has a list of its own: 10 % of the lists are pumps, 25 % sections, 35 %
  subassemblies, 15 % joints, 15 % kits. The lengths of lists vary as negative binomials about the means in
  ``MEAN_LEAVES``; the last few per cent of lines are added or taken off as ``keep`` lines to meet the count exactly.
* Fan-out and depth. A pump opens 2 to 4 sections (a third of them twice, as a twin-ended pump does), a section 2 to 3
  subassemblies (two fifths of them twice: inlet and outlet), a subassembly up to 2 joints and now and then another
  subassembly: 4 to 6 steps from the pump to its parts.
* Sharing. About 12 pumps make a family with its own sections, subassemblies and parts; a fifth of the sections and a
  quarter of the subassemblies come from another family. Two fifths of the leaf lines name a part of the shelf that all
  families share (a tenth of the parts), and some of these far more often than others: the density of rank r falls as
  r ** -0.5. Every part stands in some list; some assemblies are opened by nobody any more, as in grown catalogs.
* What happens at a rebuild: of the leaf lines 46 in 100 renew, 12 inspect, 42 keep. A tenth of the inspected lines
  belong to a group that is renewed together; 3 in 100 have no known rate.
* Conditions: about 4 lines in 100 are alternatives by option, another 1 in 100 is limited by date or serial.
"""

from dataclasses import dataclass, field

import numpy as np

MEAN_LIST = 18.75
SHARES = {"pump": 0.10, "section": 0.25, "sub": 0.35, "joint": 0.15, "kit": 0.15}
MEAN_LEAVES = {"pump": 4.0, "section": 19.0, "sub": 21.5, "joint": 9.0}
PUMPS_IN_FAMILY = 12
SHARED_PARTS = 0.10
SHARED_LINES = 0.40
SKEW = 2.0
QUANTITIES, QUANTITY_CHANCES = (1, 2, 3, 4, 6, 8), (0.55, 0.2, 0.05, 0.1, 0.05, 0.05)
OPEN, RENEW, INSPECT, KEEP = "open", "renew", "inspect", "keep"
ACTIONS, ACTION_CHANCES = (RENEW, INSPECT, KEEP), (0.46, 0.125, 0.415)
PLAIN, COMPOUND, SERVICE, DEPTH, DATED, SERIAL = range(6)
CONDITION_CHANCES = (0.9725, 0.014, 0.004, 0.0045, 0.0025, 0.0025)


@dataclass(frozen=True)
class Size:
    """How large a shop is; ``jobs`` are spread over ``days`` working days; ``kits`` None = as many as usual."""

    items: int
    lines: int
    jobs: int
    days: int = 260
    kits: int | None = None


SIZES = {
    "tiny": Size(135, 1_000, 14),
    "small": Size(1_250, 9_375, 125),
    "quarter": Size(5_000, 37_500, 500),
    "full": Size(20_000, 150_000, 2_000),
    "large": Size(100_000, 1_000_000, 10_000),
}


@dataclass
class Numbers:
    """Which item numbers are what: kinds stand one after another, parts last; families share each kind evenly."""

    size: Size
    first: dict[str, int] = field(default_factory=dict)
    count: dict[str, int] = field(default_factory=dict)

    def __post_init__(self):
        lists, start = round(self.size.lines / MEAN_LIST), 0
        for kind, share in SHARES.items():
            self.first[kind], self.count[kind] = start, round(lists * share)
            if kind == "kit" and self.size.kits is not None:
                self.count[kind] = self.size.kits
            start += self.count[kind]
        self.first["part"], self.count["part"] = start, self.size.items - start
        self.shared = round(self.count["part"] * SHARED_PARTS)
        self.families = max(2, self.count["pump"] // PUMPS_IN_FAMILY)

    def of_family(self, kind, family):
        """The item numbers of one kind in one family; of the parts those that are not shared by all."""
        first, count = self.first[kind], self.count[kind]
        if kind == "part":
            first, count = first + self.shared, count - self.shared
        return range(first + count * family // self.families, first + count * (family + 1) // self.families)

    def kind_of(self, item):
        return next(kind for kind in reversed(self.first) if item >= self.first[kind])


@dataclass(frozen=True)
class Opened:
    """Lines that open an assembly: parent, child, how many."""

    parent: np.ndarray
    child: np.ndarray
    quantity: np.ndarray


@dataclass(frozen=True)
class Leaves:
    """Lines with a part at their end, sorted by parent; ``condition`` says which alternatives stand at the place."""

    parent: np.ndarray
    child: np.ndarray
    other: np.ndarray
    quantity: np.ndarray
    action: np.ndarray
    condition: np.ndarray


def draw_opened(numbers, rng):
    """Draw which assembly opens which; no assembly is reached from itself."""
    rows = []
    for family in range(numbers.families):
        pools = {kind: numbers.of_family(kind, family) for kind in SHARES}
        for pump in pools["pump"]:
            for section in _some(numbers, rng, "section", pools["section"], rng.integers(2, 5), elsewhere=0.2):
                rows.append((pump, section, 1 + (rng.random() < 0.33)))
        for section in pools["section"]:
            for sub in _some(numbers, rng, "sub", pools["sub"], rng.integers(2, 4), elsewhere=0.25):
                rows.append((section, sub, 1 + (rng.random() < 0.4)))
        for sub in pools["sub"]:
            for joint in _some(numbers, rng, "joint", pools["joint"], rng.integers(0, 3), elsewhere=0.1):
                rows.append((sub, joint, int(rng.choice((1, 2, 4)))))
            if rng.random() < 0.15 and sub + 1 < pools["sub"].stop:
                rows.append((sub, int(rng.integers(sub + 1, pools["sub"].stop)), 1))
    return Opened(*np.array(rows, np.int64).T)


def _some(numbers, rng, kind, pool, count, *, elsewhere):
    """A few different assemblies of one kind, mostly of this family."""
    found = set()
    while len(found) < min(count, len(pool)):
        chosen = numbers.of_family(kind, rng.integers(numbers.families)) if rng.random() < elsewhere else pool
        found.add(int(chosen[int(rng.integers(len(chosen)))]))
    return sorted(found)


def draw_leaves(numbers, rng):
    """Draw the lines that end at a part; alternatives count as one here."""
    parents = []
    for kind, mean in MEAN_LEAVES.items():
        lengths = np.maximum(1, rng.negative_binomial(6, 6 / (6 + mean), numbers.count[kind]))
        parents.append(np.repeat(np.arange(numbers.count[kind]) + numbers.first[kind], lengths))
    parent = np.concatenate(parents)
    family = _families(numbers, parent)
    condition = rng.choice(len(CONDITION_CHANCES), parent.size, p=CONDITION_CHANCES)
    action = np.where(condition == PLAIN, rng.choice(ACTIONS, parent.size, p=ACTION_CHANCES), RENEW)
    return Leaves(
        parent=parent,
        child=_draw_parts(numbers, rng, parent, family, each_once=True),
        other=_draw_parts(numbers, rng, parent, family, each_once=False),
        quantity=rng.choice(QUANTITIES, parent.size, p=QUANTITY_CHANCES),
        action=action,
        condition=condition,
    )


def _families(numbers, parent):
    family = np.zeros(parent.size, np.int64)
    for number in range(numbers.families):
        for kind in MEAN_LEAVES:
            pool = numbers.of_family(kind, number)
            family[(parent >= pool.start) & (parent < pool.stop)] = number
    return family


def _draw_parts(numbers, rng, parent, family, *, each_once):
    child = np.zeros(parent.size, np.int64)
    shared = rng.random(parent.size) < SHARED_LINES
    first = numbers.first["part"]
    child[shared] = _skewed(rng, range(first, first + numbers.shared), int(shared.sum()), each_once)
    order = np.argsort(family[~shared], kind="stable")
    slots = np.flatnonzero(~shared)[order]
    ends = np.searchsorted(family[slots], np.arange(numbers.families + 1))
    for number in range(numbers.families):
        pool = numbers.of_family("part", number)
        mine = slots[ends[number] : ends[number + 1]]
        child[mine] = _skewed(rng, pool, mine.size, each_once)
    return child


def _skewed(rng, pool, count, each_once):
    """Numbers of a pool, low ones more often; every one at least once where there is room."""
    once = np.arange(pool.start, pool.stop)[:count] if each_once else np.zeros(0, np.int64)
    more = pool.start + (len(pool) * rng.random(count - once.size) ** SKEW).astype(np.int64)
    drawn = np.concatenate((once, more))
    rng.shuffle(drawn)
    return drawn
