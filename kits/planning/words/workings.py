"""The arithmetic behind a figure: one line that balances, and under it who asks for how many along which way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bom.explain import LATE_ORDER, ON_ORDER, PACKED_HERE, SET_ASIDE, SHELF, AskedLine, Shortfall, Why
from bom.reading import Asker, Reading
from bom.values import ONE
from kits.catalog.amounts import Amount
from kits.planning.words.item_names import ItemName
from kits.planning.words.states import in_words

MOST_JOBS = 12
SERVED_MARKS = {SET_ASIDE: "ready", SHELF: "ready", PACKED_HERE: "waiting", ON_ORDER: "waiting", LATE_ORDER: "late"}
"""The mark of the state in which a job is that is served so."""
LEFT_OUT_SAYS = {
    "quarantine": "in quarantine",
    "owing": "robbed and not filled up again",
    "no_date": "without a date, though its life is limited",
    "expired": "past the last use",
    "resealed": "in opened bags, which this part or clean work does not allow",
    "reserved": "reserved for other jobs",
    "too_old": "out of life before the first build",
}


@dataclass(frozen=True, slots=True)
class AskerWorking:
    """How the need of one job (or other need) comes about, one line for each way through the pump."""

    name: str
    is_job: bool
    says: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Working:
    """The arithmetic behind the figures of one part: in one line, by job, and what of the shelf does not count."""

    part_number: str
    balance: str
    askers: tuple[AskerWorking, ...]
    besides: tuple[str, ...]
    more_jobs: int = 0


@dataclass(frozen=True, slots=True)
class NeedCover:
    """What serves the need of a part: in the line that balances, and as shares of a bar by the mark of their state.

    ``needed`` and the shares are millionths of the stock unit; ``too_old`` lies on the shelf and dies before it is
    built in.
    """

    says: str
    needed: int
    shares: tuple[tuple[str, int], ...]
    too_old: Amount


def covers(reading: Reading, parts: Iterable[str], names: Mapping[str, ItemName]) -> dict[str, NeedCover]:
    """What serves the need of each of these parts."""
    short = reading.balances(tuple(dict.fromkeys(parts)))
    return {part: cover_of(why, names[part], reading.stock_of(part).left_out) for part, why in short.items()}


def cover_of(short: Why, name: ItemName, left_out: Mapping[str, int]) -> NeedCover:
    """What serves the need of one part, from what it is short of."""
    needed, *served = (part.value if isinstance(part.value, int) else 0 for part in short.parts)
    marks = (SERVED_MARKS[part.says] for part in short.parts[1:])
    lacks = short.value if isinstance(short.value, int) else 0
    shares = (*zip(marks, served, strict=True), ("short", lacks))
    return NeedCover(balance(short, name), needed, shares, name.amount(left_out.get("too_old", 0)))


def working(reading: Reading, name: ItemName, first: frozenset[Asker], most: int = MOST_JOBS) -> Working:
    """The arithmetic of a part; the jobs in ``first`` stand first, then those that lack something."""
    part = name.part_number
    return Working(
        part_number=part,
        balance=covers(reading, (part,), {part: name})[part].says,
        askers=askers_of(reading, name, first, most),
        besides=left_out(reading, name),
        more_jobs=max(0, len(reading.needs_of(part)) - most),
    )


def balance(short: Why, name: ItemName) -> str:
    """Needed less what serves it: ``30 needed − 6 from the shelf − 10 on order (4 of it late) = 14 short``."""
    needed, *served = short.parts
    amounts = {part.says: int(part.value) for part in served if isinstance(part.value, int)}
    text = f"{figure(name, needed.value) or '0'} needed"
    for source in (SET_ASIDE, SHELF, PACKED_HERE):
        if source in amounts:
            says = "set aside for the job" if source == SET_ASIDE else source
            text += f" − {figure(name, amounts[source])} {says}"
    late = amounts.get(LATE_ORDER, 0)
    if on_order := amounts.get(ON_ORDER, 0) + late:
        text += f" − {figure(name, on_order)} on order" + (f" ({figure(name, late)} of it late)" if late else "")
    if not amounts:
        text += ", nothing on the shelf or on order"
    return f"{text} = {f'{figure(name, short.value)} short' if short.value else 'nothing short'}"


def figure(name: ItemName, millionths: object) -> str:
    """An amount of a part as text."""
    return name.amount(millionths).text if isinstance(millionths, int) else ""


def askers_of(reading: Reading, name: ItemName, first: frozenset[Asker], most: int) -> tuple[AskerWorking, ...]:
    """Who asks for a part: first those of the sheet, among them first those that lack something."""
    part = name.part_number
    needs = reading.needs_of(part)
    lacking = {asker: reading.shortfalls.get(asker, {}).get(part) for asker in needs}
    order = sorted(needs, key=lambda one: (one not in first, lacking[one] is None, one.build_on, one.turn))[:most]
    because = reading.why_asked(part, order)
    return tuple(
        AskerWorking(
            name=asker.name,
            is_job=asker.is_job,
            says=asks_says(name, needs[asker], lacking[asker]),
            lines=tuple(line_says(line, name) for line in because[asker]),
        )
        for asker in order
    )


def line_says(line: AskedLine, name: ItemName) -> str:
    """One reason why a job asks for a part."""
    if line.because == "along":
        return f"{figure(name, line.quantity)} renewed along with what finding '{line.finding}' renews"
    if line.because == "report":
        return f"{figure(name, line.quantity)} to be renewed by the strip report"
    if line.because == "kit":
        return f"{line.quantity // ONE} to serve {line.section}"
    product, comma, because = line.says.partition(", because of")
    says = f"{product} {name.amount(0).unit}".rstrip() + comma + because
    if line.because == "inspect":
        return f"{says}, looked at"
    return f"{says}, {kit_says(line, name)}" if line.kits else says


def kit_says(line: AskedLine, name: ItemName) -> str:
    """How much of a need inside an assembly the kits of that assembly bring."""
    kits = f"kit{'s' if len(line.kits) > 1 else ''} {in_words(line.kits)}"
    if not line.brought:
        return f"not in {kits}"
    if line.all_in_kits:
        return f"all in {kits}"
    return f"of which {kits} bring{'' if len(line.kits) > 1 else 's'} {figure(name, line.brought)}"


def asks_says(name: ItemName, needed: int, lacking: Shortfall | None) -> str:
    """What one job needs and lacks of an item."""
    says = f"{name.amount(needed).text} needed"
    if lacking and lacking.missing:
        says += f", {name.amount(lacking.missing).text} missing"
    if lacking and lacking.late:
        says += f", {name.amount(lacking.late).text} on an order that comes late"
    return says


def left_out(reading: Reading, name: ItemName) -> tuple[str, ...]:
    """What lies on the shelf and does not count, with the reason."""
    reasons = reading.stock_of(name.part_number).left_out
    return tuple(
        f"Not counted: {name.amount(quantity).text} {LEFT_OUT_SAYS[why]}." for why, quantity in reasons.items()
    )
