"""One attempt at loading: what was read, and what came of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bom.errors import Fault
from bom.plan import Plan
from kits.exchange.problems.findings import Findings
from kits.exchange.problems.row_changes import SheetChange
from kits.exchange.records.records import SheetRecord
from kits.exchange.uploads.preparing import Prepared
from kits.planning.questions.trial import TrialSheet


@dataclass(slots=True)
class LoadAttempt:
    """What was read, and what came of storing it; ``faults`` of the shop's lists kept it from being stored.

    ``overtaken``: it would change something else by now than was shown, and so it was not stored either.
    """

    prepared: Prepared
    replaced: frozenset[str]
    touched: frozenset[str]
    found: Findings
    sheets: tuple[SheetChange, ...] = ()
    faults: tuple[Fault, ...] = ()
    stored: bool = False
    before: Plan | None = None
    both_plans: TrialSheet | None = None
    overtaken: bool = False


def let_go(records: list[SheetRecord]) -> Iterator[SheetRecord]:
    """The records one after the other, each held by nobody else from then on."""
    records.reverse()
    while records:
        yield records.pop()
