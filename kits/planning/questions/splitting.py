"""What it does to everybody when a job of several pumps becomes one job for each, and what stands in the way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from bom.plan import Plan, plan
from bom.values import Job, Shop
from kits.planning.questions.trial import TrialSheet, goes_back, side_by_side
from kits.planning.words.states import in_words
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.splitting import on_its_own, pump_at


def try_split(before: Plan, jobs: Sequence[Job]) -> TrialSheet:
    """Both plans side by side, the first of the jobs in the place of the one that is split; seven statements."""
    after = plan(shop_with(before.shop, jobs), after=before)
    return replace(side_by_side(before, after), goes_back=tuple(goes_back(before, after, jobs[0].job)))


def shop_with(shop: Shop, jobs: Sequence[Job]) -> Shop:
    """The shop with these jobs, each with the verdicts on its pump and with every finding."""
    first, *others = jobs
    verdicts = (
        replace(row, job=jobs[pump_at(row.where) - 1].job, where=on_its_own(row.where))
        if row.job == first.job and pump_at(row.where) > 1
        else row
        for row in shop.verdicts
    )
    found = [row for row in shop.findings if row.job == first.job]
    return replace(
        shop,
        jobs=(*(first if job.job == first.job else job for job in shop.jobs), *others),
        verdicts=tuple(verdicts),
        findings=(*shop.findings, *(replace(row, job=job.job) for job in others for row in found)),
    )


def refuse_lost_verdicts(shop: Shop, job: Job) -> None:
    """Refuse a split that would leave a verdict with no pump of its own."""
    homeless = list(_homeless(shop, job))
    if homeless:
        raise ScheduleRefusal(
            f"The strip report of {job.job} does not say which pump {in_words(homeless)} is of: write pump 1, pump 2 "
            "and so on before the place, or take that verdict back, then split the job."
        )


def _homeless(shop: Shop, job: Job) -> Iterator[str]:
    for row in shop.verdicts:
        if row.job == job.job and not 1 <= pump_at(row.where) <= job.quantity:
            yield f"“{row.where}”"


def refuse_lost_pieces(job: Job, sheet: TrialSheet) -> None:
    """Refuse a split after which the first pump would hold pieces of the others."""
    if sheet.goes_back:
        raise ScheduleRefusal(
            f"{job.job} holds more than its first pump needs: {in_words(sheet.goes_back)}. Bring that back to the "
            "shelf first, so that each new job is given its own: what is set aside is freed, what lies in the bag "
            "comes back from the bench."
        )
