"""A plan on its way from one web process to another: everything that was worked out, without the lists.

The lists are most of a plan, and each process has read and compiled them already; where the plan points at them, the
parcel names them. What it holds besides is pickled, which only reads true what the seal of ``kits.catalog.caching.
shared`` vouches for.
"""

from __future__ import annotations

import gc
import io
import pickle
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from bom.reading import Lists

CATALOG, COMPILED = "catalog", "compiled"


class _Pickler(pickle.Pickler):
    def __init__(self, file: io.BytesIO, lists: Lists) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        self._names = {id(lists.compiled): COMPILED, id(lists.compiled.catalog): CATALOG}

    def persistent_id(self, value: object) -> str | None:
        return self._names.get(id(value))


class _Unpickler(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, lists: Lists) -> None:
        super().__init__(file)
        self._lists = {COMPILED: lists.compiled, CATALOG: lists.compiled.catalog}

    def persistent_load(self, name: str) -> object:
        return self._lists[name]


def pack(value: object, lists: Lists) -> bytes:
    """Return a plan, or what was worked out from one, as bytes; ``lists`` are those it was made from."""
    file = io.BytesIO()
    _Pickler(file, lists).dump(value)
    return file.getvalue()


def unpack(content: bytes, lists: Lists) -> Any:
    """Return what was packed, standing on this process's own lists, which must be equal to those of the other one."""
    with _nothing_collected():
        return _Unpickler(io.BytesIO(content), lists).load()


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
