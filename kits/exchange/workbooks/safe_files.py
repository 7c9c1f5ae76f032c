"""Files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from django.core.management.base import CommandError


def write_file(path: Path, content: bytes) -> None:
    """Write a file beside its place and move it there, so that nobody ever opens half of it.

    Only its owner can read it: it may hold what certificates, customers and prices there are.
    """
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            os.replace(name, path)
        except OSError:
            os.unlink(name)
            raise
    except OSError as error:
        raise CommandError(
            f"{path} cannot be written ({error.strerror}): close it where it is open, or name another."
        ) from error
