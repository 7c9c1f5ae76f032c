"""What people do with the schedule: say how far a pump has come, what was seen on it, what was found."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from kits.catalog.caching.revisions import mark_shop
from kits.catalog.folding import fold
from kits.catalog.models import FindingRule, ScopeSection
from kits.catalog.request_log import log_request
from kits.people.models import User
from kits.schedule.errors import ScheduleRefusal
from kits.schedule.looks import Look, store_looks
from kits.schedule.models import Finding, Job, JobStep
from kits.schedule.opening import LetPass, OpeningGate
from kits.schedule.stages import OPENED, SAID, TO_BUILD
from kits.schedule.strip_writings import TAKEN_BACK, last_writing
from kits.schedule.words import Stage
from kits.schedule.writes import store_step


def move_stage(*, job: Job, seen: str, stage: str, gate: OpeningGate, by: User, at: datetime, key: str) -> JobStep:
    """Say once that a pump is expected, here or stripped, if its job is still at the stage seen.

    A pump that was shut is stripped only if its gate lets it be opened.
    """
    if seen not in TO_BUILD or stage not in SAID or seen == stage:
        raise ScheduleRefusal(
            f"{job} goes from {seen} to {stage} by no step of its own: choose another of "
            f"{', '.join(one.label.lower() for one in SAID)}."
        )
    with transaction.atomic(durable=True):
        mark_shop()
        log_request(key)
        if (earlier := JobStep.objects.filter(key=key).first()) is not None:
            return earlier
        held = Job.objects.select_for_update(of=("self",)).select_related("pump").get(pk=job.pk)
        passed = gate(held) if stage in OPENED and seen not in OPENED else LetPass()
        return store_step(
            job, [seen], Stage(stage), by=by, at=at, key=key, says=passed.says, open_then=passed.open_then
        )


def write_strip_report(*, job: Job, looks: Sequence[Look], gate: OpeningGate, by: User, at: datetime, key: str) -> int:
    """Give verdicts on positions of a job, change or take them back, once per key; return how many changed.

    A pump on which somebody gives a verdict has been stripped, and its gate is asked whether it may be. Refused where
    somebody else wrote meanwhile.
    """
    for look in looks:
        if not look.says.verdict and (look.says.found or look.says.measured):
            raise ScheduleRefusal(f"What was found on {look.where} has no verdict: choose one, such as keep or renew.")
        if look.says.alone and not (look.says.verdict and look.says.found):
            raise ScheduleRefusal(
                f"{look.where} is taken out of its group, and nothing says why: give it a verdict, and write the "
                "reason under what was found."
            )
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        held = _to_be_built(job)
        changed = store_looks(held, looks, by, at)
        if changed and held.stage not in OPENED and any(look.says.verdict for look in looks):
            passed, step = gate(held), f"{key}:stripped"
            said = {"says": passed.says, "open_then": passed.open_then}
            store_step(held, [held.stage], Stage.STRIPPED, by=by, at=at, key=step, **said)
        return changed


def take_writing_back(*, job: Job, writing: int, by: User, at: datetime, key: str) -> int:
    """Put every position back to what it was before the last writing of the strip report; return how many changed.

    The stage goes back as well if it was this writing that opened the pump, and nothing followed.

    Refused where it is not the last one any more, or where a position says something else by now.
    """
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return 0
        held = _to_be_built(job)
        last = last_writing(held)
        if last is None or last.number != writing or last.was_taken_back:
            raise ScheduleRefusal(
                f"Something else was written on the strip report of {held} since: look at it, and change what is wrong."
            )
        changed = store_looks(held, last.taken_back(), by, at, why=TAKEN_BACK)
        _take_opening_back(held, last.at, by, at, key)
        return changed


def _take_opening_back(job: Job, written_at: datetime, by: User, at: datetime, key: str) -> None:
    """Bring a pump back to where it was before the first verdict opened it, if nothing followed that."""
    step = JobStep.objects.filter(job=job).first()
    opened = step is not None and step.after == job.stage == Stage.STRIPPED and step.before not in OPENED
    if step is None or not opened or step.at != written_at or not step.key.endswith(":stripped"):
        return
    if not (job.verdicts.exists() or job.findings.exists()):
        store_step(job, [Stage.STRIPPED], Stage(step.before), by=by, at=at, key=f"{key}:shut", says=TAKEN_BACK)


def _to_be_built(job: Job) -> Job:
    held = Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
    if held.stage not in TO_BUILD:
        raise ScheduleRefusal(
            f"{held} is {held.get_stage_display().lower()}, so its strip report stands: bring the job back to where "
            "it is built before a verdict is changed."
        )
    return held


def add_finding(*, job: Job, finding: str, section: str, found_on: date, note: str = "") -> Finding:
    """Name a finding on a job, in one section of its scope or (section empty) in all, and return it."""
    with transaction.atomic(durable=True):
        mark_shop()
        rules = FindingRule.objects.order_by("pk")
        rule = rules.filter(folded=fold(finding)).first()
        if rule is None:
            known = ", ".join(dict.fromkeys(rules.values_list("finding", flat=True))) or "none yet"
            raise ScheduleRefusal(
                f"Nothing says what the finding “{finding}” means; known are: {known}. Choose one, or add it to the "
                "sheet FindingRules."
            )
        opened = ScopeSection.objects.filter(pump=job.pump_id, folded=fold(job.scope)).select_related("section")
        item = next((row.section for row in opened if row.section.folded == fold(section)), None)
        if section and item is None:
            known = ", ".join(row.section.part_number for row in opened) or "none"
            raise ScheduleRefusal(f"{job} opens no section “{section}”; it opens: {known}.")
        if Finding.objects.filter(job=job, folded=rule.folded, section=item).exists():
            raise ScheduleRefusal(f"{job} has the finding “{rule.finding}” there already: nothing was added.")
        return Finding.objects.create(job=job, finding=rule.finding, section=item, found_on=found_on, note=note.strip())


def remove_finding(*, job: Job, finding: str, section: str, key: str = "") -> None:
    """Take a finding off a job; once is enough, so one that is gone already is no fault."""
    with transaction.atomic(durable=True):
        mark_shop()
        if not log_request(key):
            return
        named = Finding.objects.filter(job=job, folded=fold(finding))
        (named.filter(section__folded=fold(section)) if section else named.filter(section=None)).delete()
