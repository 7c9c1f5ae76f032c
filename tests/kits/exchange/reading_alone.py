"""Reads one file as a load does, up to its records, without a database; run by itself it says what came of it."""

import json
import os
import sys
from datetime import date
from pathlib import Path


def read_alone(content, name):
    """How many rows were read, and the sentences of all problems."""
    from kits.exchange.files.sheet_file import SheetFile
    from kits.exchange.problems.findings import Findings
    from kits.exchange.reading.sheet_files import read_sheets
    from kits.exchange.records.records import read_records

    findings = Findings()
    rows = 0
    for headings in read_sheets([SheetFile(name, content)], findings):
        rows += len(read_records(headings, {}, date(2026, 3, 4), findings))
    return rows, [problem.says for problem in findings.problems], [remark.says for remark in findings.remarks]


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "kits.settings")
    import resource

    import django

    django.setup()
    from kits.exchange.files import sheet_stream

    path = Path(sys.argv[1])
    memory, seconds, sheet_stream.MOST_CELLS = (int(bound) for bound in sys.argv[2:])
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    rows, problems, remarks = read_alone(path.read_bytes(), path.name)
    print(json.dumps({"rows": rows, "problems": problems[:20], "count": len(problems), "remarks": remarks[:20]}))
