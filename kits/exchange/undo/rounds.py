"""Jobs that become another rebuild when an upload is taken back, while parts are picked for them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kits.catalog.errors import Refusal
from kits.exchange.undo.kept_rows import KeptTable
from kits.exchange.uploads.jobs.changed_jobs import TAKES, open_rounds
from kits.planning.words.states import plural
from kits.schedule.models import Job


def refuse_undo_on_rounds(tables: Iterable[KeptTable]) -> None:
    """Refuse that taking an upload back makes a job another rebuild while lines of a round are open for it."""
    touched = [key for table in tables if table.model is Job for key in _recast(table)]
    for job, rounds in open_rounds(touched).items():
        number, count = next(iter(rounds.items()))
        raise Refusal(
            f"{Job.objects.get(pk=job)} still has {plural(count, 'line')} to pick on round {number}, so nothing was "
            "taken back: book them, or give the round up, first."
        )


def _recast(table: KeptTable) -> Iterator[int]:
    places = [table.columns.index({"pump": "pump_id"}.get(name, name)) for name in TAKES]
    for row in table.rows:
        if row.before and row.after and any(row.before[place] != row.after[place] for place in places):
            yield row.key
