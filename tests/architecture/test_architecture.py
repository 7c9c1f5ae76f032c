"""The law of the code: what may import what, where the database is written, what lies at the top.

The import contracts in ``pyproject.toml`` hold the direction between the apps; these tests hold what contracts cannot
see.
"""

import ast
import re
import subprocess
import sys
from collections import Counter

import pytest

from tests.architecture.__main__ import circles, long_functions, room_of
from tests.architecture.source import TOP, list_imports, name_call, read_sources

# Foreign keys point to the left only.
ORDER = ("people", "catalog", "schedule", "service", "stock", "purchasing", "planning", "picking", "exchange",
         "demo", "api", "web")  # fmt: skip
AGREED_TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml", "requirements.lock",
    "requirements-test.lock", "requirements-dev.lock", "bom", "kits", "demo_fixtures", "tests",
    ".ci", ".deploy", ".dockerignore", ".github", ".gitignore", ".gitattributes", ".editorconfig",
}  # fmt: skip
CORE_LIBRARIES = {"numpy", "scipy", "pint"}
# The core takes values and gives values: it opens nothing, asks no clock, throws no dice and writes no log.
CLOSED_TO_THE_CORE = {
    "asyncio", "io", "logging", "multiprocessing", "os", "pathlib", "random", "shutil", "socket", "sqlite3",
    "subprocess", "sys", "tempfile", "threading", "time", "urllib",
}  # fmt: skip
EMPTY_NAMES = {"utils", "util", "helpers", "helper", "common", "manager", "managers", "data", "misc"}
WRITES = {
    "save", "create", "bulk_create", "bulk_update", "get_or_create", "update_or_create", "delete", "acreate", "asave",
    "adelete", "aupdate", "execute", "executemany",
}  # fmt: skip


def test_core_imports_only_the_agreed_libraries():
    allowed = (set(sys.stdlib_module_names) - CLOSED_TO_THE_CORE) | CORE_LIBRARIES | {"bom"}
    breaches = [
        f"{source.at(node)} imports {module}"
        for source in read_sources("bom")
        for module, node in list_imports(source)
        if module.split(".")[0] not in allowed
    ]
    assert breaches == []


def test_core_opens_no_file_and_asks_no_clock():
    breaches = [
        f"{source.at(node)} calls {name_call(node)}"
        for source in read_sources("bom")
        for node in source.walk(ast.Call)
        if name_call(node) in {"open", "print", "input"} or re.search(r"\.(today|now|utcnow)$", name_call(node))
    ]
    assert breaches == []


KEPT_BY_A_PLAN = {"as_of", "demand", "supplies", "netting", "book", "buy", "found", "answers"}
"""The arrays of a plan and the numbers of their rows; ``bom.reading`` tells what stands in them."""


def test_the_arrays_of_the_core_stay_in_it():
    breaches = [
        f"{source.at(node)} reaches for {ast.unparse(node)}"
        for source in read_sources("kits")
        for node in source.walk(ast.Attribute)
        if node.attr in {"netting", "supplies"} or (node.attr in KEPT_BY_A_PLAN and "plan" in last_name(node.value))
    ]
    breaches += [
        f"{source.at(node)} imports {module}"
        for source in read_sources("kits")
        for module, node in list_imports(source)
        if module.split(".")[0] in {"numpy", "scipy"}
    ]
    assert breaches == []


def last_name(node):
    """The last name of an expression: ``plan`` of ``self.reading.plan``, ``plan_now`` of ``plan_now()``."""
    return last_name(node.func) if isinstance(node, ast.Call) else getattr(node, "attr", getattr(node, "id", ""))


@pytest.mark.parametrize("folder", ["bom", "kits", "tests"])
def test_imports_are_absolute(folder):
    breaches = [
        source.at(node)
        for source in read_sources(folder, migrations=True)
        for module, node in list_imports(source)
        if module.startswith(".")
    ]
    assert breaches == []


def test_relations_point_down():
    from django.apps import apps

    breaches = []
    for model in apps.get_models():
        label = model._meta.app_label
        if label not in ORDER:
            continue
        for field in model._meta.get_fields():
            target = field.related_model if field.concrete and field.is_relation else None
            if target is None or target._meta.app_label not in ORDER:
                continue
            if ORDER.index(target._meta.app_label) > ORDER.index(label):
                breaches.append(f"{model.__name__}.{field.name} points up to {target.__name__}")
    assert breaches == []


def test_apps_are_installed_in_the_order_of_the_data():
    from django.conf import settings

    assert [name.removeprefix("kits.") for name in settings.INSTALLED_APPS if name.startswith("kits.")] == list(ORDER)


def test_every_folder_of_the_project_is_an_app():
    folders = {path.parent.name for path in (TOP / "kits").glob("*/__init__.py")}
    assert folders == set(ORDER)


def test_transactions_are_opened_in_actions_only():
    breaches = [
        source.at(node)
        for source in read_sources("kits")
        if not source.path.endswith(("/actions.py", "/commands/migrate.py"))  # which makes the tables, all or none
        for node in source.walk(ast.Attribute, ast.Name, ast.ImportFrom)
        if "atomic" in {getattr(node, "attr", ""), getattr(node, "id", "")}
        or (isinstance(node, ast.ImportFrom) and any(alias.name == "atomic" for alias in node.names))
    ]
    assert breaches == []


MARKING = {"mark_shop", "mark_catalog", "mark_sheets", "hold_marks"}
"""What takes the one lock that every writer takes first."""


def test_every_transaction_takes_the_lock_of_the_marks_first():
    # A writer who locks a row before the mark waits for one who holds the mark and wants that row: a deadlock.
    # People lie below the marks: their actions change no row that a holder of the mark waits for.
    breaches = [
        f"{source.at(node)} starts with {ast.unparse(node.body[0]).splitlines()[0]}"
        for source in read_sources("kits")
        if source.path.endswith("/actions.py")
        and source.path != "kits/exchange/actions.py"
        and not source.path.startswith("kits/people/")
        for node in source.walk(ast.With)
        if any("transaction.atomic" in ast.unparse(item.context_expr) for item in node.items)
        if not any(isinstance(call, ast.Call) and name_call(call) in MARKING for call in ast.walk(node.body[0]))
    ]
    assert breaches == []


def test_movements_are_written_by_the_ledger_only():
    made = re.compile(r"(^|\.)Movement$|(^|\.)Movement\.objects\..*?(create|update|delete)\w*$")
    breaches = [
        f"{source.at(node)} calls {name_call(node)}"
        for source in read_sources("kits")
        if source.path != "kits/stock/ledger.py"
        for node in source.walk(ast.Call)
        if made.search(name_call(node))
    ]
    assert breaches == []


def test_pages_write_nothing():
    breaches = [
        f"{source.at(node)} calls {name_call(node)}"
        for source in read_sources("kits/web")
        for node in source.walk(ast.Call)
        if isinstance(node.func, ast.Attribute) and is_write(name_call(node))
    ]
    assert breaches == []


def is_write(call):
    """Say whether a dotted call stores something; ``update`` and the like are writes on a query only."""
    last = call.rsplit(".", 1)[-1]
    return last in WRITES or (last == "update" and (".objects" in call or "()." in call))


@pytest.mark.parametrize(
    ("call", "writes"),
    [
        ("Lot.objects.filter().update", True),
        ("form.save", True),
        ("context.update", False),
        ("Lot.objects.filter", False),
    ],
)
def test_a_write_is_told_from_a_read(call, writes):
    assert is_write(call) is writes


def test_models_keep_their_rules_out_of_save():
    # What is written once may refuse a second writing where it would happen; that is its whole meaning.
    breaches = [
        f"{source.at(method)} defines {kind.name}.{method.name}"
        for source in read_sources("kits")
        if source.path.endswith("/models.py")
        for kind in source.walk(ast.ClassDef)
        if not kind.name.startswith("WrittenOnce")
        for method in kind.body
        if isinstance(method, ast.FunctionDef) and method.name in {"save", "delete"}
    ]
    assert breaches == []


def test_no_rule_hides_in_a_signal():
    breaches = [
        source.at(node)
        for source in read_sources("kits")
        # The roles need the permissions, which Django makes after the tables, and the guards of the ledger the tables.
        if source.path not in {"kits/people/apps.py", "kits/stock/apps.py"}
        for module, node in list_imports(source)
        if module.startswith(("django.db.models.signals", "django.dispatch"))
    ]
    assert breaches == []


def test_names_say_what_a_file_is_for():
    sources = read_sources("bom") + read_sources("kits") + read_sources("tests")
    assert [source.path for source in sources if EMPTY_NAMES & set(re.split(r"[/.]", source.path))] == []


def test_days_have_their_year_wherever_it_could_be_another():
    """Only `kits/catalog/formats` leaves a year out, where it is told to; a last use always has it."""
    breaches = [
        f"{source.path}: {found[0]}"
        for source in read_sources("bom") + read_sources("kits")
        if source.path != "kits/catalog/formats/in_force.py"
        for found in re.finditer(r"%[bB](?! ?%Y)[^%]{0,3}", source.text)
        if not re.match(r"%B\} \{", found[0])
    ]
    for path in sorted((TOP / "kits").rglob("*.html")):
        pattern = r"\{% day [\w.]*last_use\w* %\}|date:\"(?![^\"]*Y|H:i|DATETIME_FORMAT)[^\"]*\""
        for found in re.finditer(pattern, path.read_text()):
            breaches.append(f"{path.name}: {found[0]}")
    assert breaches == []


def test_files_stay_readable():
    sources = read_sources("bom") + read_sources("kits")
    assert [source.path for source in sources if source.text.count("\n") > 500] == []


def test_functions_stay_readable():
    assert long_functions(read_sources("bom") + read_sources("kits")) == []


def test_columns_of_rows_have_names():
    """Only the first and the last of what is alike are taken by number."""
    breaches = [
        f"{source.path}:{node.lineno}: {ast.unparse(node)}"
        for source in read_sources("bom")
        for node in source.walk(ast.Subscript)
        if re.fullmatch(r"-?\d+", ast.unparse(node.slice))
        and ast.unparse(node.slice) not in {"0", "-1"}
        and not ast.unparse(node.value).endswith(".shape")
    ]
    assert breaches == []


def test_no_room_holds_more_than_fifteen_files():
    paths = [source.path for source in read_sources("bom") + read_sources("kits")]
    rooms = Counter(path.rsplit("/", 1)[0] for path in paths if not path.endswith("/__init__.py"))
    assert {room: files for room, files in rooms.items() if files > 15} == {}


ONE_THING_TWICE = {
    "Finding", "FindingRule", "Item", "Job", "KitFit", "Lot", "Offer", "OrderLine", "OtherNeed", "ScopeSection",
    "Verdict", "Asker", "JobAnswer",
}  # fmt: skip
"""What the core takes or gives as a value and the database keeps as a row; an asker, and the same with its answer."""


def test_classes_that_mean_different_things_have_different_names():
    found = {}
    for source in read_sources("bom") + read_sources("kits"):
        for node in source.walk(ast.ClassDef):
            if not node.name.startswith("_") and node.name not in {"Meta", "Media", "Command"}:
                found.setdefault(node.name, set()).add(source.path)
    twice = {name: sorted(paths) for name, paths in found.items() if len(paths) > 1}
    assert {name: paths for name, paths in twice.items() if name not in ONE_THING_TWICE} == {}


@pytest.mark.parametrize("name", [str, room_of])
def test_files_and_rooms_import_one_another_in_no_circle(name):
    assert circles(read_sources("bom") + read_sources("kits"), name) == []


def test_lines_of_templates_stay_readable():
    breaches = [
        f"{path.relative_to(TOP)}:{number}"
        for path in sorted((TOP / "kits").rglob("*.html"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if len(line) > 160
    ]
    assert breaches == []


def test_top_of_the_project_holds_the_agreed_entries_only():
    if not (TOP / ".git").exists():
        pytest.skip("not a git checkout: what belongs to the project cannot be told from what lies beside it")
    listed = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=True).stdout
    assert {path.split("/")[0] for path in listed.splitlines()} - AGREED_TOP == set()
