"""The trees of `bom.explain` in words: a label, the figure, the arithmetic in one line, and the parts under it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from bom.explain import Explanations, Number, PositionGroups, Rule, Unit, Why
from bom.plan import Plan
from bom.reading import STATUS
from kits.catalog.days.words import in_full, words_for_day
from kits.catalog.fields import quantity_text
from kits.catalog.formats.in_force import formats
from kits.planning.queries import reading_of
from kits.planning.words.workings import LEFT_OUT_SAYS

MOST_PARTS = 60
TO_THE_END = -1
"""As deep as a tree goes."""
LABELS = {
    "passed down": "for kits packed and assemblies made here",
    "way": "renewed in {section}",
    "added by finding": "added in {section}, because of finding '{finding}'",
    "renewed by finding": "renewed because of finding '{finding}'",
    "renewed along with a finding": "renewed along with what finding '{finding}' renews",
    "renewed with its group": "renewed with its group, by the strip report",
    "verdict renew": "found worn, by the strip report",
    "verdict missing": "missing, by the strip report",
    "position": "{where}",
    "opened": "{item} in one {per}",
    "held": "in one {per}",
    "in kits": "kit {kit} brings",
    "issued": "issued to it already",
    "kits": "kits to serve {fits}",
    "contents": "{job} for {of}",
    "to pack": "{item} to pack",
    "in one": "in one of them",
    "need": "{need}",
    "job": "{job}",
    "lot": "lot {lot}",
    "order": "order {order}, {line}",
    "late order": "order {order}, {line}, which comes late",
    "order comes": "order {order}, {line}, comes",
    "on the shelf": "lot {lot}, on the shelf",
    "piece": "{item}",
    "served": "{item}",
    "here": "{item} here",
    "packed": "{item} packed",
    "reserved": "reserved",
    "rate entered": "{position} in {in}: rate entered",
    "rate learned": "{position} in {in}: rate learned from {pumps} pumps",
    "no rate known": "{position} in {in}: no rate known",
    "chance of the group": "chance that one of a group is worn, which renews it whole ({together})",
    "may be found worn": "{job} may find worn, places",
    "chance": "{places} places of {pieces}, each with the chance",
    "spares": "spares that serve first",
    "spare in the kits": "spare in kit {kit}",
    "planned for a day": "for builds up to {build_on}",
    "published rounding": "beside it: what tables per 100 overhauls would plan",
    "offer": "{packs} × {pack_size} for {total}",
    "price of a pack": "price per pack from {from_packs} on",
    "left out": "{reason}",
    "for job": "{job}",
    "taken": "{job} takes",
    "strip": "{job} is opened",
    "waits for": "{item}, here on {here_on}",
    "needed": "{job} needs it",
    "supplier": "from the supplier",
    "sent off": "the supplier sends it off",
    "to be sent off": "the supplier has to send it off",
    "price at the next break": "{packs} packs",
    "left for wear": "left for wear on lots that last to {last_build}, once sure needs are served",
    "not from the shelf": "{job}, not from the shelf",
    "left after sure needs": "left of lots that last to {last_build} and of orders, once sure needs are served",
}
STEPS_IN_ONE_LINE = frozenset(
    {
        Rule.PRODUCT,
        Rule.BACK,
        Rule.FORWARD,
        Rule.WORKING_DAYS,
        Rule.ROUNDED_UP,
        Rule.WHOLE_PACKS,
        Rule.PER_HUNDRED,
        Rule.LEARNED,
        Rule.FIRST_DAY_SHORT,
        Rule.ADVICE,
        Rule.COVER,
    }
)
BETWEEN = {Rule.PRODUCT: " × ", Rule.BACK: " less ", Rule.FORWARD: " plus ", Rule.WORKING_DAYS: " to "}
SUMS = frozenset({Rule.SUM, Rule.NOT_BELOW_ZERO, Rule.PRODUCT, Rule.BACK, Rule.FORWARD})
BESIDES = (
    "for_whom", "place", "last_use", "promised", "supplier", "owner",
    "for_kit", "need_on", "late", "expired", "closed_from", "closed_to",
)  # fmt: skip
BESIDES_SAY = {
    "for_whom": "for {}",
    "place": "at {}",
    "last_use": "last use {}",
    "promised": "promised for {}",
    "supplier": "{}",
    "owner": "belongs to {}",
    "for_kit": "for kit {}",
    "need_on": "needed {}",
    "late": "comes too late",
    "expired": "the offer is past its day",
    "closed_from": "supplier closed from {}",
    "closed_to": "to {}",
}
ADVICE_WORDS = {
    None: "order",
    "decide_after_strip": "decide after the strip-down",
    "only_if_found": "only if found worn: ask first",
}
SMALL_CHANCE = 0.001


@dataclass(frozen=True, slots=True)
class Said:
    """One figure with its label, the arithmetic behind it, and the figures that it is made of.

    ``more`` parts were cut off; ``millionths`` is the figure itself where it is an amount of the part.
    """

    label: str
    figure: str
    sum: str = ""
    parts: tuple[Said, ...] = ()
    more: int = 0
    millionths: int | None = None


def in_words(why: Why, as_of: date, deepest: int = TO_THE_END) -> Said:
    """A tree in words down to some depth; long lists are cut, and say how much was cut."""
    if _tells_a_draw(why):
        drawn = why.beside[0]
        source = _label(drawn, as_of)
        comes = f"from {source}" if drawn.facts else f"{source}, on no order" if drawn.says == "missing" else source
        return Said(f"{figure_of(drawn, as_of)} {comes}", figure_of(why, as_of))
    listed = [*(() if _in_one_line(why) else _counted(why)), *why.beside]
    shown = listed[:MOST_PARTS] if deepest else ()
    told = tuple(_signed(part, in_words(part, as_of, deepest - 1)) for part in shown)
    more = max(0, len(listed) - MOST_PARTS)
    amount = why.value if why.unit is Unit.PIECES and isinstance(why.value, int) else None
    return Said(_label(why, as_of), figure_of(why, as_of), _sum(why, as_of), told, more, amount)


def _tells_a_draw(why: Why) -> bool:
    """Whether it is the state of one lot or order line that a piece leans on."""
    drawn = why.beside[0] if len(why.beside) == 1 else None
    return why.unit is Unit.WORD and why.rule is Rule.GIVEN and drawn is not None and drawn.unit is Unit.PIECES


def _signed(part: Why, said: Said) -> Said:
    """A part that is taken off carries its sign."""
    return replace(said, figure=f"− {said.figure}") if part.less else said


def _in_one_line(why: Why) -> bool:
    folded = why.rule in STEPS_IN_ONE_LINE or why.says in ("lead time", "order comes")
    alone = why.rule is Rule.FIRST and len(why.parts) == 1
    return (folded or alone) and not any(part.parts or part.beside for part in why.parts)


def _counted(why: Why) -> tuple[Why, ...]:
    """The parts worth naming, in the order in which they tell: in a sum of several those that are not nil."""
    if why.rule is Rule.WORST:
        return tuple(sorted(why.parts, key=lambda part: -STATUS.index(str(part.value))))
    if why.rule in (Rule.LARGEST, Rule.SMALLEST) and why.unit is Unit.DAY:
        last_first = why.rule is Rule.LARGEST
        known = [part for part in why.parts if part.value is not None]
        unknown = [part for part in why.parts if part.value is None]
        return (*unknown, *sorted(known, key=lambda part: str(part.value), reverse=last_first))
    if why.rule in (Rule.SUM, Rule.NOT_BELOW_ZERO, Rule.LARGEST):
        return tuple(part for part in why.parts if part.value != 0)
    return why.parts


def _label(why: Why, as_of: date) -> str:
    facts = {name: _fact(name, fact, as_of) for name, fact in why.facts}
    if why.says == "left out":
        facts["reason"] = LEFT_OUT_SAYS.get(facts.get("reason", ""), "left out")
    if why.says == "contents" and "job" not in facts:
        facts["job"] = "wear"
    if why.says == "waits for":
        facts.setdefault("here_on", "a day that nobody knows")
    if "pack_size" in facts:
        facts["pack_size"] = quantity_text(int(facts["pack_size"]))
        facts["total"] = formats().number(f"{Decimal(facts['total']):.2f}") if "total" in facts else "an unknown price"
    pattern = _pattern(why)
    try:
        label = pattern.format_map(facts)
    except KeyError:  # a fact that this one does not have: the plain name serves
        label = why.says
    named = [name for name in BESIDES if name in facts and f"{{{name}}}" not in pattern and why.says != "needed"]
    return ", ".join((label, *(BESIDES_SAY[name].format(facts[name]) for name in named)))


def _pattern(why: Why) -> str:
    if why.says == "pumps" and why.value == 1:
        return "pump"
    if why.says == "piece" and why.unit is Unit.PIECES:
        return "{job}" if why.fact("job") else "wear"
    return LABELS.get(why.says, why.says)


def _fact(name: str, fact: object, as_of: date) -> str:
    if not isinstance(fact, date):
        return str(fact)
    return in_full(fact) if name == "last_use" else words_for_day(fact, as_of)


def figure_of(why: Why, as_of: date) -> str:
    """The value alone, in the words of its unit."""
    value = why.value
    if why.says == "advice":
        return ADVICE_WORDS[str(value) if value else None]
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return words_for_day(value, as_of)
    if why.unit is Unit.PIECES:
        return (
            quantity_text(int(value)) if isinstance(value, int) else formats().number(f"{float(value) / 1_000_000:g}")
        )
    if why.unit is Unit.CHANCE and isinstance(value, int | float | Fraction):
        return _chance(float(value))
    if why.unit is Unit.DAYS:
        return f"{value} working day{'' if value == 1 else 's'}"
    if why.unit is Unit.MONEY and isinstance(value, Decimal):
        return formats().number(f"{value:.2f}")
    if why.unit is Unit.EXPECTED and isinstance(value, int | float | Fraction):
        return formats().number(f"{round(float(value), 3):g}")
    return str(value)


def _chance(value: float) -> str:
    if 0 < value < SMALL_CHANCE or 1 - SMALL_CHANCE < value < 1:
        return formats().number("under 0.1 %" if value < SMALL_CHANCE else "over 99.9 %")
    return formats().number(f"{round(value * 100, 1):g} %")


def _sum(why: Why, as_of: date) -> str:
    """How the figure comes about, in one line: a sum after its sign, or a rule in words."""
    text = _arithmetic(why, as_of)
    if text and (why.rule in SUMS or why.says == "lead time"):
        return f"= {text}"
    told = text or _rule(why)
    return f"({told})" if told else ""


def _arithmetic(why: Why, as_of: date) -> str:
    parts = _counted(why)
    figures = [figure_of(part, as_of) for part in parts]
    if why.rule is Rule.WHOLE_PACKS:
        return _packs(*figures)
    if why.says == "order comes":
        return f"promised {figures[-1]}, counted as today" if why.value == as_of != why.parts[0].value else ""
    if why.rule is Rule.FIRST and len(parts) == 1:
        return ""
    if _in_one_line(why):
        named = [f"{figure} {_label(part, as_of)}" for part, figure in zip(parts, figures, strict=True)]
        return BETWEEN.get(why.rule, ", ").join(named)
    if why.rule in BETWEEN:
        return BETWEEN[why.rule].join(figures)
    if why.rule in (Rule.SUM, Rule.NOT_BELOW_ZERO) and 1 < len(figures) <= MOST_PARTS:
        signs = ["− " if part.less else "+ " for part in parts]
        text = " ".join(f"{sign}{figure}" for sign, figure in zip(signs, figures, strict=True)).removeprefix("+ ")
        return f"{text}{', not below 0' if why.rule is Rule.NOT_BELOW_ZERO else ''}"
    return ""


def _rule(why: Why) -> str:
    """The rule in words, where several parts stand under a figure."""
    if len(_counted(why)) < 2 or _in_one_line(why):
        return ""
    if why.rule in (Rule.LARGEST, Rule.SMALLEST):
        last = why.rule is Rule.LARGEST
        if why.unit is Unit.DAY:
            return "the last of these days" if last else "the first of these days"
        return "the larger of these" if last else "the smaller of these"
    return RULES_SAY.get(why.rule, "")


def _packs(net: str, size: str, fewest: str, step: str) -> str:
    """How the packs come about."""
    least = "" if fewest == "1" else f", at least {fewest}"
    return f"{net} in packs of {size}{least}{'' if step == '1' else f', in steps of {step}'}"


RULES_SAY = {
    Rule.WORST: "the worst of these",
    Rule.FIRST: "the first of these is taken",
    Rule.TOGETHER: "the chance that at least one of these happens",
    Rule.ROUNDED: "added up and rounded",
    Rule.HALF_UP: "added up and rounded, half up",
    Rule.PACKED: "by its contents, and the day it is packed against the day it is needed",
    Rule.ENOUGH: "the chance that what is left is enough for what these may find worn",
    Rule.SURE_FIRST: "none, while the shelf does not serve all that is sure",
}
DEMAND_FIGURES = (
    ("sure", "Sure need"),
    ("passed_down", "Asked for by what is packed or made here"),
    ("positions", "Positions to be looked at"),
    ("spares", "Spares that kits bring"),
    ("expected", "Likely to be found worn"),
    ("planned_wear", "Planned for wear"),
    ("total", "All that is planned for"),
    ("on_hand", "On hand"),
    ("left_out", "Left out of the stock"),
    ("on_order", "On order"),
    ("uncovered", "Sure need that nothing covers"),
    ("uncovered_wear", "Wear that nothing covers"),
    ("chance_enough", "Chance that the shelf is enough for wear"),
)
BUY_FIGURES = (
    ("top_up", "Top-up of the safety stock"),
    ("net", "To buy, net"),
    ("packs", "Packs"),
    ("order_quantity", "Order"),
    ("surplus", "Over"),
    ("supplier", "Offer chosen"),
    ("price", "Price"),
    ("need_on", "First needed"),
    ("order_by", "Order by"),
    ("days_late", "Late by"),
    ("earliest_arrival", "Here on, if ordered today"),
    ("wear_advice", "What to do about wear"),
)
JOB_FIGURES = (
    ("status", "State"),
    ("parts_on", "Parts here on"),
    ("days_late", "Late by"),
    ("blocking_part", "Held by"),
    ("order_by", "Order by"),
    ("leans_on_overdue", "Depends on an overdue order"),
)
EMPTY_FIGURES = frozenset({"0", "", "not known", "no", "0 working days"})


def part_figures(
    plan: Plan,
    part_number: str,
    unit: str = "",
    groups: PositionGroups | None = None,
    deepest: int = TO_THE_END,
) -> tuple[Said, ...]:
    """Every figure of one part that is not nil, worked out; amounts say their unit once, in the first line.

    Whoever asks for many parts hands the same ``groups`` in for all of them.
    """
    figures = [("demand", column, label) for column, label in DEMAND_FIGURES]
    bought = next((row for row in reading_of(plan).purchases if row.part_number == part_number), None)
    if bought is not None:
        shown = [pair for pair in BUY_FIGURES if pair[0] != "wear_advice" or bought.short_wear]
        figures += [("buy", column, label) for column, label in shown]
    return tuple(_said(plan, figures, (part_number,), unit, groups, deepest))


def job_figures(plan: Plan, job: str) -> tuple[Said, ...]:
    """Every figure of one job that is not nil, worked out."""
    return tuple(_said(plan, [("jobs", column, label) for column, label in JOB_FIGURES], (job,)))


def _said(
    plan: Plan,
    figures: Iterable[tuple[str, str, str]],
    row: tuple[str, ...],
    unit: str = "",
    groups: PositionGroups | None = None,
    deepest: int = TO_THE_END,
) -> Iterator[Said]:
    explanations = Explanations(plan, groups)
    for table, column, label in figures:
        said = said_of(explanations.why(Number(table, column, row)), label, plan.shop.as_of, unit, deepest)
        if said.figure not in EMPTY_FIGURES:
            yield said


def said_of(why: Why, label: str, as_of: date, unit: str, deepest: int = TO_THE_END) -> Said:
    """One figure in words under a label of its own; an amount says its unit."""
    said = in_words(why, as_of, deepest)
    figure = f"{said.figure} {unit}" if unit and why.unit is Unit.PIECES and said.figure != "0" else said.figure
    return replace(said, label=label, figure=figure)


def lines_of(said: Said, deepest: int, depth: int = 0) -> Iterator[tuple[int, Said]]:
    """A worked-out figure and what it is made of, line by line with the depth of each."""
    yield depth, said
    if depth < deepest:
        for part in said.parts:
            yield from lines_of(part, deepest, depth + 1)
