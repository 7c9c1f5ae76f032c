"""Which packs of which bids cover a whole list for the least money, charges, price breaks and days included.

Parts that nobody offers stay missing and are told. In time comes first: either what is late is left out, or parts come
late by as few working days as can be, counted for each job that waits; only then money is saved.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Set
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from bom.buying.charges import CENT
from bom.questions.bids.costs import choice_of, lateness, plain_choice
from bom.questions.bids.program import CENTS, LESS_CHANGE, SetProgram
from bom.questions.bids.values import Bid, Bidding, CheapestSet, Choice
from bom.questions.integer_program import Solution
from bom.structure.calendar import ShopCalendar
from bom.values import ONE

SECONDS = 10.0


def cheapest_set(
    bidding: Bidding, calendar: ShopCalendar, *, late_forbidden: bool = False, seconds: float = SECONDS
) -> CheapestSet:
    """The cheapest choice over the whole list, beside the plain one.

    The plain choice stands where the solver found nothing better in its time.

    Parameters
    ----------
    bidding : what is to be bought, and who offers what
    calendar : the working days
    late_forbidden : leave out what comes after its day of need, instead of as little late as can be
    seconds : what the solver may take
    """
    plain = plain_choice(bidding, calendar)
    program = SetProgram(bidding, calendar, late_forbidden=late_forbidden)
    found = program.solve(seconds)
    if found.values is None:
        return CheapestSet(plain, plain, {}, {}, is_proved=False, gap=None)
    choice, made, opened = _read(program, found.values)
    if _is_worse(choice, plain, bidding) and not late_forbidden:
        return CheapestSet(plain, plain, {}, {}, is_proved=False, gap=_gap(plain, found, 0))
    gap = _gap(choice, found, sum(made.values()) + sum(opened.values()))
    is_proved = program.is_exact and found.proved
    return CheapestSet(choice, plain, made, opened, is_proved, Decimal(0) if is_proved else gap)


def _is_worse(choice: Choice, plain: Choice, bidding: Bidding) -> bool:
    """Whether the solver was stopped at something that the plain choice beats in every order."""
    if plain.refused:
        return False
    wants = {want.part_number: want for want in bidding.wants}

    def rank(of: Choice) -> tuple[Fraction, int, Decimal]:
        missing = sum((Fraction(left, wants[part].quantity) for part, left in of.missing.items()), Fraction(0))
        return missing, sum(days * max(1, wants[part].jobs) for part, days in of.late.items()), of.total

    return rank(choice) > rank(plain)


def _gap(choice: Choice, found: Solution, changes: int) -> Decimal | None:
    """What a better choice could save at most; the solver's bound is in cents below zero."""
    if not np.isfinite(found.bound):
        return None
    least = Decimal(-found.bound - changes * LESS_CHANGE) / CENTS
    return max(Decimal(0), (choice.total - least).quantize(CENT))


def _read(program: SetProgram, values: NDArray[np.float64]) -> tuple[Choice, Mapping[str, int], Mapping[str, int]]:
    """The solver's values as packs, counted anew in whole numbers and exact money."""
    taken: dict[Bid, int] = defaultdict(int)
    for steps in program.steps.values():
        for step in steps:
            packs = round(values[step.multiples]) * step.bid.multiple_packs
            if packs:
                taken[step.bid] += packs
    made = _counts(program.made, values)
    opened = _counts(program.opened, values)
    used = {pair for pair, variable in program.out_of.items() if round(values[variable])}
    choice = choice_of(
        program.bidding, taken, _late(program, taken, made, used), _missing(program, taken, made, opened, used)
    )
    return choice, made, opened


def _counts(variables: Mapping[str, int], values: NDArray[np.float64]) -> dict[str, int]:
    return {whole: count for whole, variable in variables.items() if (count := round(values[variable]))}


def _missing(
    program: SetProgram,
    taken: Mapping[Bid, int],
    made: Mapping[str, int],
    opened: Mapping[str, int],
    used: Set[tuple[str, str]],
) -> dict[str, int]:
    """Millionths that nothing covers, by part."""
    have: dict[str, int] = defaultdict(int)
    for bid, packs in taken.items():
        have[bid.part_number] += packs * bid.pack_size
    for whole, count in opened.items():
        have[whole] -= count * ONE
        for part, each in program.wholes[whole].inside.items():
            have[part] += each * count if (whole, part) in used else 0
    into: dict[str, int] = defaultdict(int)
    for whole, count in made.items():
        have[whole] += count * ONE
        for part, each in program.wholes[whole].inside.items():
            into[part] += each * count
    for part, quantity in into.items():
        have[part] -= quantity - min(quantity, program.bidding.shelf.get(part, 0))
    found = {want.part_number: want.quantity - have[want.part_number] for want in program.bidding.wants}
    return {part: open_one for part, open_one in found.items() if open_one > 0}


def _late(
    program: SetProgram, taken: Mapping[Bid, int], made: Mapping[str, int], used: Set[tuple[str, str]]
) -> dict[str, int]:
    """Working days late by part, by the last delivery of what serves it."""
    calendar, found = program.calendar, {}

    def after(part: str, packing: int = 0) -> int:
        need_on, worst = program.wants[wanted].need_on, 0
        for bid, packs in taken.items():
            if bid.part_number == part:
                day = bid.arrives_on(packs)
                day = calendar.forward(day, packing) if day is not None and packing else day
                worst = max(worst, lateness(need_on, day, calendar))
        return worst

    for wanted in program.wants:
        worst = after(wanted)
        for whole in (whole for whole, part in used if part == wanted):
            worst = max(worst, after(whole))
        if wanted in made:
            held = program.wholes[wanted]
            worst = max([worst, *(after(part, held.packing_days) for part in held.inside)])
        if worst:
            found[wanted] = worst
    return found
