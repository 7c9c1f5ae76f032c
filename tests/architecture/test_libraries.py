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
DEVELOPMENT = TESTS | read_names(PROJECT["optional-dependencies"]["dev"])

NOT_FOR_EVERYONE = ("tests/browser", "tests/benchmarks")
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
        if not declared & {fold(name) for name in distributions.get(top, [top])}
        if not stands_apart(source, node)
    ]
    assert breaches == []


def stands_apart(source, node):
    """Say whether an import is only for the reader of types."""
    return any(
        isinstance(branch.test, ast.Name) and branch.test.id == "TYPE_CHECKING" and node in ast.walk(branch)
        for branch in source.walk(ast.If)
    )


def test_lock_files_hold_every_library_that_is_asked_for():
    for name, wanted in (("requirements.lock", TESTS), ("requirements-dev.lock", DEVELOPMENT)):
        text = (TOP / name).read_text(encoding="utf-8")
        assert (
            wanted - {fold(found) for found in re.findall(r"^([\w.-]+)(?:\[[^\]]*\])?==", text, re.MULTILINE)} == set()
        )


def test_lock_files_name_no_address():
    for name in ("requirements.lock", "requirements-dev.lock"):
        assert "://" not in (TOP / name).read_text(encoding="utf-8")
