"""How sure were we: the cover of wear as it was worked out before pumps were opened, against what was found."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bom.plan import Plan
from bom.questions.how_sure import CoverList, WearBefore, found_worn, spread, wear_list
from kits.catalog.formats.in_force import formats
from kits.planning import models
from kits.planning.queries import kept_beside
from kits.planning.words.item_names import ItemName, item_names
from kits.planning.words.states import plural
from kits.schedule.words import Stage

DONE = (Stage.BUILT, Stage.TESTED, Stage.SHIPPED)
BANDS = ((0.0, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 0.995), (0.995, 1.01))
TWO_SIGMA = 2.0


@dataclass(frozen=True, slots=True)
class PartRow:
    """All lists of one part: pieces looked at, expected, planned and found; how many lists were enough."""

    part_number: str
    what: str
    leads_to: str
    how_sure: float
    lists: int
    enough: int
    said: float
    positions: int
    expected: float
    planned: int
    found: int

    @property
    def share(self) -> float:
        """How many of its lists were enough, in per cent."""
        return 100 * self.enough / self.lists


@dataclass(frozen=True, slots=True)
class Band:
    """Lists said to be enough with chances from ``low`` to ``high`` (per cent): what was said, and what came of it.

    ``least`` and ``most`` are the per cent between which nineteen of twenty such counts lie if what is said is true.
    """

    says: str
    lists: int
    enough: int
    said: float
    share: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class HowSure:
    """All lists together, by how sure they were, and by part."""

    says: str
    verdict: str
    lists: int
    enough: int
    bands: tuple[Band, ...]
    parts: tuple[PartRow, ...]


def wear_lists(plan: Plan) -> dict[tuple[str, str], CoverList]:
    """Every list: a part, and the pumps of one batch that were opened in one week; two statements."""
    rows = models.ExpectedWear.objects.filter(job__stage__in=DONE).values_list(
        "job__job", "job__batch__name", "on", "item__part_number", "how_sure", "spares", "events"
    )
    kept = list(rows)
    found = found_worn(plan, {row[0] for row in kept})
    lists: dict[tuple[str, str], list[tuple[WearBefore, int]]] = defaultdict(list)
    for job, batch, on, part, how_sure, spares, events in kept:
        if job in found:
            year, week, _ = on.isocalendar()
            expected = WearBefore(part, how_sure, spares, tuple((c, p, w) for c, p, w in events))
            if any(chance for _, chance, _ in expected.events):
                lists[part, f"{batch or job} {year}-{week:02}"].append((expected, found[job].get(part, 0)))
    return {key: wear_list(of_list) for key, of_list in sorted(lists.items())}


def how_sure(plan: Plan) -> HowSure:
    """The whole sheet; three statements."""
    lists = kept_beside(plan, "how sure", lambda: wear_lists(plan))
    names = item_names({part for part, _ in lists})
    by_part: dict[str, list[CoverList]] = defaultdict(list)
    for (part, _), one in lists.items():
        by_part[part].append(one)
    sure = dict(models.ExpectedWear.objects.order_by("pk").values_list("item__part_number", "how_sure"))
    everything = list(lists.values())
    return HowSure(
        says=_says(everything),
        verdict=_verdict(everything),
        lists=len(everything),
        enough=sum(one.enough for one in everything),
        bands=tuple(_bands(everything)),
        parts=tuple(_part_row(names[part], sure[part], of_part) for part, of_part in sorted(by_part.items())),
    )


def _says(lists: Sequence[CoverList]) -> str:
    if not lists:
        return "No pump with a strip report has been built yet of which the expected wear was kept."
    said, _ = spread(lists)
    enough = sum(one.enough for one in lists)
    return (
        f"Of {plural(len(lists), 'list')} said to be enough with {_in_100(said / len(lists))} on average, "
        f"{enough} were: {_in_100(enough / len(lists))}."
    )


def _in_100(share: float) -> str:
    return formats().number(f"{100 * share:.1f} in 100")


def _verdict(lists: Sequence[CoverList]) -> str:
    """Whether that is chance, in words."""
    if not lists:
        return ""
    said, deviation = spread(lists)
    off = sum(one.enough for one in lists) - said
    if abs(off) <= TWO_SIGMA * deviation:
        return "That lies within what chance does: the rates are honest, as far as this can tell."
    if off < 0:
        return (
            "That is fewer than chance explains: more wears than the rates say. Look at the parts below, worst first."
        )
    return "That is more than chance explains: less wears than the rates say, and the shelf holds more than it has to."


def _bands(lists: Iterable[CoverList]) -> Iterable[Band]:
    held = list(lists)
    for low, high in BANDS:
        mine = [one for one in held if low <= one.chance < high]
        if not mine:
            continue
        said, deviation = spread(mine)
        enough, count = sum(one.enough for one in mine), len(mine)
        yield Band(
            says=f"{100 * low:g} to {min(100.0, 100 * high):g}" if low else f"below {100 * high:g}",
            lists=count,
            enough=enough,
            said=100 * said / count,
            share=100 * enough / count,
            least=max(0.0, 100 * (said - TWO_SIGMA * deviation) / count),
            most=min(100.0, 100 * (said + TWO_SIGMA * deviation) / count),
        )


def _part_row(name: ItemName, sure: float, lists: Sequence[CoverList]) -> PartRow:
    said, _ = spread(lists)
    return PartRow(
        part_number=name.part_number,
        what=name.what,
        leads_to=name.leads_to,
        how_sure=sure,
        lists=len(lists),
        enough=sum(one.enough for one in lists),
        said=100 * said / len(lists),
        positions=sum(one.positions for one in lists),
        expected=sum(one.expected for one in lists),
        planned=sum(one.planned for one in lists),
        found=sum(one.found for one in lists),
    )
