"""Jobs that a list makes another rebuild, or gives up, when parts lie ready for them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from kits.catalog.folding import fold
from kits.exchange.columns.work_layouts import SCHEDULE
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import CHANGED, RowChange, SheetChange
from kits.exchange.uploads.jobs.both_plans import PlanAfter
from kits.picking.models import PickLine
from kits.picking.words import LineState, RoundState
from kits.planning.lists.beyond_need import beyond_words
from kits.planning.words.states import in_words, plural
from kits.schedule.models import Job
from kits.schedule.words import Stage

TAKES = ("pump", "scope", "quantity", "option")
"""Columns of the schedule that decide which parts a job takes."""
MOST_NAMED = 6


def refuse_changes_on_rounds(sheets: Iterable[SheetChange], findings: Findings) -> None:
    """Refuse that a list makes a job another rebuild, or gives it up, while lines of a round are open for it."""
    rows = list(_changed_rows(sheets))
    jobs = Job.objects.filter(folded__in=[fold(row.key) for row, _ in rows]).values_list("folded", "pk") if rows else ()
    keys = dict(jobs)
    rounds = open_rounds(keys.values())
    for row, column in rows:
        for number, count in rounds.get(keys.get(fold(row.key), 0), {}).items():
            findings.refuse(
                SCHEDULE.name,
                row.row,
                column,
                next(change.after for change in row.changes if change.column == column),
                f"{row.key} still has {plural(count, 'line')} to pick on round {number}",
                "book them, or give the round up, before the job is changed",
            )


def remark_returns(sheets: Iterable[SheetChange], after: PlanAfter, findings: Findings) -> None:
    """Say what jobs that a list changed hold for nothing from now on: it stands on the return list."""
    rows = {fold(row.key): row for row, _ in _changed_rows(sheets)}
    holding = {issue.job for issue in after.shop.issues if fold(issue.job) in rows}
    if not holding or after.plan is None:
        return
    for job, says in beyond_words(after.plan, holding).items():
        held = in_words(says, longest=MOST_NAMED)
        reason = f"{job} holds {held} for nothing from then on: the storeroom finds that on the return list"
        findings.remark(SCHEDULE.name, "", reason, rows[fold(job)].row)


def _changed_rows(sheets: Iterable[SheetChange]) -> Iterator[tuple[RowChange, str]]:
    """Rows of the schedule that make a known job another rebuild or give it up, with the first column that does."""
    for row in (
        row for sheet in sheets if sheet.sheet == SCHEDULE.name for row in sheet.rows if row.outcome == CHANGED
    ):
        for change in row.changes:
            if change.column in TAKES or (change.column, change.after) == ("stage", Stage.CANCELLED.value):
                yield row, change.column
                break


def open_rounds(jobs: Iterable[int]) -> Mapping[int, Mapping[int, int]]:
    """By job, how many lines are still to be picked on each running round; one statement."""
    wanted: Sequence[int] = list(jobs)
    lines = PickLine.objects.filter(
        state=LineState.OPEN, pick_round__state=RoundState.RUNNING, shares__bag__job__in=wanted
    ).order_by("pick_round_id", "pk")
    found: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    rows = lines.values_list("shares__bag__job", "pick_round", "pk").distinct()
    for job, number, _ in rows if wanted else ():
        found[job][number] += 1
    return found
