"""A plan on its way from one web process to another: everything that was worked out, without the lists.

The lists are most of a plan, and each process has read and compiled them already; where the plan points at them, the
parcel names them. What it holds besides is pickled, which only reads true what the seal of ``kits.catalog.caching.
shared`` vouches for.
"""

from __future__ import annotations

import copyreg
import gc
import io
import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields
from operator import attrgetter
from typing import Any

from bom.reading import Lists
from bom.values import Finding, Issue, Job, Lot, OrderLine, OtherNeed, Verdict

CATALOG, COMPILED = "catalog", "compiled"
Reduce = Callable[[Any], tuple[Any, ...] | str]


def _as_row(kind: type) -> Reduce:
    columns = attrgetter(*(column.name for column in fields(kind)))
    return lambda one: (kind, columns(one))


# What a shop has thousands of is called with its columns, which takes a third of the time that pickle takes by itself.
_ROWS: dict[type, Reduce] = {kind: _as_row(kind) for kind in (Lot, OrderLine, Job, OtherNeed, Issue, Verdict, Finding)}


def pack(value: object, lists: Lists) -> bytes:
    """Return a plan, or what was worked out from one, as bytes; ``lists`` are those it was made from."""
    file = io.BytesIO()
    pickler = pickle.Pickler(file, pickle.HIGHEST_PROTOCOL)
    named = {COMPILED: lists.compiled, CATALOG: lists.compiled.catalog}
    reduce: dict[type, Any] = {**copyreg.dispatch_table, **_ROWS}
    pickler.dispatch_table = reduce | {type(one): _by_name(one, name) for name, one in named.items()}
    with _nothing_collected():
        pickler.dump(value)
    return file.getvalue()


def unpack(content: bytes, lists: Lists) -> Any:
    """Return what was packed, standing on this process's own lists, which must be equal to those of the other one."""
    with _nothing_collected():
        return _Unpickler(io.BytesIO(content), lists).load()


def _by_name(one: object, name: str) -> Reduce:
    return lambda value: (_own, (name,)) if value is one else value.__reduce_ex__(pickle.HIGHEST_PROTOCOL)


def _own(name: str) -> object:
    raise LookupError(f"{name} is known to whoever unpacks a plan, and to nobody else.")


class _Unpickler(pickle.Unpickler):
    """Puts this process's own lists in the place of their names."""

    def __init__(self, file: io.BytesIO, lists: Lists) -> None:
        super().__init__(file)
        self._lists = {COMPILED: lists.compiled, CATALOG: lists.compiled.catalog}

    def find_class(self, module: str, name: str) -> Any:
        return self._lists.__getitem__ if name == _own.__name__ else super().find_class(module, name)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Look for no rubbish for so long: a hundred thousand new values are none, and looking takes most of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
