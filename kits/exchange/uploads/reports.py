"""What came of a check or a load, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator

from kits.exchange.problems.row_changes import CHANGED
from kits.exchange.uploads.outcome import Outcome
from kits.planning.words.states import in_words

_MOST_SAID = 20


def problem_lines(outcome: Outcome) -> Iterator[str]:
    """Every problem, one a line, and how many there are."""
    for problem in outcome.problems:
        yield problem.says
    count = len(outcome.problems)
    yield f"{count} problem{'s' if count != 1 else ''}: nothing was stored."


def outcome_lines(outcome: Outcome, *, kept: bool) -> Iterator[str]:
    """Remarks, what is asked, then the counts of each sheet with every changed column before and after."""
    for remark in outcome.remarks:
        yield f"Remark: {remark.says}"
    for question in outcome.questions:
        yield f"Asked: {question.says}"
    for sheet in outcome.sheets:
        yield sheet.says
        for row in sheet.rows:
            if row.outcome == CHANGED:
                changes = "; ".join(
                    f"{one.column} {one.before or 'blank'} -> {one.after or 'blank'}" for one in row.changes
                )
                yield f"  row {row.row}, {row.key}: {changes}"
        for removed in sheet.removed:
            yield f"  removed {removed}"
    for idle in outcome.never_asked[:_MOST_SAID]:
        yield f"Never asked for: {in_words(idle.names)}, {idle.why}: {idle.remedy}."
    if len(outcome.never_asked) > _MOST_SAID:
        more = len(outcome.never_asked) - _MOST_SAID
        yield f"Never asked for besides: {more} more; the sheet of each pump lists its own."
    if not outcome.changes_something:
        yield "Nothing differs from what is stored."
    elif kept:
        yield "Stored."
    else:
        yield "Only checked: nothing was stored."
