"""Reads of what the service lead keeps: the arrival of a job, its photos, what was let pass, and the shop's tables."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from kits.catalog.folding import fold
from kits.catalog.models import ScopeSection
from kits.people.names import name_of
from kits.schedule.models import Job
from kits.service.models import Arrival, FluidRule, Photo, SignRule, Waiver

COMPOUNDS = frozenset(
    {"nbr", "hnbr", "xnbr", "fkm", "ffkm", "fepm", "epdm", "epm", "vmq", "fvmq", "acm", "aem", "au", "eu", "cr", "iir"}
)
"""Short signs of rubbers (ISO 1629, from memory), folded; those that the shop's own table names come besides."""
RuleKey = tuple[str, str]


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A photo as it stands on a page."""

    pk: int
    where: str
    note: str
    by: str
    at: datetime
    kilobytes: int


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What the shop's table suggests for what was seen: a scope of the pump, because of which signs, where to look."""

    scope: str
    sections: str
    signs: str
    notes: str
    here: bool


def arrival_of(job: Job) -> Arrival | None:
    """The arrival of a job; one statement."""
    return Arrival.objects.select_related("by").filter(job=job).first()


def jobs_with_arrival(jobs: Iterable[str]) -> frozenset[str]:
    """Those of some jobs of which is written how they came; one statement."""
    return frozenset(Arrival.objects.filter(job__job__in=list(jobs)).values_list("job__job", flat=True))


def waivers_of(job: Job) -> dict[str, Waiver]:
    """What stands signed for on a job, by point; one statement."""
    standing = Waiver.objects.select_related("by").filter(job=job, back_at__isnull=True)
    return {waiver.point: waiver for waiver in standing}


def photos_of(job: Job, where: str | None = None) -> list[PhotoRow]:
    """The photos of a job, those of one position if it is named, without their content; one statement."""
    photos = Photo.objects.filter(job=job, gone_at__isnull=True).defer("content").select_related("by")
    if where is not None:
        photos = photos.filter(where=where)
    return [PhotoRow(one.pk, one.where, one.note, name_of(one.by), one.at, max(one.size // 1024, 1)) for one in photos]


def is_signed_for(job: Job) -> bool:
    """Whether somebody has to sign for the scope of a job; one statement."""
    return ScopeSection.objects.filter(pump=job.pump_id, folded=fold(job.scope), signed_for=True).exists()


def fluid_names() -> list[str]:
    """The fluids that the shop's table names; one statement."""
    names = {fold(fluid): fluid for fluid in FluidRule.objects.values_list("fluid", flat=True)}
    return [names[key] for key in sorted(names)]


def rules_of(fluid: str) -> dict[str, FluidRule]:
    """What the shop's table says of each compound in a fluid, by the compound folded; one statement."""
    if not fluid:
        return {}
    prefix = f"{fold(fluid)}\x1f"
    return {fold(rule.compound): rule for rule in FluidRule.objects.filter(folded__startswith=prefix)}


def known_compounds() -> frozenset[str]:
    """Every short sign that means a compound here, folded; one statement."""
    return COMPOUNDS | {fold(name) for name in FluidRule.objects.values_list("compound", flat=True)}


def compound_of(material: str, known: Iterable[str]) -> str:
    """The compound that a material is, in the material's own spelling; empty for metal and what else is no compound.

    ``FKM 75`` is FKM, and so are ``fkm`` and ``PTFE/FKM``.
    """
    if fold(material) in known:
        return material.strip()
    return next((word for word in re.split(r"[^\w-]+", material) if fold(word) in known), "")


def signs_known() -> list[str]:
    """The signs that the shop's table names; one statement."""
    return list({rule.folded.partition("\x1f")[0]: rule.seen for rule in SignRule.objects.all()}.values())


def suggestions(job: Job, signs: Sequence[str]) -> list[Suggestion]:
    """What the shop's table suggests for signs on the pump of a job: the scopes that its pump has; two statements.

    A row that names a section counts for a scope that opens it.
    """
    seen = {fold(sign) for sign in signs}
    if not seen:
        return []
    opened: dict[str, tuple[str, set[int]]] = {}
    for row in ScopeSection.objects.filter(pump=job.pump_id):
        opened.setdefault(row.folded, (row.scope, set()))[1].add(row.section_id)
    found: dict[str, list[SignRule]] = {}
    for rule in SignRule.objects.select_related("section"):
        sign, _, scope = rule.folded.partition("\x1f")
        if sign in seen and scope in opened and (rule.section_id is None or rule.section_id in opened[scope][1]):
            found.setdefault(scope, []).append(rule)
    return [_suggestion(job, opened[scope][0], rules) for scope, rules in found.items()]


def _suggestion(job: Job, scope: str, rules: Sequence[SignRule]) -> Suggestion:
    named: Mapping[str, None] = dict.fromkeys(rule.section.part_number for rule in rules if rule.section)
    return Suggestion(
        scope=scope,
        sections=", ".join(named),
        signs="; ".join(dict.fromkeys(rule.seen for rule in rules)),
        notes="; ".join(dict.fromkeys(rule.note for rule in rules if rule.note)),
        here=fold(scope) == fold(job.scope),
    )


def rule_choices() -> tuple[list[str], list[str]]:
    """The scopes and the sections that pumps have, to choose from; one statement."""
    rows = list(ScopeSection.objects.values_list("scope", "section__part_number").order_by("folded", "section__folded"))
    return list(dict.fromkeys(scope for scope, _ in rows)), sorted({section for _, section in rows})
