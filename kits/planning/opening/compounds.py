"""What the seals of a job are made of where the fluid reaches them, set against what the pump has pumped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bom.plan import Plan
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.planning.queries import kept_beside, reading_of
from kits.planning.words.states import in_words
from kits.schedule.models import Job
from kits.service.queries import compound_of, known_compounds, rules_of
from kits.service.words import RuleSays

ASK = "ask the seal maker, with fluid, temperature and pressure"


@dataclass(frozen=True, slots=True)
class CompoundSays:
    """A compound that a job fits into its fluid: in which parts, and what the shop's table says of it."""

    compound: str
    parts: tuple[str, ...]
    forbidden: bool
    asks: bool
    says: str

    @property
    def point(self) -> str:
        """The name of the point at which it is stopped."""
        return f"compound {fold(self.compound)}"


def compounds_of(plan: Plan, job: Job) -> Mapping[str, tuple[str, ...]]:
    """The parts of each compound at the positions that a job opens and the fluid reaches; at most two statements.

    The fluid reaches the lines that are marked as wetted; in a shop that marks none, every line counts.
    """
    reading = reading_of(plan)
    asker = reading.jobs.get(job.job)
    if asker is None:
        return {}
    marked = kept_beside(plan, "wetted", lambda: any(line.wetted for line in plan.shop.catalog.lines))
    parts = {
        line.held.child
        for opening in reading.opened_by(asker)
        for line in opening.lines
        if line.held.line.at_rebuild in ("renew", "inspect") and (line.held.line.wetted or not marked)
    }
    known = known_compounds()
    found: dict[str, list[str]] = {}
    for part, material in sorted(Item.objects.filter(part_number__in=parts).values_list("part_number", "material")):
        if compound := compound_of(material, known):
            found.setdefault(compound, []).append(part)
    return {compound: tuple(found[compound]) for compound in sorted(found)}


def fluid_says(fluid: str, compounds: Mapping[str, tuple[str, ...]]) -> tuple[CompoundSays, ...]:
    """What the shop's table says of each compound in a fluid, what it forbids first; at most one statement."""
    if not fluid:
        return ()
    rules = rules_of(fluid)
    told = []
    for compound, parts in compounds.items():
        rule = rules.get(fold(compound))
        besides = f"; {rule.note}" if rule and rule.note else ""
        fitted = in_words(parts, longest=3)
        forbidden = rule is not None and rule.says == RuleSays.FORBIDDEN
        asks = rule is None or rule.says == RuleSays.ASK
        if rule is None or asks:
            why = f"{rule.source}{besides}" if rule else "nothing is known here"
            says = f"{compound} in {fluid}, in {fitted}: {ASK} ({why})"
        elif forbidden:
            says = f"{compound} is not to be fitted for {fluid} ({rule.source}{besides}), and the job takes {fitted}"
        else:
            says = (
                f"{compound} is named as usual for {fluid} ({rule.source}{besides}); the seal maker's word comes first"
            )
        told.append(CompoundSays(compound, parts, forbidden, asks, says))
    return tuple(sorted(told, key=lambda one: (not one.forbidden, not one.asks)))
