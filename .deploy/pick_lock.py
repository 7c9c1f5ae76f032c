"""Writes out of a lock file the entries of some libraries, with their hashes: ``pick_lock.py FILE NAME ...``."""

import re
import sys
from pathlib import Path


def pick(text: str, names: set[str]) -> str:
    """The entries of these names, in the order of the file."""
    entries = re.findall(r"^[A-Za-z0-9][^\n]*(?:\n[ \t][^\n]*)*", text, re.M)
    return "\n".join(entry for entry in entries if re.split(r"[\s\[=;]", entry, maxsplit=1)[0] in names) + "\n"


if __name__ == "__main__":
    sys.stdout.write(pick(Path(sys.argv[1]).read_text(encoding="utf-8"), set(sys.argv[2:])))
