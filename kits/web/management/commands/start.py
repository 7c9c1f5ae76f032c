"""``manage.py start``: a shop of one's own, from nothing to the first sign-in; safe to run again."""

from __future__ import annotations

import getpass
import os
import subprocess
import sys
from argparse import BooleanOptionalAction
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.models import Group
from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError
from django.utils import timezone

from bom.errors import BomError
from kits.catalog.days.public_holidays import read_country
from kits.catalog.formats.in_force import INCH, MM
from kits.catalog.models import Holiday
from kits.catalog.queries import read_settings
from kits.demo.shop import SHOP_NAME
from kits.exchange.actions import load_by_command
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.uploads.reports import problem_lines
from kits.people.joining.actions import add_person, give_link
from kits.people.joining.administrators import administrators
from kits.people.joining.password_said import password_fault
from kits.people.models import User
from kits.people.roles import ADMINISTRATOR
from kits.shop_file import read_shop_file, shop_file, write_shop_file
from kits.web.management.commands.serve import PORT
from kits.web.starting.house import USUAL_YEARS, holidays_list, refuse_unknown, settings_list
from kits.web.starting.site_facts import SITE_FACTS, SiteFact, fault_of, is_asked, with_key

GOES_ON = "REBUILD_BENCH_STARTED"
"""Set where the file is written and the command was begun anew, so that it stands on what the file says."""


class Command(BaseCommand):
    """Writes the environment file, makes the tables, stores what the shop is, and lets the first administrator in."""

    help = "Sets up a shop of one's own; asks what it is not told, and can be run again to change what was said."
    requires_system_checks = ()  # which would load every page
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        for place in SITE_FACTS:
            option = place.option.replace("_", "-")
            if place.name != "SECURE":
                parser.add_argument(f"--{option}", metavar=place.name, help=place.asks)
        parser.add_argument(
            "--https", action=BooleanOptionalAction, default=None, help="https through a proxy, which is usual, or not"
        )
        parser.add_argument("--shop", metavar="NAME", help="the shop's name")
        parser.add_argument("--currency", metavar="EUR", help="the shop's currency")
        parser.add_argument("--country", metavar="DE", help="whose public holidays are stored, such as DE, DE-BY or US")
        parser.add_argument("--years", type=int, default=USUAL_YEARS, help="of how many years, from this one on")
        parser.add_argument(
            "--set",
            action="append",
            default=[],
            metavar="NAME=VALUE",
            help="any other setting of the shop; may be given again",
        )
        parser.add_argument("--sizes", metavar="inch|mm", help="which measure of a size stands first")
        parser.add_argument("--administrator", metavar="NAME", help="who is let in first, by the name to sign in")
        parser.add_argument("--no-input", action="store_true", help="ask nothing, and take what is usual")

    def handle(self, *args: Any, **options: Any) -> None:
        """First where the site stands, then, on what that says, everything else."""
        self.asks = not options["no_input"] and sys.stdin.isatty()
        path = shop_file()
        if path is None:
            self.refuse_places(options)
        elif os.environ.get(GOES_ON) != str(path):
            self.write_places(path, options)
            self.go_on(path)
            return
        try:
            call_command("migrate", verbosity=0, interactive=False)
            self.store_house(options)
            self.let_in(options)
        except DatabaseError as error:
            says = " ".join(str(error).split())
            where = path or "the environment"
            raise CommandError(f"the database cannot be used ({says}): correct DATABASE_URL in {where}.") from error
        except (BomError, ValidationError) as error:
            raise CommandError(" ".join(getattr(error, "messages", [str(error)]))) from error
        if path is None:
            self.stdout.write("\nNext: open the site and go through the first steps on Today.")
            return
        self.stdout.write(
            f"\nNext: open the site with  {_serve()}  and go through the first steps on Today. "
            f"\nKeep {path} with your backups, and to yourself: without it nobody stays signed in."
        )

    def refuse_places(self, options: dict[str, Any]) -> None:
        """Where there is no file, as in a container, the environment alone says where the site stands."""
        said = [f"--{place.option.replace('_', '-')}" for place in SITE_FACTS if options.get(place.option) is not None]
        if options["https"] is not None:
            said.append("--https" if options["https"] else "--no-https")
        if said:
            says = "SHOP_FILE is set to nothing, so the environment says where the site stands"
            raise CommandError(f"{says}: set it there, and leave out {', '.join(said)}.")

    def write_places(self, path: Path, options: dict[str, Any]) -> None:
        """Ask where the site stands, and write the file."""
        held = read_shop_file()
        said = {name: value for name, value in held.items() if name != "SECRET_KEY"}
        for place in SITE_FACTS:
            if not is_asked(place, said):
                said.pop(place.name, None)
                continue
            usual = held.get(place.name, os.environ.get(place.name, "")) or place.usual
            given = options[place.option] if place.name != "SECURE" else _switch(options["https"])
            said[place.name] = self.answer(place, given, usual)
        key = held.get("SECRET_KEY") or os.environ.get("SECRET_KEY", "") or settings.SECRET_KEY
        try:
            write_shop_file(path, with_key(said, key))
        except (OSError, ImproperlyConfigured) as error:
            raise CommandError(f"{path} was not written: {error}") from error
        self.stdout.write(f"Wrote {path}; only you can read it.")
        self.stdout.flush()

    def answer(self, place: SiteFact, given: str | None, usual: str) -> str:
        """What stands on one line of the file: given, asked for, or usual; only what the site can use."""
        if given is None and self.asks:
            return self.ask(place.asks, usual, lambda typed: fault_of(place.name, typed))
        value = usual if given is None else given.strip()
        if fault := fault_of(place.name, value):
            raise CommandError(fault)
        return value

    def ask(self, question: str, usual: str, fault: Callable[[str], str] = lambda typed: "") -> str:
        """Ask until the answer can be used; nothing typed is the usual answer, and a dash is nothing."""
        while True:
            typed = input(f"{question}{f' [{usual}]' if usual else ''}: ").strip() or usual
            typed = "" if typed == "-" else typed
            says = fault(typed)
            if not says:
                return typed
            self.stdout.write(says)

    def go_on(self, path: Path) -> None:
        """Begin anew with what the file says, which goes before what this process was started with."""
        environment = {**os.environ, **read_shop_file(), GOES_ON: str(path)}
        command = [sys.executable, str(settings.BASE_DIR / "manage.py"), *sys.argv[1:]]
        code = subprocess.run(command, env=environment, cwd=settings.BASE_DIR).returncode
        if code:
            sys.exit(code)

    def store_house(self, options: dict[str, Any]) -> None:
        """Store the shop's settings and the holidays of its country, each as a list."""
        before = read_settings()
        if before.text("shop_name") == SHOP_NAME:
            raise BomError("The database holds the demo: name another with --database, such as sqlite:///shop.sqlite3.")
        said = dict(one.partition("=")[::2] for one in options["set"])
        refuse_unknown(said)
        for name, option, asks, fault in HOUSE:
            given, usual = options[option] or said.get(name), before.text(name)
            said[name] = self.ask(asks, usual, fault) if given is None and self.asks else given or usual
        if not said["shop_name"]:
            raise BomError("The shop has no name: give it with --shop NAME.")
        self.load("settings", settings_list({name: value for name, value in said.items() if value}))
        country = options["country"]
        if country is None and self.asks and not Holiday.objects.exists():
            asks = "Country whose public holidays are stored, such as DE or DE-BY; blank for none"
            country = self.ask(asks, "", _fault_of_country)
        if country:
            year = timezone.localdate().year
            self.load("public holidays", holidays_list(country, year, options["years"]))

    def load(self, what: str, file: SheetFile) -> None:
        """Load one list as the command for lists does."""
        try:
            ran_by = getpass.getuser()
        except OSError:
            ran_by = "start"
        outcome = load_by_command(files=[file], ran_by=ran_by, at=timezone.now())
        if outcome.problems:
            raise CommandError("\n".join(problem_lines(outcome)))
        self.stdout.write(f"Stored the {what}: {'; '.join(sheet.says for sheet in outcome.sheets)}")

    def let_in(self, options: dict[str, Any]) -> None:
        """Add the first administrator, or give the one who is named a new link."""
        there, name = administrators().first(), options["administrator"]
        if there and name is None:
            self.stdout.write(f"{there.get_username()} looks after the people; --administrator NAME makes a new link.")
            return
        if name is None:
            name = self.ask("First administrator, by the name to sign in", "admin") if self.asks else "admin"
        at, known = timezone.now(), User.objects.filter(username__iexact=name).first()
        if known:
            secret = give_link(person=known, by=None, at=at)
        else:
            password = self.ask_password(name) if self.asks else ""
            facts = {"name": name, "first_name": "", "last_name": "", "email": "", "office": True, "password": password}
            groups = Group.objects.filter(name=ADMINISTRATOR.name)
            _, secret = add_person(**facts, groups=groups, by=None, at=at)
        if secret:
            self.stdout.write(f"A link for {name}, which works once, within three days:\n  {_address()}{secret}/")

    def ask_password(self, name: str) -> str:
        """A password that is not easily guessed, or nothing for a link."""
        while True:
            typed = getpass.getpass(f"Password of {name}, 10 characters or more; blank for a link to choose one by: ")
            fault = password_fault(typed, name) if typed else ""
            if not fault and getpass.getpass("The same again: " if typed else "Once more blank, to be sure: ") == typed:
                return typed
            self.stdout.write(fault or "The two differ.")


def _fault_of_name(typed: str) -> str:
    return "" if typed else "It stands on every page and every print: write the shop's name."


def _fault_of_sizes(typed: str) -> str:
    return "" if typed.lower() in ("", INCH, MM) else f"“{typed}” is neither: write inch, mm or nothing."


HOUSE: tuple[tuple[str, str, str, Callable[[str], str]], ...] = (
    ("shop_name", "shop", "The shop's name", _fault_of_name),
    ("currency", "currency", "Its currency, such as EUR", lambda typed: ""),
    ("sizes_first", "sizes", "Sizes in inch or in mm first; blank as the part has them", _fault_of_sizes),
)
"""What is asked about the shop: the setting, its option, the question, and what is wrong with an answer."""


def _switch(given: bool | None) -> str | None:
    return None if given is None else str(int(given))


def _fault_of_country(typed: str) -> str:
    try:
        if typed:
            read_country(typed)
    except BomError as error:
        return str(error)
    return ""


def _address() -> str:
    host = settings.SHOP_HOSTS[0] if settings.SHOP_HOSTS else "127.0.0.1"
    return f"https://{host}/sign-in/link/" if settings.SECURE else f"http://{host}:{PORT}/sign-in/link/"


def _serve() -> str:
    """The command that opens the site: where no proxy stands before it, it listens to the shop itself."""
    to_the_shop = settings.SHOP_HOSTS and not settings.SECURE
    return f"python3 manage.py serve{f' --listen 0.0.0.0:{PORT}' if to_the_shop else ''}"
