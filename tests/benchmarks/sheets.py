"""How fast a large workbook is read, checked and previewed, against the plain read of the same cells.

    python -m tests.benchmarks.sheets                    100 000 items and 100 000 structure lines
    python -m tests.benchmarks.sheets --rows 10000       fewer of each
    python -m tests.benchmarks.sheets --profile          where the time of the preview goes

The peer is openpyxl's read-only mode with values only, each cell looked at once: streamed, and a second time with the
rows kept. Both forms of file are measured: with the texts in their cells, as the library writes them, and in a table
that cells share, as spreadsheet programs do. Every step runs in a process of its own, the writing of the file and the
making of the tables too, so that its peak memory is its own; the database is a new file in memory-backed storage if
there is one. Times are of the processor, for other work stretches the clock.
"""

import argparse
import cProfile
import io
import json
import os
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from openpyxl import Workbook, load_workbook

from tests.shared_texts import share_texts

AIM = 3
ITEM_HEADINGS = (
    "part_number", "description", "kind", "stock_unit", "material", "hardness", "size", "shelf_life_years", "source",
    "lead_time", "safety_stock", "unit_cost", "home_place", "notes",
)  # fmt: skip
LINE_HEADINGS = ("parent", "child", "quantity", "at_rebuild", "renewals_per_100", "wetted", "position", "order")
FORMS = {"cells": "texts in their cells", "shared": "texts in a table that cells share"}
SAYS = {
    "plain": "plain read, each row let go",
    "plain_kept": "plain read, rows kept",
    "start": "the program itself, nothing read",
    "preview": "read, check and preview",
    "load": "read, check, store, kept to be undone",
    "again": "preview of the same file, all stored",
    "undo": "taking it back",
}


def write_books(folder, rows):
    """An invented workbook in both forms: pumps of assemblies, assemblies of parts, as many items as lines."""
    book = Workbook(write_only=True)
    items, lines = book.create_sheet("Items"), book.create_sheet("Structure")
    items.append(ITEM_HEADINGS)
    lines.append(LINE_HEADINGS)
    for number in range(rows):
        items.append(_item(number))
    for number in range(rows):
        lines.append(_line(number, rows))
    out = io.BytesIO()
    book.save(out)
    (folder / "cells.xlsx").write_bytes(out.getvalue())
    (folder / "shared.xlsx").write_bytes(share_texts(out.getvalue()))


def _number(number):
    kind = ("PU", "AS", "OR", "BA")[0 if number % 200 == 0 else 1 if number % 10 == 0 else 2 + number % 2]
    return f"{kind}-{number:06d}"


def _item(number):
    name = _number(number)
    kind = {"PU": "pump", "AS": "assembly"}.get(name[:2], "part")
    ring = name.startswith("OR")
    material, hardness, life = ("NBR", "70 A", 15) if ring else (None, None, None)
    size = f"{number % 90 + 3}.5 x 2.62" if kind == "part" else None
    cost = round(number % 997 / 7 + 0.5, 2)
    return (
        name, f"{kind} number {number} of the long list", kind, "each", material, hardness, size, life, "buy",
        number % 40 + 1, number % 5, cost, None, "as counted" if number % 4 == 0 else None,
    )  # fmt: skip


def _line(number, rows):
    """Line by line: every assembly goes into the pump of its block, every part into its assembly."""
    number = number % rows
    block, inside = number - number % 200, number % 200
    if inside == 0:
        parent, child = block, block + 10  # a second place for the first assembly
    else:
        parent, child = (block if inside % 10 == 0 else number - number % 10), number
    opened = _number(child).startswith("AS")
    rebuilt = "open" if opened else "renew" if child % 2 == 0 else "inspect"
    if _number(parent) == _number(child) or parent >= rows or child >= rows:
        parent, child = 0, 1
    rate = 12.5 if rebuilt == "inspect" else None
    place = f"place {number}" if inside == 0 else f"{'end' if opened else 'gland'} {inside}"
    return (
        _number(parent),
        _number(child),
        number % 4 + 1,
        rebuilt,
        rate,
        "yes" if number % 3 else "no",
        place,
        inside,
    )


def read_plainly(path, *, keep):
    """What openpyxl does by itself."""
    book = load_workbook(path, read_only=True, data_only=True)
    kept = []
    for sheet in book.worksheets:
        for row in sheet.iter_rows(values_only=True):
            if keep:
                kept.append(row)
    book.close()
    return kept


def run_subject(name, path, database):
    """One measurement, in this process."""
    if name.startswith("plain"):
        return _clocked(lambda: read_plainly(path, keep=name == "plain_kept"))
    _name_database(database)
    import django

    django.setup()
    from django.utils import timezone

    from kits.exchange.actions import check_files, load_by_command
    from kits.exchange.files.sheet_file import SheetFile
    from kits.exchange.models import Upload
    from kits.exchange.undo.actions import undo_upload

    def bring():
        file = SheetFile(path.name, path.read_bytes())
        if name == "load":
            outcome = load_by_command(files=[file], ran_by="the benchmark", at=timezone.now())
        else:
            outcome = check_files(files=[file], at=timezone.now())
        if outcome.problems:
            raise SystemExit("\n".join(problem.says for problem in outcome.problems[:5]))
        return outcome

    if name == "undo":
        return _clocked(lambda: undo_upload(upload=Upload.objects.get(), by=None, at=timezone.now()))
    return _clocked((lambda: None) if name == "start" else bring)


def _name_database(database):
    os.environ["DATABASE_URL"] = f"sqlite:///{database}"
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")


def make_tables(database):
    """An empty shop."""
    _name_database(database)
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


def _clocked(function):
    wall, processor = time.perf_counter(), time.process_time()
    kept = function()
    row = {"seconds": time.process_time() - processor, "wall_seconds": time.perf_counter() - wall}
    del kept
    return row | {"peak_mb": _peak_kb() / 1024}


def _peak_kb():
    """The most memory that this process held; what the system counts also holds what its parent held at its start."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return next(int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmHWM"))


def _child(*arguments):
    command = [sys.executable, "-m", "tests.benchmarks.sheets", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(command[3:])}: {done.stderr or done.stdout}")
    return done.stdout


def measure(rows, forms, subjects):
    """All subjects in turn for each form of file, each in a process of its own; a database for each form."""
    place = Path("/dev/shm") if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=place) as name:
        folder = Path(name)
        _child("--write", folder, "--rows", rows)
        figures = {"rows": rows, "cells": rows * (len(ITEM_HEADINGS) + len(LINE_HEADINGS)), "forms": {}}
        for form in forms:
            path, database = folder / f"{form}.xlsx", folder / f"{form}.sqlite3"
            _child("--make-tables", "--database", database)
            measured = {}
            for subject in subjects:
                out = _child("--subject", subject, "--file", path, "--database", database)
                measured[subject] = json.loads(out.splitlines()[-1])
                print(f"{FORMS[form]}: {SAYS[subject]}", json.dumps(measured[subject]), file=sys.stderr, flush=True)
            figures["forms"][form] = {"file_mb": path.stat().st_size / 1e6, "measured": measured}
        return figures


def print_figures(figures):
    print(f"{figures['rows']} items, {figures['rows']} structure lines, {figures['cells']} cells")
    for form, found in figures["forms"].items():
        measured = found["measured"]
        plain = measured.get("plain")
        print(f"\n{FORMS[form]:<40}{'seconds':>9}{'times':>8}{'peak MB':>9}{'times':>8}")
        for name, row in measured.items():
            times = row["seconds"] / plain["seconds"] if plain else 0
            memory = row["peak_mb"] / plain["peak_mb"] if plain else 0
            print(f"  {SAYS[name]:<38}{row['seconds']:>9.1f}{times:>8.2f}{row['peak_mb']:>9.0f}{memory:>8.2f}")
    print(f"\naim for the preview: at most {AIM} times the plain read, in time and in memory")


def profile(rows):
    with tempfile.TemporaryDirectory() as folder:
        write_books(Path(folder), rows)
        _child("--make-tables", "--database", f"{folder}/db.sqlite3")
        profiler = cProfile.Profile()
        profiler.runcall(run_subject, "preview", Path(folder) / "shared.xlsx", f"{folder}/db.sqlite3")
        pstats.Stats(profiler).strip_dirs().sort_stats("tottime").print_stats(40).sort_stats("cumtime").print_stats(40)


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.sheets", description=__doc__.split("\n\n")[0])
    parser.add_argument("--rows", type=int, default=100_000, help="rows of each sheet (default: 100000)")
    parser.add_argument("--forms", nargs="+", choices=FORMS, default=list(FORMS), help="forms of the file")
    parser.add_argument("--subjects", nargs="+", choices=SAYS, default=list(SAYS), help="what is measured")
    parser.add_argument("--profile", action="store_true", help="profile the preview instead of measuring it")
    parser.add_argument("--subject", choices=SAYS, help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--database", help=argparse.SUPPRESS)
    parser.add_argument("--write", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--make-tables", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.subject:
        print(json.dumps(run_subject(chosen.subject, chosen.file, chosen.database)))
    elif chosen.write:
        write_books(chosen.write, chosen.rows)
    elif chosen.make_tables:
        make_tables(chosen.database)
    elif chosen.profile:
        profile(chosen.rows)
    else:
        figures = measure(chosen.rows, chosen.forms, chosen.subjects)
        print_figures(figures)
        print(json.dumps(figures))


if __name__ == "__main__":
    main()
