"""The lists as they stand: items, lines by parent, how often one thing sits in another."""

import re
from functools import cache
from itertools import product

from bom.values import ONE


@cache
def fold(text: str) -> str:
    return " ".join(text.casefold().split())


@cache
def natural(text: str) -> tuple:
    """Digit runs count as numbers, so that H3-0999 comes before H3-1000."""
    pieces = re.split(r"(\d+)", fold(text))
    return tuple(int(piece) if index % 2 else piece for index, piece in enumerate(pieces))


def as_answers(options) -> dict:
    return {fold(name): fold(value) for name, value in options}


class Structure:
    """Catalog rows in dictionaries, and the walks that need no job."""

    def __init__(self, catalog):
        self.catalog = catalog
        self.items = {item.part_number: item for item in catalog.items}
        self.by_parent = {}
        self.counted, self.placed = {}, {}  # what was counted once stays: the lists do not change
        for line in catalog.lines:
            self.by_parent.setdefault(line.parent, []).append(line)
        for lines in self.by_parent.values():
            lines.sort(key=lambda line: line.order)  # stable: rows of equal order keep their place on the sheet

    def lines_of(self, parent: str) -> list:
        return self.by_parent.get(parent, [])

    def in_force(self, fit) -> bool:
        """A kit that is entered in part is not taken: both it and what it fits must hold something."""
        return bool(self.lines_of(fit.kit)) and bool(self.lines_of(fit.fits))

    def scope_rows(self, pump: str, scope: str) -> list:
        return [row for row in self.catalog.scopes if row.pump == pump and fold(row.scope) == fold(scope)]

    def units(self, line) -> int:
        """Whole stock units of a countable child in one parent."""
        return self.per_parent(line) // ONE

    def per_parent(self, line) -> int:
        """Millionths of the child in one parent; a total of the whole pump is divided first."""
        if line.quantity_is_for == "one_parent":
            return line.quantity
        instances, _ = self.instances(line.pump, line.parent)
        return line.quantity // instances

    def instances(self, holder: str, target: str) -> tuple[int, bool]:
        """How many ``target`` one ``holder`` holds (the largest alternative), and whether alternatives disagree."""
        if holder == target:
            return 1, False
        if not self.lines_of(holder):
            return 0, False
        if (holder, target) not in self.counted:
            self.counted[holder, target] = self.count_instances(holder, target)
        return self.counted[holder, target]

    def count_instances(self, holder: str, target: str) -> tuple[int, bool]:
        total, disagree = 0, False
        for lines in self.by_position(holder).values():
            sums = set()
            for answers in every_answer(lines):
                found = 0
                for line in lines:
                    if all(answers[fold(name)] == fold(value) for name, value in line.options):
                        inside, clash = self.instances(line.child, target)
                        disagree = disagree or clash
                        if inside:
                            found += inside * self.units(line)
                sums.add(found)
            sums.discard(0)
            total += max(sums, default=0)
            disagree = disagree or len(sums) > 1
        return total, disagree

    def by_position(self, parent: str) -> dict:
        if parent not in self.placed:
            positions = self.placed[parent] = {}
            for line in self.lines_of(parent):
                positions.setdefault(fold(line.position), []).append(line)
        return self.placed[parent]

    def level(self, part_number: str) -> int:
        """Low-level code over what is packed or made: one deeper than the deepest thing that holds it."""
        holders = {
            line.parent
            for line in self.catalog.lines
            if line.child == part_number and self.is_put_together(self.items[line.parent])
        }
        return max((self.level(holder) + 1 for holder in holders), default=0)

    def is_put_together(self, item) -> bool:
        return item.kind == "kit" or item.source in ("pack", "make", "pack_else_buy")

    def pieces_inside(self, holder: str, part_number: str) -> int:
        return sum(self.per_parent(line) for line in self.lines_of(holder) if line.child == part_number)


def every_answer(lines):
    """Every way to answer the options that these lines name, out of the values that they know."""
    return answers_to(tuple(line.options for line in lines))


@cache
def answers_to(asked: tuple) -> list:
    values = {}
    for options in asked:
        for name, value in options:
            values.setdefault(fold(name), set()).add(fold(value))
    names = sorted(values)
    ways = product(*(sorted(values[name]) for name in names))
    return [dict(zip(names, chosen, strict=True)) for chosen in ways]
