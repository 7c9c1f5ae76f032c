"""A shop of one's own: its file, its holidays, and the one command that sets it up."""

import contextlib
import os
import re
import stat
import subprocess
import sys
from datetime import date

import pytest
from django.core.exceptions import ImproperlyConfigured

from bom.errors import BomError
from kits import shop_file
from kits.catalog.days.public_holidays import Country, public_holidays, read_country
from kits.catalog.errors import Refusal
from kits.web.starting.house import refuse_unknown
from kits.web.starting.site_facts import fault_of
from tests.architecture.source import TOP

pytestmark = pytest.mark.bare  # each names the database that it makes


@pytest.fixture
def path(tmp_path, monkeypatch):
    monkeypatch.setenv("SHOP_FILE", str(tmp_path / "shop.env"))
    return tmp_path / "shop.env"


def test_the_file_is_its_owners_alone_and_says_what_was_written(path):
    shop_file.write_shop_file(path, {"SECRET_KEY": "a=b", "ALLOWED_HOSTS": "", "TIME_ZONE": "UTC"})
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert shop_file.read_shop_file() == {"SECRET_KEY": "a=b", "TIME_ZONE": "UTC"}


def test_a_file_that_others_could_read_is_kept_from_them(path):
    path.write_text("TIME_ZONE='Europe/Lisbon'\n\n# a remark\n")
    path.chmod(0o644)
    assert shop_file.read_shop_file() == {"TIME_ZONE": "Europe/Lisbon"}
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_the_environment_says_goes_before_the_file(path, monkeypatch):
    path.write_text("TIME_ZONE=UTC\nCACHE_URL=redis://cache:1/0\n")
    monkeypatch.setenv("TIME_ZONE", "Europe/Lisbon")
    monkeypatch.delenv("CACHE_URL", raising=False)
    shop_file.take_from_shop_file()
    assert (os.environ["TIME_ZONE"], os.environ.pop("CACHE_URL")) == ("Europe/Lisbon", "redis://cache:1/0")


def test_a_line_that_cannot_be_read_is_told_with_its_number(path):
    path.write_text("TIME_ZONE=UTC\nhosts: here\n")
    with pytest.raises(ImproperlyConfigured, match=r"shop\.env, line 2: write NAME=value"):
        shop_file.read_shop_file()


def test_nothing_that_would_break_the_file_is_written(path):
    with pytest.raises(ImproperlyConfigured, match="without"):
        shop_file.write_shop_file(path, {"ALLOWED_HOSTS": "a\nSECRET_KEY=b"})
    assert not path.exists()


def test_what_the_site_cannot_use_is_refused_before_it_is_written():
    assert "is no zone name" in fault_of("TIME_ZONE", "Atlantis")
    assert "list the names" in fault_of("ALLOWED_HOSTS", "*")
    assert fault_of("ALLOWED_HOSTS", "parts.shop.example") == ""


def test_several_processes_are_told_by_the_same_file(path):
    path.write_text("WEB_PROCESSES=5\nLISTEN=127.0.0.1:8123\n")
    environment = {name: value for name, value in os.environ.items() if name not in {"WEB_PROCESSES", "LISTEN"}}
    reads = "import runpy; said = runpy.run_path('.deploy/gunicorn.conf.py'); print(said['workers'], said['bind'])"
    ran = subprocess.run([sys.executable, "-c", reads], cwd=TOP, env=environment, capture_output=True, text=True)
    assert ran.stdout == "5 127.0.0.1:8123\n", ran.stderr


def test_a_setting_that_nothing_uses_is_not_stored():
    refuse_unknown(["today", "Paper"])
    with pytest.raises(BomError, match="named pumps_per_day: is pumps_a_day meant"):
        refuse_unknown(["pumps_per_day"])
    with pytest.raises(BomError, match=r"named CACHE_URL: .*what the site is told has options of its own"):
        refuse_unknown(["CACHE_URL"])


def test_holidays_are_those_of_the_calendar():
    # Easter Sunday 2027 is 28 March: the Gregorian computus of Meeus, Jones and Butcher, worked by hand.
    found = dict(public_holidays(read_country("de"), 2027, 1))
    assert date(2027, 3, 26) in found
    assert date(2027, 3, 29) in found, "Easter Monday"
    assert {day.year for day in found} == {2027}
    assert date(2027, 1, 6) not in found
    assert date(2027, 1, 6) in dict(public_holidays(read_country("DE-BY"), 2027, 1)), "Epiphany, in Bavaria"


def test_a_country_that_nobody_knows_is_refused_with_the_remedy():
    assert read_country("gb") == Country("GB")
    with pytest.raises(Refusal, match="XX is no country whose holidays are known"):
        read_country("XX")
    with pytest.raises(Refusal, match="DE has no part QQ: write DE alone"):
        read_country("DE-QQ")
    with pytest.raises(Refusal, match="write 1 to 10"):
        public_holidays(Country("DE"), 2027, 50)


def test_a_shop_is_set_up_by_one_command_and_set_up_again(tmp_path):
    environment = {**os.environ, "SHOP_FILE": str(tmp_path / "shop.env")}
    for name in ("DATABASE_URL", "ALLOWED_HOSTS", "SECURE", "SECRET_KEY", "DJANGO_ALLOW_ASYNC_UNSAFE"):
        environment.pop(name, None)

    def run(*said):
        command = [sys.executable, str(TOP / "manage.py"), *said]
        return subprocess.run(
            command, env=environment, capture_output=True, text=True, cwd=TOP, stdin=subprocess.DEVNULL
        )

    database = f"sqlite:///{tmp_path / 'shop.sqlite3'}"
    first = run(
        *("start", "--no-input", "--database", database, "--hosts", "parts.shop.example"),
        *("--shop", "Quay Pumps", "--currency", "EUR", "--country", "DE", "--administrator", "ada"),
    )
    assert first.returncode == 0, first.stderr
    assert re.search(r"https://parts\.shop\.example/sign-in/link/[\w-]{43}/", first.stdout)
    checked = run("check", "--deploy", "--fail-level", "WARNING")
    assert checked.returncode == 0, checked.stderr
    assert "manage.py serve  and" in first.stdout
    again = run("start", "--no-input", "--no-https")
    assert again.returncode == 0, again.stderr
    assert "0 new, 0 changed, 2 same" in again.stdout
    assert "ada looks after the people" in again.stdout
    assert "manage.py serve --listen 0.0.0.0:8000  and" in again.stdout
    refused = run("demo")
    assert "the demo makes sign-ins whose passwords everybody may know" in refused.stderr


def test_where_the_environment_says_everything_no_file_is_written(tmp_path):
    environment = {**os.environ, "SHOP_FILE": "", "DATABASE_URL": f"sqlite:///{tmp_path / 'shop.sqlite3'}"}
    environment |= {"ALLOWED_HOSTS": "parts.shop.example", "SECRET_KEY": "k" * 60, "SECURE": "0"}

    def run(*said):
        command = [sys.executable, str(TOP / "manage.py"), "start", "--no-input", *said]
        return subprocess.run(
            command, env=environment, capture_output=True, text=True, cwd=TOP, stdin=subprocess.DEVNULL
        )

    refused = run("--shop", "Quay Pumps", "--hosts", "other.example", "--no-https")
    assert (refused.returncode, "leave out --hosts, --no-https" in refused.stderr) == (1, True)
    done = run("--shop", "Quay Pumps", "--administrator", "ada")
    assert done.returncode == 0, done.stderr
    assert re.search(r"http://parts\.shop\.example:8000/sign-in/link/[\w-]{43}/", done.stdout)
    assert "Wrote" not in done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="a terminal is a pair of files here")
def test_at_a_terminal_what_cannot_be_used_is_asked_again(tmp_path):
    answers = iter((
        *("parts.quay.example", "yes", "1", "", ""),
        *("", "Quay Pumps", "EUR", "metric", "mm", "Germany", "DE", "ada"),
        *("long-enough-word-7", "long-enough-word-7"),
    ))  # fmt: skip
    environment = {**os.environ, "SHOP_FILE": str(tmp_path / "shop.env")}
    for name in ("DATABASE_URL", "ALLOWED_HOSTS", "SECURE", "SECRET_KEY"):
        environment.pop(name, None)
    command = [sys.executable, str(TOP / "manage.py"), "start", "--database", f"sqlite:///{tmp_path / 'shop.sqlite3'}"]
    ours, theirs = os.openpty()
    running = subprocess.Popen(command, env=environment, cwd=TOP, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    said = ""
    with contextlib.suppress(OSError):  # which ends what is read of a terminal
        while more := os.read(ours, 4096).decode():
            said += more
            if said.endswith(": "):
                os.write(ours, f"{next(answers)}\n".encode())
    assert running.wait(60) == 0, said
    for again in (
        "SECURE is 'yes', but a switch is either 1 or 0",
        "It stands on every page and every print: write the shop's name.",
        "“metric” is neither: write inch, mm or nothing.",
        "Germany is no country whose holidays are known",
        "Stored the settings: Settings: 3 new",
    ):
        assert again in said
