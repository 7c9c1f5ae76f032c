"""Seals that the shop's table forbids for the fluid of a job: said, and stopped, where a hand would take them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from bom.plan import Plan
from kits.catalog.models import Item
from kits.catalog.words import ItemKind
from kits.people.names import name_of
from kits.picking.errors import PickRefusal
from kits.planning.opening.compounds import CompoundSays, compounds_of, fluid_says
from kits.planning.queries import plan_now
from kits.schedule.models import Job
from kits.service.models import Arrival, FluidRule, Waiver
from kits.service.queries import waivers_of
from kits.service.words import RuleSays


@dataclass(frozen=True, slots=True)
class Unsuited:
    """A compound of a job that its fluid forbids, and the signature of the lead who lets it pass."""

    job: Job
    compound: CompoundSays
    waiver: Waiver | None

    @property
    def says(self) -> str:
        """What is wrong, and who answers for it."""
        if self.waiver is None:
            return f"{self.job}: {self.compound.says}. It is not to be picked until the service lead has signed for it."
        return f"{self.job}: {self.compound.says}. {name_of(self.waiver.by)} signed for it: {self.waiver.why}."


def unsuited_compounds(plan: Plan, jobs: Iterable[Job]) -> Iterator[Unsuited]:
    """The compounds of some jobs that their fluids forbid; two statements, and four for each job that may be one."""
    fluids = dict(Arrival.objects.filter(job__in=jobs).exclude(fluid="").values_list("job_id", "fluid"))
    if not fluids or not FluidRule.objects.filter(says=RuleSays.FORBIDDEN).exists():
        return
    for job in jobs:
        for one in fluid_says(fluids.get(job.pk, ""), compounds_of(plan, job) if job.pk in fluids else {}):
            if one.forbidden:
                signed = waivers_of(job).get(one.point)
                yield Unsuited(job, one, signed if signed and signed.about == one.says else None)


def unsuited_pieces(item: Item, jobs: Sequence[Job]) -> tuple[Unsuited, ...]:
    """What of some jobs forbids that a hand puts this part, or a kit that may hold such, into their bags."""
    fluids = Arrival.objects.filter(job__in=jobs).exclude(fluid="")
    if not fluids.exists():
        return ()
    found = unsuited_compounds(plan_now(), jobs)
    return tuple(one for one in found if item.kind == ItemKind.KIT or item.part_number in one.compound.parts)


def refuse_unsuited(found: Iterable[Unsuited]) -> None:
    """Refuse what no lead has signed for."""
    for one in found:
        if one.waiver is None:
            raise PickRefusal(f"{one.says} See its arrival, or change its option.")
