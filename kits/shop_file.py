"""The file in which a shop keeps what its site is told: ``shop.env`` beside ``manage.py``, or what SHOP_FILE names.

One ``NAME=value`` a line, as services and containers read it too. Only its owner may read it, for it holds the signing
key and the password of the database. What the environment says goes before it.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TOP = Path(__file__).resolve().parent.parent
NAMED_BY = "SHOP_FILE"
HEAD = (
    "# What the site of this shop is told. Only its owner may read this file: it holds the signing key.",
    "# Made by manage.py start; edit it, and start the site again.",
)


def shop_file() -> Path | None:
    """Return where the file is, or would be; None where SHOP_FILE is set to nothing, as the tests do."""
    named = os.environ.get(NAMED_BY)
    if named is None:
        return TOP / "shop.env"
    return Path(named) if named.strip() else None


def read_shop_file() -> dict[str, str]:
    """Return what the file says; nothing where there is none."""
    path = shop_file()
    if path is None or not path.is_file():
        return {}
    keep_to_owner(path)
    said: dict[str, str] = {}
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise ImproperlyConfigured(f"{path} cannot be read ({error.strerror}): run as its owner.") from error
    for number, line in enumerate(lines, 1):
        text = line.strip()
        if not text or text.startswith("#"):
            continue
        name, sign, value = text.partition("=")
        if not sign or not name.strip().isidentifier():
            raise ImproperlyConfigured(f"{path}, line {number}: write NAME=value, or begin the line with #.")
        said[name.strip()] = unquoted(value.strip())
    return said


def take_from_shop_file() -> None:
    """Put what the file says into the environment, wherever that says nothing."""
    for name, value in read_shop_file().items():
        os.environ.setdefault(name, value)


def write_shop_file(path: Path, said: Mapping[str, str]) -> None:
    """Write the file anew as a whole, for its owner alone."""
    for name, value in said.items():
        if any(sign in value for sign in "\n\r\"'") or value != value.strip():
            raise ImproperlyConfigured(f"{name} holds quotes, a line end or a space at its end: write it without.")
    text = "\n".join((*HEAD, *(f"{name}={value}" for name, value in said.items() if value))) + "\n"
    handle, made = tempfile.mkstemp(dir=path.parent, prefix=".shop-")  # readable by its owner from the first byte
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(made, path)
    except OSError:
        with contextlib.suppress(OSError):
            os.unlink(made)
        raise


def keep_to_owner(path: Path) -> None:
    """Keep a file that others could read from them."""
    with contextlib.suppress(OSError):
        if path.stat().st_mode & 0o077:
            path.chmod(0o600)


def unquoted(value: str) -> str:
    """A value without the quotes that others may have written around it."""
    return value[1:-1] if len(value) > 1 and value[0] == value[-1] and value[0] in "\"'" else value
