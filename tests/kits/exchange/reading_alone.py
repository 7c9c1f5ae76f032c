"""Reads one file as a load does, up to its records, without a database."""

from datetime import date

from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.sheet_files import read_sheets
from kits.exchange.records.records import read_records


def read_alone(content, name):
    """How many rows were read, and the sentences of all problems."""
    findings = Findings()
    rows = 0
    for headings in read_sheets([SheetFile(name, content)], findings):
        rows += len(read_records(headings, {}, date(2026, 3, 4), findings))
    return rows, [problem.says for problem in findings.problems], [remark.says for remark in findings.remarks]
