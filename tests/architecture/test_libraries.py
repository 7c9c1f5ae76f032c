"""Every library that is imported is asked for by name in the project file, where it belongs."""

import ast
import importlib.metadata
import re
import sys
import tomllib

import pytest

from tests.architecture.source import TOP, list_imports, read_sources

OURS = {"bom", "kits", "tests"}
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def read_names(requirements):
    return {fold(re.split(r"[\s\[<>=!~;]", requirement, maxsplit=1)[0]) for requirement in requirements}


def fold(name):
    return re.sub(r"[-_.]+", "-", name).lower()


RUN_TIME = read_names(PROJECT["dependencies"])
TESTS = RUN_TIME | read_names(PROJECT["optional-dependencies"]["test"])
DEVELOPMENT = TESTS | read_names(PROJECT["optional-dependencies"]["dev"] + PROJECT["optional-dependencies"]["postgres"])
EXTRA = read_names(PROJECT["optional-dependencies"]["camera"])
"""What a shop may do without: it is imported where its absence is caught."""
LOCK_FILES = {
    "requirements.lock": RUN_TIME,
    "requirements-test.lock": TESTS,
    "requirements-dev.lock": DEVELOPMENT,
}

NOT_FOR_EVERYONE = ("tests/browser", "tests/benchmarks", "tests/pictures")
"""Only who works on the project runs these."""


@pytest.mark.parametrize(
    ("folder", "declared"),
    [("bom", RUN_TIME), ("kits", RUN_TIME), ("tests", TESTS), *((folder, DEVELOPMENT) for folder in NOT_FOR_EVERYONE)],
)
def test_every_library_is_declared(folder, declared):
    distributions = importlib.metadata.packages_distributions()
    breaches = [
        f"{source.at(node)} imports {module}"
        for source in read_sources(folder)
        if folder in NOT_FOR_EVERYONE or not source.path.startswith(NOT_FOR_EVERYONE)
        for module, node in list_imports(source)
        for top in [module.split(".")[0]]
        if top not in OURS | set(sys.stdlib_module_names)
        if not (declared | (EXTRA if is_tried(source, node) else set()))
        & {fold(name) for name in distributions.get(top, [top])}
        if not stands_apart(source, node)
    ]
    assert breaches == []


def is_tried(source, node):
    """Say whether the absence of an import is caught."""
    return any(
        any(ast.unparse(handler.type) == "ImportError" for handler in attempt.handlers if handler.type)
        and node in attempt.body
        for attempt in source.walk(ast.Try)
    )


def stands_apart(source, node):
    """Say whether an import is only for the reader of types."""
    return any(
        isinstance(branch.test, ast.Name) and branch.test.id == "TYPE_CHECKING" and node in ast.walk(branch)
        for branch in source.walk(ast.If)
    )


def read_pins(name):
    text = (TOP / name).read_text(encoding="utf-8")
    return {
        fold(found): version for found, version in re.findall(r"^([\w.-]+)(?:\[[^\]]*\])?==(\S+)", text, re.MULTILINE)
    }


@pytest.mark.parametrize("name", LOCK_FILES)
def test_lock_file_holds_every_library_that_is_asked_for(name):
    assert LOCK_FILES[name] - set(read_pins(name)) == set()


def test_each_lock_file_holds_all_of_the_one_before():
    run, test, develop = (read_pins(name) for name in LOCK_FILES)
    assert run.items() <= test.items() <= develop.items()


def test_to_run_needs_no_library_of_the_tests():
    assert {"pytest", "psycopg", "ruff"} & set(read_pins("requirements.lock")) == set()


@pytest.mark.parametrize("name", LOCK_FILES)
def test_lock_file_names_no_address(name):
    assert "://" not in (TOP / name).read_text(encoding="utf-8")


def test_project_file_says_that_this_is_an_application():
    text = (TOP / "pyproject.toml").read_text(encoding="utf-8")
    assert "This is an application" in text
    tools = tomllib.loads(text)["tool"]
    assert tools["setuptools"]["packages"] == []  # else the folders at the top stop ``pip install .``
    assert tools["uv"]["managed"] is False  # else uv leaves a lock file of its own
