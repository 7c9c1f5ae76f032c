"""The state of a job in the words of the shop: a shape, what it says, and what has to be known besides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from bom.reading import Asker, Reading
from kits.catalog.days.words import words_for_day
from kits.planning.queries import kept_beside
from kits.service.quoting.queries import agreed_jobs

NOT_HERE = "expected"
"""The stage of a pump that is still with the customer."""
OPENED_STAGES = frozenset({"stripped", "building"})


@dataclass(frozen=True, slots=True)
class State:
    """``mark`` is the shape (ready, waiting, late, short), ``says`` the words, ``besides`` a second, quieter line."""

    mark: str
    says: str
    besides: str = ""


def plural(count: int, word: str, many: str = "") -> str:
    """A count with its word: 1 job, 2 jobs."""
    return f"{count} {word if count == 1 else many or word + 's'}"


def in_words(names: Sequence[str], longest: int = 4) -> str:
    """A list of names as one reads it aloud: A, B and C; of a long list the first few and how many more."""
    shown = list(names[:longest]) + ([f"{len(names) - longest} more"] if len(names) > longest else [])
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}" if shown else ""


def job_state(reading: Reading, asker: Asker) -> State:
    """The state of one job in words; what is ready waits where the customer has not agreed to its quote."""
    if asker.status == "ready" and lacks_go_ahead(reading, asker):
        return State("waiting", "waiting for the customer's go-ahead")
    return state_of_job(
        status=asker.status,
        stage=asker.job.stage if asker.job else "",
        to_inspect=reading.to_inspect.get(asker, 0),
        parts_on=asker.parts_on,
        days_late=asker.days_late,
        order_by=asker.order_by,
        as_of=reading.plan.shop.as_of,
        orders_overdue=reading.overdue_orders.get(asker, ()),
    )


def lacks_go_ahead(reading: Reading, asker: Asker) -> bool:
    """Whether the shop asks for a go-ahead that a job does not have; read once for a plan."""
    agreed = kept_beside(reading.plan, "jobs agreed", agreed_jobs)
    return asker.job is not None and agreed is not None and asker.name not in agreed


def state_of_job(
    *,
    status: str,
    stage: str,
    to_inspect: int,
    parts_on: date | None,
    days_late: int | None,
    order_by: date | None,
    as_of: date,
    orders_overdue: Sequence[str],
) -> State:
    """What one job's row says. A job that is not stripped is never plainly "ready": nobody has looked inside yet."""
    comes = "comes" if len(orders_overdue) == 1 else "come"
    coming = f"if {in_words(orders_overdue)} {comes}" if orders_overdue else ""
    here = f"parts here on {words_for_day(parts_on, as_of)}" if parts_on else "and only" if coming else ""
    besides = f"{here} {coming}".strip()
    if status == "ready":
        return State("ready", ready_says(stage, to_inspect))
    if status == "waiting":
        return State("waiting", "waiting on a broken promise" if orders_overdue else "waiting", besides)
    if status == "late":
        return State("late", f"{plural(days_late or 0, 'working day')} late", besides)
    return State("short", f"short, {short_says(parts_on, days_late, order_by, as_of)}", besides)


def ready_says(stage: str, to_inspect: int) -> str:
    """Ready to be opened, or ready to be put together; a pump that has not come is neither."""
    if stage == NOT_HERE:
        return "parts ready, pump not here"
    if stage not in OPENED_STAGES and to_inspect:
        return "ready to strip"
    rest = f", {plural(to_inspect, 'position')} still to inspect" if to_inspect else ""
    return f"ready to build{rest}"


def short_says(parts_on: date | None, days_late: int | None, order_by: date | None, as_of: date) -> str:
    """Whether an order can still be in time, and until when."""
    if parts_on is None:
        return "no lead time known"
    if days_late:
        return f"{plural(days_late, 'working day')} late"
    if order_by is not None and order_by >= as_of:
        return f"in time if ordered {'today' if order_by == as_of else 'by ' + words_for_day(order_by, as_of)}"
    return "in time if ordered today"
