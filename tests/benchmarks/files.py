"""How long the files of a shop of full size take, against the library's plain work on the same cells.

    python -m tests.benchmarks.files                  the table, a few minutes
    python -m tests.benchmarks.files --keep FILE      keep the made database there, and use it when it is there
    python -m tests.benchmarks.files --profile dump   where the time of one of them goes

The shop is that of ``tests.benchmarks.pages``. The peer is openpyxl alone: its write-only mode writing the values of
the same cells, without looks and empty cells, and its read-only mode reading the same file, each cell looked at once.
Times are of the processor, one after the other in one process. The plan is made beforehand; what the workbook asks of
it to say how each number came about is counted with the workbook, and given by itself as well.
"""

import argparse
import cProfile
import io
import os
import pstats
import tempfile
import time
from pathlib import Path

from openpyxl import Workbook, load_workbook

from tests.benchmarks.pages import prepare

AIMS = {"plan": 2.0, "dump": 1.5, "load": 2.0}
SAYS = {
    "plan": "`plan --out`: the workbook of what is short",
    "dump": "`dump`: every sheet",
    "load": "`load`: read, check, store, kept to be undone, into an empty database",
}


def seconds(function):
    """Seconds of the processor that a call takes, and what it gives."""
    started = time.process_time()
    made = function()
    return time.process_time() - started, made


def read_plainly(content):
    """What openpyxl reads by itself: the rows of each sheet."""
    book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    return {sheet.title: list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets}


def write_plainly(sheets):
    """What openpyxl writes by itself."""
    book = Workbook(write_only=True)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def write_plan():
    """The workbook of what is short, and the seconds that go into how each number came about."""
    from bom.answers.rows import as_json
    from kits.exchange.workbooks import shortage_book
    from kits.planning.queries import plan_now, today

    plan = plan_now(today())
    answer = as_json(plan)
    spent = []

    def clocked(rows):
        def listed(*arguments):
            found = rows(*arguments)
            while True:
                took, row = seconds(lambda: next(found, None))
                spent.append(took)
                if row is None:
                    return
                yield row

        return listed

    before = shortage_book.path_rows, shortage_book.figure_rows
    shortage_book.path_rows, shortage_book.figure_rows = map(clocked, before)
    try:
        took, content = seconds(lambda: shortage_book.shortage_workbook(plan, answer))
    finally:
        shortage_book.path_rows, shortage_book.figure_rows = before
    return took, content, sum(spent)


def write_dump():
    """Every sheet as one workbook."""
    from kits.exchange.workbooks.dump import dump_workbook

    return seconds(dump_workbook)


def load_into_empty(content):
    """Load a dump into an empty database, which takes the place of the connection's own."""
    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from kits.exchange.actions import load_by_command
    from kits.exchange.files.sheet_file import SheetFile

    connection.close()
    before = connection.settings_dict["NAME"]
    with tempfile.TemporaryDirectory() as folder:
        connection.settings_dict["NAME"] = f"{folder}/empty.sqlite3"
        try:
            call_command("migrate", verbosity=0)
            file = SheetFile("shop.xlsx", content)
            took, outcome = seconds(lambda: load_by_command(files=[file], ran_by="benchmark", at=timezone.now()))
        finally:
            connection.close()
            connection.settings_dict["NAME"] = before
    if outcome.problems:
        raise SystemExit("\n".join(problem.says for problem in outcome.problems[:5]))
    return took


def measure():
    """Rows of the table: what, seconds, the peer's seconds, cells."""
    took, content, explained = write_plan()
    plain, cells = _written_plainly(content)
    yield "plan", took, plain, cells
    print(f"of it, {explained:.1f} s go into how each number came about", flush=True)
    took, content = write_dump()
    plain, cells = _written_plainly(content)
    yield "dump", took, plain, cells
    plain, _ = seconds(lambda: read_plainly(content))
    yield "load", load_into_empty(content), plain, cells


def _written_plainly(content):
    sheets = read_plainly(content)
    plain, _ = seconds(lambda: write_plainly(sheets))
    return plain, sum(value is not None for rows in sheets.values() for row in rows for value in row)


def profile(name):
    """Print where the time of one of them goes."""
    content = write_dump()[1] if name == "load" else b""
    profiler = cProfile.Profile()
    profiler.runcall({"plan": write_plan, "dump": write_dump, "load": lambda: load_into_empty(content)}[name])
    pstats.Stats(profiler).strip_dirs().sort_stats("tottime").print_stats(30).sort_stats("cumtime").print_stats(40)


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.files", description=__doc__.split("\n\n")[0])
    parser.add_argument("--keep", type=Path, help="the database: made there if it is new")
    parser.add_argument("--profile", choices=AIMS, help="profile one of them instead of measuring all")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        prepare((chosen.keep or Path(folder) / "shop.sqlite3").resolve())
        if chosen.profile:
            profile(chosen.profile)
            return
        print("| file | cells | seconds | plain work | times | aim |\n|---|---|---|---|---|---|")
        for name, took, plain, cells in measure():
            counted = f"{cells:,}".replace(",", " ")
            row = f"| {SAYS[name]} | {counted} | {took:.1f} | {plain:.1f} | {took / plain:.2f} | {AIMS[name]} |"
            print(row, flush=True)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")
    main()
