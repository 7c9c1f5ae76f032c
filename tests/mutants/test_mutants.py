"""What is changed in a source and how it is tried, and that the harmless mutants are mutants of the sources."""

import ast
import builtins
import importlib.util
import textwrap
from pathlib import Path

import pytest

from tests.architecture.source import TOP
from tests.mutants.changes import list_mutants, make, with_probes
from tests.mutants.harmless import HARMLESS
from tests.mutants.running import exchange, in_a_child


def changes_of(body, head="def f(a, b):"):
    source = f"{head}\n{textwrap.indent(textwrap.dedent(body), '    ')}"
    return [mutant.key.removeprefix("f: ") for mutant in list_mutants(source)]


@pytest.mark.parametrize(
    ("body", "changes"),
    [
        ("return a + b", ["a + b -> a - b"]),
        ("a <<= b", ["a <<= b -> a >>= b"]),
        ("return a < b == a", ["a < b == a -> a <= b == a", "a < b == a -> a < b != a"]),
        ("return a or b", ["a or b -> a and b"]),
        ("return not a", ["not a -> a"]),
        ("return -a", ["-a -> a"]),
        ("return a[0]", ["a[0] -> a[1]"]),
        ("return g(1, 5, True)", ["g(1, 5, True) -> g(0, 5, True)", "g(1, 5, True) -> g(1, 6, True)",
                                  "g(1, 5, True) -> g(1, 5, False)"]),
        ("return min(a)", ["min(a) -> max(a)"]),
        ("return a.any(b)", ["a.any(b) -> a.all(b)"]),
        ("return g(a, side='left')", ["g(a, side='left') -> g(a, side='right')"]),
        ("if a:\n    g(b)", ["a -> False", "g(b) -> pass"]),
        ("for c in a:\n    continue", ["continue -> break"]),
        ("return [c for c in a if c]", ["c -> True"]),
        ("return a[0] + a[0]", ["a[0] + a[0] -> a[0] - a[0]", "a[0] -> a[1]", "a[0] -> a[1] #2"]),
    ],
)  # fmt: skip
def test_each_small_thing_turns_into_its_counterpart(body, changes):
    assert changes_of(body) == changes


@pytest.mark.parametrize(
    ("body", "head"),
    [
        ('"""About 1 or 0."""\nreturn zip(a, b, strict=True)', "def f(a, b):"),
        ("return a", "@kept(1)\ndef f(a: int = 1, b=True) -> 0:"),
        ("a = 1\nb: Literal[1] = min(1, 2)", "class f:"),
    ],
)
def test_what_is_not_run_by_a_call_stays(body, head):
    assert changes_of(body, head) == []


SOURCE = """
class Shelf:
    def holds(self, left, wanted):
        if wanted > left:
            return False
        return left - wanted >= 0 and wanted > 0


def first(rows):
    def key(row):
        return row[1]
    return min(rows, key=key)
"""


def test_one_thing_is_changed_at_a_time():
    unchanged = ast.unparse(ast.parse(SOURCE)).splitlines()
    for mutant in list_mutants(SOURCE):
        changed = ast.unparse(make(SOURCE, mutant)).splitlines()
        assert sum(old != new for old, new in zip(unchanged, changed, strict=True)) == 1, mutant


@pytest.fixture
def module(tmp_path):
    path = tmp_path / "shelf.py"
    path.write_text(SOURCE, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("shelf", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_functions_methods_and_functions_inside_get_the_code_of_the_mutant(module):
    mutants = {mutant.key: mutant for mutant in list_mutants(SOURCE)}
    exchange(module.__file__, make(SOURCE, mutants["Shelf.holds: wanted > left -> wanted >= left"]))
    assert not module.Shelf().holds(2, 2)
    exchange(module.__file__, make(SOURCE, mutants["first.key: row[1] -> row[0]"]))
    assert module.Shelf().holds(2, 2)
    assert module.first([(2, 0), (1, 5)]) == (1, 5)


def test_a_mutant_knows_by_which_statement_it_is_reached(module, monkeypatch):
    reached = set()
    monkeypatch.setattr(builtins, "_reached", reached.add, raising=False)
    exchange(module.__file__, with_probes(SOURCE, "_reached", "shelf"))
    module.Shelf().holds(1, 2)
    lines = {mutant.line for mutant in list_mutants(SOURCE) if f"shelf:{mutant.statement}" in reached}
    assert lines == {4, 5}


def test_a_child_changes_nothing_here_and_tells_its_last_answer():
    kept = []

    def work(answer):
        kept.append(1)
        answer("begun")
        answer({"kept": len(kept)})

    assert in_a_child(work) == ({"kept": 1}, 0)
    assert kept == []


@pytest.mark.parametrize("path", sorted(HARMLESS))
def test_harmless_mutants_are_mutants_of_the_sources(path):
    keys = {mutant.key for mutant in list_mutants((TOP / Path(path)).read_text(encoding="utf-8"))}
    assert set(HARMLESS[path]) - keys == set()
