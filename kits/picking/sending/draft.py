"""What would be set aside for some jobs: the lots that the plan gives them, and on request those it gives to others."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from bom.plan import Plan, plan
from bom.questions.set_aside import take_from_others
from bom.reading import Reading
from bom.values import Issue, Lot
from kits.catalog.amounts import Amount
from kits.picking.errors import PickRefusal
from kits.picking.rounds.to_pick import Lack, to_pick
from kits.picking.words import NoteKind
from kits.planning.queries import reading_of
from kits.planning.questions.trial import TrialSheet, side_by_side
from kits.planning.words.item_names import item_names
from kits.planning.words.states import in_words
from kits.schedule.models import Job

MOST_AT_ONCE = 500
"""More jobs are not sent in one step: a full shop has some 400, and all others wait while what they take is stored."""


@dataclass(frozen=True, slots=True)
class SetAsideLine:
    """Millionths of one row of the shelf for one job; ``holders`` are those to whom the plan gives pieces of it."""

    job: str
    lot: Lot
    quantity: int
    from_others: bool = False
    holders: tuple[str, ...] = ()

    @property
    def shows(self) -> str:
        """The line as a page shows it."""
        return f"{self.job} {self.lot.part_number} {self.lot.lot} {self.lot.place} {self.quantity}"


@dataclass(frozen=True, slots=True)
class SendingDraft:
    """What is set aside for jobs, what they ask for in all (millionths by job and part), and what is not here."""

    jobs: tuple[Job, ...]
    lines: tuple[SetAsideLine, ...]
    asked: Mapping[str, Mapping[str, int]]
    lacks: tuple[Lack, ...]

    @property
    def shows(self) -> tuple[str, ...]:
        """What the page shows, in its order."""
        return (*(f"{job.job} {job.build_on}" for job in self.jobs), *(line.shows for line in self.lines))


def draft_sending(of: Plan, jobs: Sequence[Job], *, from_others: bool) -> SendingDraft:
    """Work out what is set aside for jobs that ask for parts and have not been sent."""
    if len(jobs) > MOST_AT_ONCE:
        raise PickRefusal(
            f"{len(jobs)} jobs are more than the {MOST_AT_ONCE} that can be set aside in one step: tick those built "
            "soonest in the list of jobs and send them, then the others."
        )
    reading = reading_of(of)
    ordered = tuple(sorted(jobs, key=lambda job: (job.build_on, job.priority, job.job)))
    for job in ordered:
        if job.job not in reading.jobs:
            raise PickRefusal(f"{job} asks for no parts, so nothing can be set aside for it.")
    askers = [reading.jobs[job.job] for job in ordered]
    gives, lacks = to_pick(reading, askers)
    lines = [SetAsideLine(give.job, give.lot, give.quantity) for give in gives if not give.set_aside]
    if from_others:
        taken = take_from_others(of, [job.job for job in ordered])
        lines += [SetAsideLine(one.job, one.lot, one.quantity, True, one.holders) for one in taken]
    return SendingDraft(
        jobs=ordered,
        lines=tuple(_together(lines)),
        asked={asker.name: asked_in_all(reading, asker.name) for asker in askers},
        lacks=tuple(lack for lack in lacks if lack.kind != NoteKind.IN_BAG),
    )


def _together(lines: Iterable[SetAsideLine]) -> Iterable[SetAsideLine]:
    """Lines of one job, lot and place as one."""
    found: dict[tuple[str, str, str, str, bool], SetAsideLine] = {}
    for line in lines:
        key = (line.job, line.lot.part_number, line.lot.lot, line.lot.place, line.from_others)
        more = found[key].quantity if key in found else 0
        found[key] = replace(line, quantity=line.quantity + more)
    return found.values()


def asked_in_all(reading: Reading, job: str) -> dict[str, int]:
    """What a job is sure to ask for, with what was issued to it already; millionths by part."""
    found: dict[str, int] = defaultdict(int)
    for piece in reading.pieces_of(reading.jobs[job]):
        found[piece.part_number] += piece.quantity
    for issue in reading.plan.shop.issues:
        if issue.job == job and issue.state in ("issued", "returned"):
            found[issue.part_number] += issue.quantity if issue.state == "issued" else -issue.quantity
    return {part: quantity for part, quantity in found.items() if quantity}


def try_setting_aside(before: Plan, draft: SendingDraft) -> TrialSheet:
    """Both plans side by side, the second with these lots set aside; one statement."""
    issues = (
        Issue(line.job, line.lot.part_number, line.lot.lot, line.quantity, "reserved", line.lot.place)
        for line in draft.lines
    )
    shop = replace(before.shop, issues=(*before.shop.issues, *issues))
    return side_by_side(before, plan(shop, reading_of(before).lists.compiled))


@dataclass(frozen=True, slots=True)
class SetAsideRow:
    """One line as the page shows it."""

    job: str
    part_number: str
    what: str
    leads_to: str
    amount: Amount
    lot: str
    place: str
    from_others: bool
    from_whom: str


def set_aside_rows(draft: SendingDraft) -> list[SetAsideRow]:
    """The lines in words; one statement."""
    names = item_names({line.lot.part_number for line in draft.lines})
    return [
        SetAsideRow(
            job=line.job,
            part_number=line.lot.part_number,
            what=names[line.lot.part_number].what,
            leads_to=names[line.lot.part_number].leads_to,
            amount=names[line.lot.part_number].amount(line.quantity),
            lot=line.lot.lot,
            place=line.lot.place,
            from_others=line.from_others,
            from_whom=from_whom(line),
        )
        for line in draft.lines
    ]


def from_whom(line: SetAsideLine) -> str:
    """Whom a line takes from, in words."""
    if not line.from_others:
        return "what the plan gives it"
    return f"the plan gives this lot to {in_words(line.holders)}" if line.holders else "free, or kept for wear"


def lack_rows(draft: SendingDraft, still: Collection[NoteKind]) -> list[tuple[str, str, Amount, str]]:
    """What is not set aside: job, part, amount and why; one statement."""
    wanted = [lack for lack in draft.lacks if lack.kind in still]
    names = item_names({lack.part_number for lack in wanted})
    return [
        (lack.job, lack.part_number, names[lack.part_number].amount(lack.quantity), NoteKind(lack.kind).label)
        for lack in wanted
    ]
