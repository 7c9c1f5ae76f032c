"""Makes the libraries available on a machine that has nothing but Python; standard library only, no Django.

Whoever has an environment of their own is left alone. Otherwise ``.venv`` is made once from a lock file, which names
every library with its version and hash, and the command runs there: from ``requirements.lock`` for every command but
``test``, which adds what stands in ``requirements-test.lock``. A folder ``wheelhouse`` beside the lock files makes the
same without a network.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
import os
import re
import subprocess
import sys
import time
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
LOCK_FILE = TOP / "requirements.lock"
TEST_LOCK_FILE = TOP / "requirements-test.lock"
"""Holds all of the first and what the tests need besides."""
OWN_ENVIRONMENT = TOP / ".venv"
WHEELHOUSE = TOP / "wheelhouse"
# Written when the environment is begun and when it is whole, so that one a person made is never touched: the hash of
# the lock file that was installed last.
MARKER = OWN_ENVIRONMENT / "made-from-lock"
UNFINISHED = "unfinished"
RENEWED = "half renewed"
HANDED_OVER = "REBUILD_BENCH_HANDED_OVER"


class CannotStart(Exception):
    """The command cannot run here: one sentence with the reason and the remedy."""


def is_complete(arguments: list[str]) -> bool:
    """Say whether every library that the command needs is installed for this Python."""
    check_python_version()
    return not list_missing_libraries(arguments)


def is_for_tests(arguments: list[str]) -> bool:
    """Say whether the command is the one that runs the tests."""
    return arguments[:1] == ["test"]


def check_python_version() -> None:
    """Refuse a Python that is too old to run the product."""
    if sys.version_info < (3, 11):  # noqa: UP036  (this is the file that says so)
        version = ".".join(str(part) for part in sys.version_info[:3])
        raise CannotStart(f"this is Python {version}, but 3.11 or newer is needed: start the command with a newer one.")


def list_missing_libraries(arguments: list[str]) -> list[str]:
    """Return the names of the libraries that the command needs and that are not installed."""
    import tomllib  # not there before Python 3.11, which is refused first

    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = [*project["dependencies"]]
    if is_for_tests(arguments):
        needed += project["optional-dependencies"]["test"]
    names = [re.split(r"[\s\[<>=!~;]", requirement, maxsplit=1)[0] for requirement in needed]
    return [name for name in names if not is_installed(name)]


def is_installed(name: str) -> bool:
    """Say whether a library of this name is installed, in whatever version."""
    try:
        importlib.metadata.distribution(name)
    except importlib.metadata.PackageNotFoundError:
        return False
    return True


def run_in_own_environment(arguments: list[str]) -> int:
    """Make ``.venv`` where it is missing, bring it up to its lock file where it is older, and run the command there."""
    lock_file = TEST_LOCK_FILE if is_for_tests(arguments) else LOCK_FILE
    if os.environ.get(HANDED_OVER):
        missing = ", ".join(list_missing_libraries(arguments))
        raise CannotStart(
            f"the environment {OWN_ENVIRONMENT} lacks {missing}: delete the folder and it is made anew, "
            f"or install {lock_file.name} into it."
        )
    if must_be_made():
        make_own_environment(lock_file)
    elif is_older() or lacks_test_libraries(lock_file):
        add_libraries(lock_file)
    return run_there(arguments)


def must_be_made() -> bool:
    """Say whether the environment is missing, or was left half made."""
    return not find_python().exists() or (MARKER.exists() and read_marker() == UNFINISHED)


def is_older() -> bool:
    """Say whether the environment belongs to older lock files: what somebody added to it since then stays in it."""
    return MARKER.exists() and read_marker() not in {hash_lock_file(LOCK_FILE), hash_lock_file(TEST_LOCK_FILE)}


def lacks_test_libraries(lock_file: Path) -> bool:
    """Say whether the environment was made to run the product, and now has to run the tests too."""
    return lock_file == TEST_LOCK_FILE and MARKER.exists() and read_marker() == hash_lock_file(LOCK_FILE)


def read_marker() -> str:
    """Return the hash of the lock file that was installed last."""
    return MARKER.read_text(encoding="ascii")


def hash_lock_file(lock_file: Path) -> str:
    """Return the hash by which the environment remembers a lock file."""
    if not lock_file.exists():
        raise CannotStart(f"the lock file {lock_file} is missing: get the project whole, it names the libraries.")
    return hashlib.sha256(lock_file.read_bytes()).hexdigest()


def find_python() -> Path:
    """Return where the environment keeps its Python, which differs between systems."""
    return OWN_ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def make_own_environment(lock_file: Path) -> None:
    """Make the environment and install a lock file into it, reporting on the error stream."""
    hash_lock_file(lock_file)  # refuse a missing file before anything is made
    if importlib.util.find_spec("ensurepip") is None:
        version = ".".join(str(part) for part in sys.version_info[:2])
        raise CannotStart(
            "this Python cannot make an environment: install the system's package python3-venv "
            f"(or python{version}-venv) and start the command again."
        )
    say(f"Making the environment {OWN_ENVIRONMENT} ...")
    run_step("making the environment", [sys.executable, "-m", "venv", "--clear", str(OWN_ENVIRONMENT)])
    MARKER.write_text(UNFINISHED, encoding="ascii")
    add_libraries(lock_file)


def add_libraries(lock_file: Path) -> None:
    """Install a lock file into the environment, reporting on the error stream."""
    started = time.monotonic()
    where = f"from {WHEELHOUSE}" if WHEELHOUSE.is_dir() else "from the package registry"
    say(f"Installing the libraries of {lock_file.name} (once, about half a minute; {where}) ...")
    if read_marker() != UNFINISHED:
        MARKER.write_text(RENEWED, encoding="ascii")  # broken off, the next command goes on with it
    run_step("installing the libraries", [str(find_python()), *pip_arguments(lock_file)])
    MARKER.write_text(hash_lock_file(lock_file), encoding="ascii")
    say(f"The environment is ready after {time.monotonic() - started:.0f} seconds.")


def pip_arguments(lock_file: Path) -> list[str]:
    """Return the call of pip: exactly the lock file, built wheels only, so that nothing is compiled here.

    ``--no-deps``: the file holds every library already, and pip would take a name with an extra for one that is not
    pinned as soon as a newer release of it appears. ``--no-compile``: most modules are never loaded, and Python keeps
    those that are as soon as they are.
    """
    arguments = [
        "-m",
        "pip",
        "install",
        "--quiet",
        "--no-input",
        "--disable-pip-version-check",
        "--progress-bar",
        "off",
    ]
    exactly = ["--require-hashes", "--no-deps", "--only-binary", ":all:", "--no-compile"]
    arguments += [*exactly, "--requirement", str(lock_file)]
    if WHEELHOUSE.is_dir():
        arguments += ["--no-index", "--find-links", str(WHEELHOUSE)]
    return arguments


def run_step(what: str, command: list[str]) -> None:
    """Run one step of the set-up and refuse with the end of its output when it fails."""
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace")
    if done.returncode == 0:
        return
    lines = [line.strip() for line in done.stdout.splitlines() if line.strip()]
    told = [line for line in lines if line.lower().startswith("error")] or lines
    reason = "; ".join(told[-2:]).rstrip(".") or f"exit code {done.returncode}"
    raise CannotStart(
        f"{what} failed ({reason}): check the network and the disk and start the command again, "
        f"or put the wheels that the lock file names into {WHEELHOUSE}."
    )


def run_there(arguments: list[str]) -> int:
    """Run the command again with the environment's Python."""
    command = [str(find_python()), str(TOP / "manage.py"), *arguments]
    environment = {**os.environ, HANDED_OVER: "1"}
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name != "nt":
        # The process is replaced, so that a signal to the command reaches the command.
        os.execve(command[0], command, environment)
    try:
        return subprocess.run(command, env=environment).returncode
    except KeyboardInterrupt:
        return 130


def say(sentence: str) -> None:
    """Tell a person what is going on; the output stream belongs to the command."""
    print(sentence, file=sys.stderr, flush=True)
