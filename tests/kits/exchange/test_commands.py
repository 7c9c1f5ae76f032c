"""The commands: what they print, write and return."""

import hashlib
import io
import json
import sqlite3

import openpyxl
import pytest
from django.core.management import CommandError, call_command, get_commands, load_command_class
from django.db import connection
from django.test import override_settings

from kits.catalog.models import Item
from kits.exchange import ready_database
from kits.exchange.copies.backups import back_up
from kits.exchange.copies.refusals import CopyRefused
from kits.exchange.management.commands.load import user_of_machine
from kits.exchange.models import UploadState
from kits.exchange.undo.actions import undo_upload
from kits.exchange.uploads.outcome import outcome_from_json
from kits.exchange.uploads.upload_list import list_uploads
from kits.people.models import User
from kits.people.roles import ROLES, VIEWER
from kits.stock.models import Balance, Posting
from tests.kits.exchange.books import SHOP, items, load_sheets, make_book, with_cell
from tests.kits.persons import person_of
from tests.kits.web.shops import load_demo

ROW = ("X-1", "thing", "part", "each")
KEYS = {
    "jobs": "job status parts_on days_late blocking_part order_by leans_on_overdue",
    "other_needs": "need status parts_on",
    "demand": "part_number sure passed_down positions spares expected planned_wear total on_hand left_out on_order "
    "uncovered uncovered_wear chance_enough",
    "kits": "job kit fits count covered short spare surplus",
    "buy": "part_number short short_wear top_up net packs pack_size order_quantity surplus supplier price need_on "
    "order_by days_late earliest_arrival wear_advice next_break jobs",
    "expedite": "order line part_number quantity promised need_on days_late bought_today_on jobs",
    "chase": "order line part_number quantity promised days_late jobs",
    "pack": "kit quantity need_on jobs",
    "expiring": "part_number lot last_use quantity unused",
    "frees": "part_number jobs",
    "flags": "kind part_number job says",
}


def run(*arguments, **options):
    """What a command prints, what it says beside that, and its exit code."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    try:
        call_command(*map(str, arguments), stdout=out, stderr=err, **options)
    except SystemExit as end:
        code = end.code
    return out.getvalue(), err.getvalue(), code


@pytest.fixture
def book(tmp_path):
    """Write a workbook and return its path."""

    def write(sheets, name="lists.xlsx", change=None):
        path = tmp_path / name
        path.write_bytes(make_book(sheets, change))
        return path

    return write


@pytest.mark.django_db
def test_load_stores_and_says_what_is_new(book):
    out, err, code = run("load", book(SHOP))
    assert (code, err) == (0, "")
    assert "Items: 6 new, 0 changed, 0 same" in out
    assert out.endswith("Stored.\n")
    assert Item.objects.count() == 6


@pytest.mark.django_db
def test_load_says_every_problem_on_stderr_ends_with_1_and_stores_nothing(book):
    sheets = with_cell("Items", 5, "shelf_life_years", None)
    sheets["Orders"] = [SHOP["Orders"][0], ["PO-1", "1", "Ring Hose", "OR-O14", "V", "16.03.26"]]
    out, err, code = run("load", book(sheets))
    assert (code, out) == (1, "")
    lines = err.splitlines()
    assert len(lines) == 6
    assert lines[-1] == "5 problems: nothing was stored."
    unknown = "there is no item OR-O14: did you mean OR-014? Else add it to Items."
    assert f'lists.xlsx, Orders row 2, part_number "OR-O14": {unknown}' in lines
    assert not Item.objects.exists()


@pytest.mark.django_db
def test_load_check_shows_before_and_after_and_stores_nothing(book, shop):
    out, _, code = run("load", book(with_cell("Items", 5, "description", "ring of rubber")), "--check")
    assert code == 0
    assert "  row 5, OR-014: description O-ring -> ring of rubber" in out
    assert out.endswith("Only checked: nothing was stored.\n")
    assert Item.objects.get(part_number="OR-014").description == "O-ring"


@pytest.mark.django_db
def test_load_of_the_same_file_says_that_nothing_differs(book, shop):
    assert run("load", book(SHOP))[0].endswith("Nothing differs from what is stored.\n")


@pytest.mark.django_db
def test_load_replaces_a_sheet_only_when_it_is_told_to(book, shop):
    path = book({"Structure": SHOP["Structure"][:4] + SHOP["Structure"][5:]})
    assert "removed" not in run("load", path)[0]
    assert "removed E-1 / CO-1 / cover" in run("load", path, "--replace", "Structure")[0]


@pytest.mark.django_db
def test_load_names_each_file_that_is_not_there(tmp_path, book):
    _, err, code = run("load", tmp_path / "no.xlsx", book(items(ROW)))
    assert code == 1
    assert "no.xlsx" in err
    assert "check its name and folder" in err
    assert not Item.objects.exists()


@pytest.mark.django_db
def test_plan_json_has_exactly_the_keys_of_the_contract():
    load_demo()
    out, err, code = run("plan", "--as-of", "2026-03-04", "--json")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    assert list(answer) == ["as_of", "staging_days", *KEYS]
    assert (answer["as_of"], answer["staging_days"]) == ("2026-03-04", 1)
    for name, keys in KEYS.items():
        assert answer[name], f"the demo shop has something under {name}"
        assert {" ".join(row) for row in answer[name]} == {keys}
    left_out = {reason for row in answer["demand"] for reason in row["left_out"]}
    assert left_out <= {"quarantine", "owing", "no_date", "expired", "resealed", "reserved", "too_old"}
    assert all(isinstance(row["packs"], int) for row in answer["buy"])
    assert all(quantity for row in answer["kits"] for name in ("covered", "short") for quantity in row[name].values())


@pytest.mark.django_db
def test_plan_prints_jobs_and_what_is_short_with_sure_and_wear_apart():
    load_demo()
    out, _, _ = run("plan", "--as-of", "2026-03-04")
    assert out.startswith("24 jobs as of 4 Mar 2026: 5 ready, 8 waiting, 4 late, 7 short.")
    assert "if PO-7102 comes" in out
    assert "Sure needs: 840.50" in out
    assert "Wear, only if found: ask first, in no total" in out
    one, _, _ = run("plan", "--as-of", "2026-03-04", "--batch", "easter STOP", "--through", "2026-04-02")
    assert one.startswith("3 jobs")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--as-of", "4 March"], "write it as 2026-03-04"),
        (["--as-of", "2026-03-04", "--through", "soon"], "soon is no day"),
        (["--as-of", "2026-03-04", "--batch", "sprng"], "there is no batch sprng: the batches are spring"),
        (["--as-of", "2026-03-04", "--staging-days", "-1"], "0 to 250"),
        (["--as-of", "2026-03-04", "--out", "x.csv"], "let its name end in .xlsx"),
    ],
)
def test_plan_refuses_what_it_cannot_mean(shop, arguments, says):
    with pytest.raises(CommandError, match=says):
        run("plan", *arguments)


@pytest.mark.django_db
def test_plan_writes_the_shortage_workbook_and_json_at_once(shop, tmp_path):
    out, err, _ = run("plan", "--as-of", "2026-03-04", "--json", "--out", tmp_path / "s.xlsx")
    assert json.loads(out)["jobs"]
    assert "Wrote" in err
    assert openpyxl.load_workbook(tmp_path / "s.xlsx").sheetnames[0] == "Shortages"


@pytest.mark.django_db
def test_dump_writes_a_workbook_that_loads_again(shop, tmp_path):
    path = tmp_path / "dump.xlsx"
    assert run("dump", path)[0] == f"Wrote {path}.\n"
    assert "Nothing differs" in run("load", path)[0]
    run("dump", path, "--sheet", "items", "Kit fits")
    assert openpyxl.load_workbook(path).sheetnames == ["Items", "KitFits"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["x.csv"], "call the file items.csv"),
        (["x.ods"], "end in .xlsx"),
        (["x.xlsx", "--sheet", "Itms"], "no sheet Itms"),
        (["no/x.xlsx"], "cannot be written"),
    ],
)
def test_dump_refuses_what_it_cannot_write(arguments, says, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CommandError, match=says):
        run("dump", *arguments)


@pytest.mark.django_db(transaction=True)
def test_backup_is_a_sound_copy_and_writes_over_nothing(tmp_path):
    load_sheets(SHOP)
    path = tmp_path / "copy"
    assert run("backup", path)[0].startswith(f"Wrote {path}:")
    if connection.vendor == "sqlite":
        copy = sqlite3.connect(path)
        assert copy.execute("select count(*) from catalog_item").fetchone() == (6,)
        copy.close()
    else:
        assert path.read_bytes().startswith(b"PGDMP")
    with pytest.raises(CommandError, match="never writes over another"):
        run("backup", path)
    with pytest.raises(CopyRefused, match="there is no folder"):
        back_up(tmp_path / "none" / "copy")


@pytest.mark.django_db
def test_demo_loads_plans_and_says_how_to_look_around_and_run_again_keeps_what_was_done(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    out, err, code = run("demo")
    assert (code, err) == (0, "")
    for text in ("24 jobs as of 4 Mar 2026", "J-3124", "Sure needs: 840.50", "Wrote shortages.xlsx", "127.0.0.1:8000"):
        assert text in out
    assert (tmp_path / "shortages.xlsx").exists()
    for role in set(ROLES) - {VIEWER}:
        assert role.name in out
        person = User.objects.get(groups__name=role.name)
        assert person.check_password(f"{person.username}-of-the-demo")
    assert User.objects.get(is_staff=True).username == "admin"
    Item.objects.filter(part_number="SE-M").update(description="another seat")
    before = (Posting.objects.count(), list(Balance.objects.values_list("pk", "quantity")))
    out, _, code = run("demo")
    assert code == 0
    assert "already" in out
    assert Item.objects.get(part_number="SE-M").description == "another seat"
    assert (Posting.objects.count(), list(Balance.objects.values_list("pk", "quantity"))) == before


@pytest.mark.django_db
def test_demo_does_not_mix_with_a_shop_of_ones_own(shop, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CommandError, match="a shop of your own"):
        run("demo")
    assert not User.objects.exists()


@pytest.mark.django_db
def test_demo_makes_no_sign_ins_on_a_site_that_others_reach(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with override_settings(SHOP_HOSTS=["parts.shop.example"]), pytest.raises(CommandError, match="demo makes sign-ins"):
        run("demo")
    assert not User.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "arguments",
    [["load", "x.xlsx"], ["plan", "--as-of", "2026-03-04"], ["dump", "x.xlsx"], ["backup", "x"]],
    ids=lambda arguments: arguments[0],
)
def test_commands_refuse_a_database_without_its_tables(arguments, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    steps, labels = ready_database.own_steps()
    monkeypatch.setattr(ready_database, "own_steps", lambda: (steps | {("catalog", "0999_to_come")}, labels))
    with pytest.raises(CommandError, match="lacks 1 step of this version"):
        run(*arguments)


def test_commands_say_what_they_are_for():
    ours = {name: app for name, app in get_commands().items() if str(app).startswith("kits.")}
    assert {"load", "plan", "dump", "backup", "demo", "serve"} <= set(ours)
    assert [name for name, app in ours.items() if not load_command_class(app, name).help.endswith(".")] == []


@pytest.mark.django_db
def test_load_is_kept_as_an_upload_that_can_be_taken_back(book, monkeypatch):
    monkeypatch.setattr("getpass.getuser", lambda: "storeroom-pc")
    load_sheets(SHOP)
    path = book({"Items": [*SHOP["Items"], ["OR-020", "O-ring of the cap", "part", "each", "NBR", 15, None]]})
    assert run("load", path)[2] == 0
    upload = list_uploads().get()
    assert (upload.state, upload.by, upload.brought_by) == (UploadState.LOADED, None, "storeroom-pc, by command")
    assert (upload.settled_by, upload.loaded_at) == (upload.brought_by, upload.at)
    assert upload.result == "Items: 1 new, 0 changed, 6 same"
    file = upload.files.get()
    assert (file.name, file.digest) == ("lists.xlsx", hashlib.sha256(path.read_bytes()).hexdigest())
    assert bytes(file.content) == path.read_bytes()
    keeper = person_of("Administrator", "keeper")
    undo_upload(upload=upload, by=keeper, at=upload.at)
    assert not Item.objects.filter(part_number="OR-020").exists()
    assert Item.objects.count() == 6


@pytest.mark.django_db
def test_a_load_that_is_refused_is_kept_with_its_problems_and_a_check_is_not_kept(book, tmp_path):
    path = book(items(("X-1", "thing", "prt", "each")))
    assert run("load", path, "--check")[2] == 1
    assert run("load", tmp_path / "nowhere.xlsx")[2] == 1
    assert not list_uploads().exists()
    assert run("load", path)[2] == 1
    upload = list_uploads().get()
    assert (upload.state, upload.result) == (UploadState.REFUSED, "1 problem")
    assert outcome_from_json(upload.outcome).problems[0].column == "kind"
    assert [file.name for file in upload.files.all()] == ["lists.xlsx"]
    assert not Item.objects.exists()


@pytest.mark.django_db
def test_a_load_into_lists_that_contradict_a_rule_already_is_kept_once(book):
    load_sheets(SHOP)
    Item.objects.filter(part_number="P-1").update(kind="assembly")  # so that the scope is of no pump
    assert run("load", book(items(ROW)))[2] == 0
    assert [upload.result for upload in list_uploads()] == ["Items: 1 new, 0 changed, 0 same"]


def test_where_nobody_has_a_name_the_load_is_somebodys(monkeypatch):
    def refuse():
        raise OSError("no user of this number")

    monkeypatch.setattr("getpass.getuser", refuse)
    assert user_of_machine() == "somebody without a name"
