"""The whole interface, version 1: what it offers, who may come in, and how it is described (OpenAPI 3.1)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern, URLResolver, get_script_prefix
from ninja import NinjaAPI, Router

from kits.api.door import BySession, ByToken, EachMinute
from kits.api.problems import KIND, NOWHERE, problem, say_problems
from kits.api.reading import changes, lists, plan
from kits.api.writing import bookings, uploads

METHODS = ["GET", "POST", "PUT", "PATCH", "DELETE"]
TELLS = (
    "Lists, plan and movements of the shop, and what changed since. Each call is made in the name of one person, by a "
    "token of theirs, and may do what both of them may."
)


class Interface(NinjaAPI):
    """The interface, whose description names refusals as what they are."""

    def get_openapi_schema(self, **facts: Any) -> Any:
        """The description; refusals are problems (RFC 9457)."""
        description = super().get_openapi_schema(**facts)
        for operations in description["paths"].values():
            for operation in operations.values():
                for status, answer in operation["responses"].items():
                    if int(status) >= 400 and "content" in answer:
                        answer["content"] = {KIND: next(iter(answer["content"].values()))}
        return description


api = Interface(
    title="Rebuild Bench",
    version="1",
    description=TELLS,
    docs_url=None,
    openapi_url=None,
    urls_namespace="interface",
    auth=[ByToken(), BySession()],
    throttle=[EachMinute()],
)
say_problems(api)
elsewhere = Router()
for _router in (lists.router, uploads.router, plan.router, changes.router, bookings.router, elsewhere):
    api.add_router("", _router)


@cache
def described(prefix: str) -> Any:
    """The description, worked out once: it tells of the program alone, and of where the site begins."""
    return api.get_openapi_schema()


@api.get("/openapi.json", include_in_schema=False)
def describe(request: HttpRequest) -> Any:
    """The description of every operation, for programs."""
    return described(get_script_prefix())


@elsewhere.api_operation(METHODS, "/{path:rest}", include_in_schema=False)
def refuse_elsewhere(request: HttpRequest, rest: str) -> HttpResponse:
    """Nothing is at any other address."""
    return problem(request, 404, NOWHERE)


@dataclass(frozen=True, slots=True)
class ToldOperation:
    """One operation as people read it: what it takes in its address and headers, and what in its body."""

    method: str
    path: str
    says: str
    takes: tuple[tuple[str, str], ...]
    body: tuple[tuple[str, str], ...]


@cache
def told_operations() -> list[tuple[str, list[ToldOperation]]]:
    """Every operation by its chapter, as the description has it."""
    description = described(get_script_prefix())
    chapters: dict[str, list[ToldOperation]] = {}
    for path, operations in description["paths"].items():
        for method, one in operations.items():
            takes = tuple((said["name"], said.get("description", "")) for said in one["parameters"])
            told = ToldOperation(method.upper(), path, one["description"], takes, _body_of(one, description))
            chapters.setdefault(one["tags"][0], []).append(told)
    return list(chapters.items())


def _body_of(operation: dict[str, Any], description: Any) -> tuple[tuple[str, str], ...]:
    """The fields of a body; those that it needs are said to be needed."""
    content = operation.get("requestBody", {}).get("content", {})
    found: list[tuple[str, str]] = []
    for kind in content.values():
        name = kind["schema"].get("$ref", "").rpartition("/")[2]
        shape = description["components"]["schemas"].get(name, kind["schema"])
        for field, facts in shape.get("properties", {}).items():
            words = ", ".join(map(str, facts.get("enum", ())))
            found.append((field, words or ("needed" if field in shape.get("required", ()) else "")))
    return tuple(found)


def addresses() -> list[URLPattern | URLResolver]:
    """The addresses of the interface: it asks by itself who comes, and shows nothing of the house."""
    found = api.urls[0]
    for pattern in found:
        if isinstance(pattern, URLPattern):
            view: Any = _say_other_ways(pattern.callback)
            view.login_required, view.knows_no_house = False, True
            pattern.callback = view
    return found


def _say_other_ways(view: Callable[..., Any]) -> Callable[..., Any]:
    """A view whose refusal of another method is a problem as well."""

    @wraps(view)
    def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        found = view(request, *args, **kwargs)
        if found.status_code != 405:
            return found
        allowed = found.headers["Allow"]
        said = problem(request, 405, f"This address is asked by {allowed}, not by {request.method}.")
        said.headers["Allow"] = allowed
        return said

    return answer
