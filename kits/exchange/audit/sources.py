"""The tables that keep who did what, and how a row of each is told."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import cache
from typing import Any

from axes.models import AccessFailureLog, AccessLog
from django.apps import apps
from django.db.models import Model, Q
from django.utils.text import capfirst

from kits.catalog.days.words import in_full
from kits.catalog.history.versions import keeps_versions, versions_of
from kits.exchange.audit.events import ChangeSource, Told
from kits.exchange.audit.past_versions import tell_versions
from kits.exchange.models import Upload
from kits.people.models import PeopleChange
from kits.purchasing.models import PromiseChange
from kits.schedule.models import JobChange, JobStep
from kits.service.models import GoAhead, Photo, PumpTest, Quote, Waiver
from kits.stock.lists.movements import reason_says
from kits.stock.lists.words import KIND_SAYS
from kits.stock.models import Certificate, Movement, Posting
from kits.stock.suspect_models import Concession, Suspicion
from kits.stock.words import PostingKind


@cache
def all_sources() -> dict[str, ChangeSource]:
    """Every source by its name: storeroom, jobs, tables that are edited by hand, uploads, people, sign-ins."""
    found = (*_jobs_and_stock(), *_written_once(), *_uploads(), *_by_hand(), *_people())
    return {source.name: source for source in found}


def _jobs_and_stock() -> tuple[ChangeSource, ...]:
    return (
        ChangeSource("movements", "Movements", Posting, _tell_postings),
        ChangeSource("jobs", "Jobs changed", JobChange, _tell_job_changes),
        ChangeSource("stages", "Stages of jobs", JobStep, _tell_steps),
        ChangeSource("promises", "Promises", PromiseChange, _tell_promises),
    )


def _written_once() -> tuple[ChangeSource, ...]:
    models: dict[type[Model], str] = {
        Suspicion: "Suspicions",
        Concession: "Concessions",
        Waiver: "Points signed for",
        Certificate: "Certificates",
        Photo: "Photos",
        Quote: "Quotes",
        GoAhead: "Go-aheads",
        PumpTest: "Tests",
    }
    return tuple(
        ChangeSource(model._meta.model_name or "", says, model, _TellWrittenOnce(model))
        for model, says in models.items()
    )


def _uploads() -> tuple[ChangeSource, ...]:
    steps = (("brought in", "by", "at"), ("loaded", "loaded_by", "loaded_at"), ("taken back", "undone_by", "undone_at"))
    return tuple(
        ChangeSource(
            f"upload-{by.removesuffix('by').strip('_') or 'new'}",
            f"Lists {done}",
            Upload,
            _TellUploads(done),
            at=at,
            by=by,
            found=Q(**{f"{at}__isnull": False}),
        )
        for done, by, at in steps
    )


def _by_hand() -> tuple[ChangeSource, ...]:
    """Tables edited in the back office; what it only found, changed by a list or a page, is told there."""
    return tuple(
        ChangeSource(
            f"{model._meta.label_lower}",
            f"{_plural(model)}, by hand",
            versions_of(model).model,
            _TellVersions(model),
            at="history_date",
            by="history_user",
            found=Q(elsewhere=False),
        )
        for model in apps.get_models()
        if keeps_versions(model)
    )


def _people() -> tuple[ChangeSource, ...]:
    name, at = "username", "attempt_time"
    signed_out = Q(logout_time__isnull=False)
    people: dict[str, Any] = {"of_people": True}
    named: dict[str, Any] = {**people, "by": name, "by_name": True}
    return (
        ChangeSource("people", "People and roles", PeopleChange, _tell_people, **people),
        ChangeSource("sign-ins", "Sign-ins", AccessLog, _TellSignIns(AccessLog, "signed in"), at=at, **named),
        ChangeSource(
            *("sign-outs", "Sign-outs", AccessLog, _TellSignIns(AccessLog, "signed out")),
            at="logout_time",
            found=signed_out,
            **named,
        ),
        ChangeSource(
            *("failed", "Failed sign-ins", AccessFailureLog, _TellSignIns(AccessFailureLog, "failed to sign in")),
            at=at,
            **named,
        ),
    )


class _TellVersions:
    def __init__(self, model: type[Model]) -> None:
        self._model = model

    def __call__(self, numbers: Iterable[int]) -> dict[int, Told]:
        return tell_versions(self._model, numbers)


class _TellWrittenOnce:
    def __init__(self, model: type[Model]) -> None:
        self._model = model

    def __call__(self, numbers: Iterable[int]) -> dict[int, Told]:
        names = {field.name for field in self._model._meta.concrete_fields}
        near = [name for name in ("job", "lot", "suspicion", "quote") if name in names]
        big = ["content"] if "content" in names else []
        rows = self._model._base_manager.select_related(*near).defer(*big).in_bulk(list(numbers))
        return {
            number: Told("written", str(row), why=_first(row, "why", "reason", "note")) for number, row in rows.items()
        }


class _TellUploads:
    def __init__(self, done: str) -> None:
        self._done = done

    def __call__(self, numbers: Iterable[int]) -> dict[int, Told]:
        rows = Upload.objects.prefetch_related("files").defer("outcome", "typed").in_bulk(list(numbers))
        return {
            number: Told(
                self._done,
                ", ".join(file.name for file in row.files.all()) or f"upload {number}",
                after=row.result if self._done == "loaded" else "",
                why=row.why or row.meant_because,
                where={"upload": number},
            )
            for number, row in rows.items()
        }


class _TellSignIns:
    def __init__(self, model: type[Model], done: str) -> None:
        self._model, self._done = model, done

    def __call__(self, numbers: Iterable[int]) -> dict[int, Told]:
        rows: dict[int, Any] = self._model._base_manager.in_bulk(list(numbers))
        return {
            number: Told(self._done, row.username or "", after=f"from {row.ip_address}" if row.ip_address else "")
            for number, row in rows.items()
        }


def _tell_postings(numbers: Iterable[int]) -> dict[int, Told]:
    postings = Posting.objects.in_bulk(list(numbers))
    moved: dict[int, list[Movement]] = {}
    rows = Movement.objects.filter(posting__in=postings).select_related("balance__lot__item").order_by("pk")
    for movement in rows:
        moved.setdefault(movement.posting_id, []).append(movement)
    return {number: _tell_posting(posting, moved.get(number, [])) for number, posting in postings.items()}


def _tell_posting(posting: Posting, movements: list[Movement]) -> Told:
    lots = list(dict.fromkeys(movement.balance.lot for movement in movements))
    named = ", ".join(f"{lot.item.part_number} lot {lot.lot}" for lot in lots[:3])
    more = f" and {len(lots) - 3} more" if len(lots) > 3 else ""
    where: dict[str, Any] = {"kind": posting.kind, "at": posting.at}  # where it moved several lots
    if len(lots) == 1:
        where = {"part": lots[0].item.part_number, "lot": lots[0].lot}
    done = KIND_SAYS[PostingKind(posting.kind)]
    return Told(done, f"{named}{more}" or f"posting {posting.pk}", why=reason_says(posting), where=where)


def _tell_job_changes(numbers: Iterable[int]) -> dict[int, Told]:
    pairs = [
        (field.name.removesuffix("_before"), str(field.verbose_name).removesuffix(" before"))
        for field in JobChange._meta.concrete_fields
        if field.name.endswith("_before")
    ]
    told = {}
    for number, row in JobChange.objects.select_related("job").in_bulk(list(numbers)).items():
        changed = [(says, getattr(row, f"{name}_before"), getattr(row, name)) for name, says in pairs]
        changed = [(says, was, now) for says, was, now in changed if was != now]
        before = "; ".join(f"{says}: {_text(was)}" for says, was, _ in changed)
        after = "; ".join(f"{says}: {_text(now)}" for says, _, now in changed)
        told[number] = Told("changed", row.job.job, before, after, row.why, {"job": row.job.job})
    return told


def _tell_steps(numbers: Iterable[int]) -> dict[int, Told]:
    rows = JobStep.objects.select_related("job").in_bulk(list(numbers))
    return {
        number: Told(
            "moved on or back",
            row.job.job,
            row.before,
            row.after,
            row.says,
            {"job": row.job.job},
        )
        for number, row in rows.items()
    }


def _tell_promises(numbers: Iterable[int]) -> dict[int, Told]:
    rows = PromiseChange.objects.select_related("order_line").in_bulk(list(numbers))
    return {
        number: Told("moved", str(row.order_line), in_full(row.was_on), in_full(row.promised_on), row.reason)
        for number, row in rows.items()
    }


def _tell_people(numbers: Iterable[int]) -> dict[int, Told]:
    told = {}
    for number, row in PeopleChange.objects.in_bulk(list(numbers)).items():
        before = "; ".join(f"{change['what']}: {change['before']}" for change in row.changes if change["before"])
        after = "; ".join(f"{change['what']}: {change['after']}" for change in row.changes if change["after"])
        told[number] = Told("changed", row.named, before, after, row.why)
    return told


def _first(row: Any, *names: str) -> str:
    return next((str(value) for name in names if (value := getattr(row, name, ""))), "")


def _text(value: Any) -> str:
    if value in ("", None):
        return "nothing"
    return in_full(value) if isinstance(value, date) else str(value)


def _plural(model: type[Model]) -> str:
    return str(capfirst(str(model._meta.verbose_name_plural)))
