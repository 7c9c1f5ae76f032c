"""Documents that run: the README's two lines, the examples in the contributor guide and in the core."""

import doctest
import importlib
import re

import pytest

from tests.architecture.source import TOP, read_sources

DOCUMENTS = ["README.md", "DEVELOPERS.md", "demo_fixtures/README.md"]
MODULES = [
    source.path.removesuffix(".py").replace("/", ".").removesuffix(".__init__") for source in read_sources("bom")
]


def read_code_blocks(name):
    return re.findall(r"^```[^\n]*\n(.*?)^```$", (TOP / name).read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)


def test_readme_opens_with_the_two_lines_that_try_it():
    assert read_code_blocks("README.md")[:2] == ["python3 manage.py demo\n", "python3 manage.py test\n"]


def test_readme_begins_with_the_job():
    title, first = (TOP / "README.md").read_text(encoding="utf-8").split("\n\n")[:2]
    assert title == "# Rebuild Bench"
    assert re.match(r"[A-Z]", first)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_documents_name_only_commands_that_exist(name):
    from django.core.management import get_commands

    named = set(re.findall(r"manage\.py ([a-z]\w+)", (TOP / name).read_text(encoding="utf-8")))
    assert named - set(get_commands()) == set()


def read_first_cells(head):
    """Return what the first column of the README's table with this head names."""
    table = (TOP / "README.md").read_text(encoding="utf-8").split(head)[1].split("\n\n")[0]
    return {name for row in table.splitlines() for name in re.findall(r"`(\w+)`", row.split(" | ")[0])}


def test_readme_names_every_setting_of_the_shop_and_no_other():
    from kits.catalog.queries import KNOWN_SETTINGS

    assert read_first_cells("| name | value | left out |\n|---|---|---|\n") == set(KNOWN_SETTINGS)


def test_readme_names_every_variable_that_a_site_reads():
    """Those of mail stand in one row; DEBUG is for whoever works on the program."""
    reads = re.compile(r"""(?:environ\.get|read_switch|read_number)\(\s*"([A-Z_]+)\"""")
    files = ("kits/settings.py", ".deploy/gunicorn.conf.py")
    read = {name for file in files for name in reads.findall((TOP / file).read_text(encoding="utf-8"))}
    text = (TOP / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`([A-Z_]+)`", text[text.index("| variable | meaning |") : text.index("## Notices")]))
    assert {"DATABASE_URL", "EMAIL_PORT", "LISTEN"} <= read
    assert read - named == {"DEBUG"}


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_the_core_hold(name):
    outcome = doctest.testmod(importlib.import_module(name))
    assert outcome.failed == 0


def test_examples_in_the_contributor_guide_hold():
    outcome = doctest.testfile(str(TOP / "DEVELOPERS.md"), module_relative=False, encoding="utf-8")
    assert outcome.attempted > 0
    assert outcome.failed == 0


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_file_of_ours_that_is_named_exists(name):
    named = re.findall(r"`((?:bom|kits|tests|demo_fixtures)/[\w/.]*)`", (TOP / name).read_text(encoding="utf-8"))
    assert [path for path in named if not (TOP / path).exists()] == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_between_documents_lead_somewhere(name):
    text = (TOP / name).read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#]+)[^)]*\)", text) if not re.match(r"\w+:", link)]
    assert [link for link in links if not (TOP / name).parent.joinpath(link).exists()] == []


def test_table_of_folders_names_every_room_of_the_core_and_every_app():
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text[text.index("## Folders") : text.index("## Import law")]
    folders = [f"{path.parent.relative_to(TOP).as_posix()}/" for path in (TOP / "bom").glob("*/__init__.py")]
    folders += [f"{path.parent.relative_to(TOP).as_posix()}/" for path in (TOP / "kits").glob("*/__init__.py")]
    assert [folder for folder in folders if f"| `{folder}` |" not in table] == []


def test_table_of_folders_names_every_room_of_every_app():
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    for app in sorted(path.parent.name for path in (TOP / "kits").glob("*/__init__.py")):
        row = re.search(rf"^\| `kits/{app}/` \|(.*)$", text, re.MULTILINE)[1]
        rooms = {path.parent.name for path in (TOP / "kits" / app).glob("*/__init__.py")} - {
            "migrations",
            "management",
            "templatetags",
        }
        assert [room for room in rooms if f"`{room}`" not in row] == [], app
