"""What the whole suite shares: what a machine must have for which tests, and settings made fast for tests."""

import gc
import importlib.util
import os
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase
from hypothesis import settings as hypothesis_settings

CI = os.environ.get("CI", "").lower() == "true"
BROWSER_TESTS = Path(__file__).parent / "browser"
BARE_TESTS = [Path(__file__).parent / folder for folder in ("architecture", "bom", "mutants", "oracle", "published")]
CHROMIUM = os.environ.get("CHROMIUM") or next(
    filter(None, map(shutil.which, ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"))), None
)
OFFICE = shutil.which("soffice") or shutil.which("libreoffice")

# The browser's driver runs an event loop in this thread, which Django would otherwise refuse to work beside.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

# A slow machine is no failure of the code; in CI the same examples come every time, elsewhere new ones are tried.
hypothesis_settings.register_profile(
    "suite", deadline=None, print_blob=True, derandomize=CI, suppress_health_check=[HealthCheck.too_slow]
)
# Whether a mutant is noticed is all that counts there; the smallest example that notices it is not looked for.
hypothesis_settings.register_profile(
    "mutants", deadline=None, derandomize=True, database=None, phases=(Phase.explicit, Phase.generate)
)
hypothesis_settings.load_profile("suite")


def pytest_configure():
    """Leave out what only a site of a shop needs: the sign-in lock, a slow password hash, marked names of style
    sheets, which the server of browser tests does not know, a plan shown too soon."""
    from django.conf import settings

    settings.AXES_ENABLED = False
    settings.STORAGES["staticfiles"]["BACKEND"] = "kits.web.serving.static_names.AddressedOnce"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

    share_the_files_served()

    # A slow machine is no reason to show the last plan: pages say what was booked, except where a test is about that.
    from kits.planning.keeping import plans

    plans.PATIENCE_SECONDS = 600


def share_the_files_served():
    """Every browser of a test starts the site anew; its style sheets and scripts are looked for once."""
    from kits.web.serving.static_names import ServeByContent

    look, found = ServeByContent.add_files_from_finders, {}

    def add_found(server):
        known = found.get(server.static_prefix)
        if known is None:
            look(server)
            found[server.static_prefix] = {**server.files}, {*server.marked}
        else:
            server.files.update(known[0])
            server.marked |= known[1]

    ServeByContent.add_files_from_finders = add_found


def pytest_collection_modifyitems(items):
    for item in items:
        if BROWSER_TESTS in item.path.parents:
            item.add_marker("browser")
        if not {*BARE_TESTS}.isdisjoint(item.path.parents):
            item.add_marker("bare")
        asks = {"db", "transactional_db"} & {*getattr(item, "fixturenames", ())} or item.get_closest_marker("django_db")
        if item.get_closest_marker("bare") and asks:
            raise pytest.UsageError(f"{item.nodeid} asks the database, so it may not be marked bare.")


def pytest_collection_finish():
    """Look for rubbish seldom, as a site of a shop does, and never among what stays: a sixth of the time of a suite."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)


def pytest_sessionfinish():
    """What is left when all is done goes with the process; looking through it five times is seconds of each."""
    gc.freeze()


def find_reasons_to_skip():
    """Return, for each marker that asks something of the machine, why its tests cannot run here."""
    from django.conf import settings

    reasons = {}
    if any(importlib.util.find_spec(name) is None for name in ("playwright", "pytest_playwright")):
        reasons["browser"] = "the library playwright is not installed (requirements-dev.lock has it)"
    elif CHROMIUM is None or not Path(CHROMIUM).exists():
        reasons["browser"] = "no Chromium on this machine (CHROMIUM may name one)"
    if "postgresql" not in settings.DATABASES["default"]["ENGINE"]:
        reasons["postgres"] = "DATABASE_URL does not name a PostgreSQL server"
    if OFFICE is None:
        reasons["office"] = "no LibreOffice on this machine (Debian: libreoffice-calc)"
    return reasons


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    for marker, reason in find_reasons_to_skip().items():
        if item.get_closest_marker(marker):
            pytest.skip(reason)


def fail_in_ci(report):
    """In CI nothing may be missing: there a skipped browser, PostgreSQL or LibreOffice test is a failed one."""
    if CI and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid} may not be skipped in CI: {reason}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    report = yield
    asks_of_machine = {"browser", "postgres", "office"} & {mark.name for mark in item.iter_markers()}
    return fail_in_ci(report) if asks_of_machine else report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    """A browser test imports its library at the top; where that is missing, its whole file is skipped."""
    report = yield
    if BROWSER_TESTS not in getattr(collector, "path", Path()).parents:
        return report
    reason = find_reasons_to_skip().get("browser")
    if report.failed and reason:
        report.outcome, report.longrepr = "skipped", (str(collector.path), None, f"Skipped: {reason}")
    return fail_in_ci(report)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """The database of the tests, which is emptied in our own way after a test that committed."""
    from tests.emptying import remember_roles

    with django_db_blocker.unblock():
        remember_roles()


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    """Start the machine's own Chromium, which works as root and asks nothing of a network.

    A page takes over the frame of the one before it, where Chromium would make a new one: a tap that came in between
    was never answered, and its test waited for ever.
    """
    return {
        **browser_type_launch_args,
        "executable_path": CHROMIUM,
        "args": [
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            "--enable-features=RenderDocument:level/crashed-frame",
        ],
    }
