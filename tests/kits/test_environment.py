"""The first run on a machine without the libraries: ``.venv`` is made once, and every refusal is one sentence."""

import hashlib
import subprocess
import sys

import pytest

from kits import environment
from kits.environment import CannotStart


@pytest.fixture
def top(tmp_path, monkeypatch):
    """A project folder with a lock file and nothing else."""
    (tmp_path / "requirements.lock").write_text("django==5.2.19\n")
    (tmp_path / "requirements-test.lock").write_text("django==5.2.19\npytest==9.2.0\n")
    (tmp_path / "pyproject.toml").write_text(
        '[project]\ndependencies = ["django>=5.2", "no-such-library[x]>=1"]\n'
        '[project.optional-dependencies]\ntest = ["no-such-test-library", "pytest"]\n'
    )
    monkeypatch.setattr(environment, "TOP", tmp_path)
    monkeypatch.setattr(environment, "LOCK_FILE", tmp_path / "requirements.lock")
    monkeypatch.setattr(environment, "TEST_LOCK_FILE", tmp_path / "requirements-test.lock")
    monkeypatch.setattr(environment, "OWN_ENVIRONMENT", tmp_path / ".venv")
    monkeypatch.setattr(environment, "WHEELHOUSE", tmp_path / "wheelhouse")
    monkeypatch.setattr(environment, "MARKER", tmp_path / ".venv" / "made-from-lock")
    monkeypatch.delenv(environment.HANDED_OVER, raising=False)
    return tmp_path


@pytest.fixture
def steps(monkeypatch):
    """The commands that a set-up would run, none of them run; making the environment leaves its Python."""
    commands = []

    def run_step(what, command):
        commands.append(command)
        python = environment.find_python()
        python.parent.mkdir(parents=True, exist_ok=True)
        python.touch()

    monkeypatch.setattr(environment, "run_step", run_step)
    return commands


def test_this_environment_is_complete():
    assert environment.is_complete(["demo"])
    assert environment.is_complete(["test"])


def test_missing_library_is_named(top):
    assert environment.list_missing_libraries(["demo"]) == ["no-such-library"]
    assert environment.list_missing_libraries([]) == ["no-such-library"]


def test_tests_need_their_own_libraries_too(top):
    assert environment.list_missing_libraries(["test", "-x"]) == ["no-such-library", "no-such-test-library"]


def test_old_python_is_refused(monkeypatch):
    monkeypatch.setattr(sys, "version_info", (3, 10, 4, "final", 0))
    with pytest.raises(CannotStart, match=r"this is Python 3\.10\.4, but 3\.11 or newer is needed"):
        environment.is_complete([])


def test_environment_is_made_from_the_lock_file_once(top, steps):
    assert environment.must_be_made()
    environment.make_own_environment(environment.LOCK_FILE)
    assert not environment.must_be_made()
    assert [step[1:3] for step in steps] == [["-m", "venv"], ["-m", "pip"]]
    assert {"--require-hashes", "--no-deps"} <= set(steps[1])  # nothing but the file, whatever was released since
    assert str(top / "requirements.lock") in steps[1]
    assert environment.MARKER.read_text() == hashlib.sha256(b"django==5.2.19\n").hexdigest()


def test_set_up_speaks_on_the_error_stream_only(top, steps, capsys):
    environment.make_own_environment(environment.LOCK_FILE)
    output = capsys.readouterr()
    assert output.out == ""
    assert output.err.startswith("Making the environment")


@pytest.fixture
def handed_over(monkeypatch):
    """The commands that were run again in the environment, which does not happen."""
    commands = []
    monkeypatch.setattr(environment, "run_there", lambda arguments: commands.append(arguments) or 0)
    return commands


def test_a_newer_lock_file_is_installed_beside_what_somebody_added(top, steps, handed_over):
    environment.run_in_own_environment(["demo"])
    (top / "requirements.lock").write_text("django==5.2.20\n")
    for _ in range(2):
        environment.run_in_own_environment(["migrate"])
    assert [step[2] for step in steps] == ["venv", "pip", "pip"]
    assert str(top / "requirements.lock") in steps[2]
    assert environment.MARKER.read_text() == hashlib.sha256(b"django==5.2.20\n").hexdigest()


def test_first_tests_add_their_libraries_to_what_the_demo_made(top, steps, handed_over):
    environment.run_in_own_environment(["demo"])
    environment.run_in_own_environment(["test"])
    environment.run_in_own_environment(["test"])
    assert [step[2] for step in steps] == ["venv", "pip", "pip"]
    assert steps[2][-1] == str(top / "requirements-test.lock")
    assert len(handed_over) == 3


def test_environment_of_the_tests_serves_every_other_command(top, steps, handed_over):
    environment.run_in_own_environment(["test"])
    environment.run_in_own_environment(["demo"])
    assert [step[2] for step in steps] == ["venv", "pip"]


def test_half_made_environment_is_made_anew(top, steps, monkeypatch):
    def fail_to_install(what, command):
        if "pip" in command:
            raise CannotStart("no network")
        environment.find_python().parent.mkdir(parents=True, exist_ok=True)
        environment.find_python().touch()

    monkeypatch.setattr(environment, "run_step", fail_to_install)
    with pytest.raises(CannotStart):
        environment.make_own_environment(environment.LOCK_FILE)
    assert environment.must_be_made()


def test_environment_made_by_a_person_is_left_alone(top):
    python = environment.find_python()
    python.parent.mkdir(parents=True)
    python.touch()
    assert not environment.must_be_made()


def test_incomplete_environment_of_a_person_is_told_not_looped(top, monkeypatch):
    monkeypatch.setenv(environment.HANDED_OVER, "1")
    with pytest.raises(CannotStart, match=r"lacks no-such-library: delete the folder"):
        environment.run_in_own_environment(["demo"])


def test_wheels_beside_the_lock_file_need_no_network(top):
    assert "--no-index" not in environment.pip_arguments(environment.LOCK_FILE)
    (top / "wheelhouse").mkdir()
    assert environment.pip_arguments(environment.LOCK_FILE)[-3:] == [
        "--no-index",
        "--find-links",
        str(top / "wheelhouse"),
    ]


def test_python_that_cannot_make_environments_is_told(top, monkeypatch):
    find_spec = environment.importlib.util.find_spec
    monkeypatch.setattr(
        environment.importlib.util, "find_spec", lambda name: None if name == "ensurepip" else find_spec(name)
    )
    with pytest.raises(CannotStart, match="install the system's package python3-venv"):
        environment.make_own_environment(environment.LOCK_FILE)


def test_missing_lock_file_is_told(top):
    (top / "requirements.lock").unlink()
    with pytest.raises(CannotStart, match="is missing"):
        environment.make_own_environment(environment.LOCK_FILE)


@pytest.mark.parametrize(
    ("printed", "told"),
    [
        (["WARNING: trying again", "ERROR: no matching wheel.", "a hint"], "ERROR: no matching wheel"),
        (["first", "disk is full"], "first; disk is full"),
        ([], "exit code 1"),
    ],
)
def test_failing_step_is_told_with_its_last_words(printed, told):
    script = f"print(chr(10).join({printed!r})); exit(1)"
    with pytest.raises(CannotStart) as refusal:
        environment.run_step("installing the libraries", [sys.executable, "-c", script])
    assert str(refusal.value).startswith(f"installing the libraries failed ({told}): check the network")


def test_system_without_replacing_processes_gets_the_exit_code(top, monkeypatch):
    calls = []
    monkeypatch.setattr(environment.os, "name", "nt")
    monkeypatch.setattr(environment, "find_python", lambda: top / ".venv/Scripts/python.exe")
    monkeypatch.setattr(
        environment.subprocess,
        "run",
        lambda command, env: calls.append((command, env)) or subprocess.CompletedProcess(command, 3),
    )
    assert environment.run_there(["plan", "--json"]) == 3
    assert calls[0][0] == [str(top / ".venv/Scripts/python.exe"), str(top / "manage.py"), "plan", "--json"]
    assert calls[0][1][environment.HANDED_OVER] == "1"


def test_a_renewal_that_broke_off_keeps_what_was_added_besides(top, steps, handed_over, monkeypatch):
    environment.run_in_own_environment(["demo"])
    (top / "requirements.lock").write_text("django==5.2.20\n")

    def fail(what, command):
        raise CannotStart("there is no network")

    with monkeypatch.context() as away:
        away.setattr(environment, "run_step", fail)
        with pytest.raises(CannotStart):
            environment.run_in_own_environment(["migrate"])
    environment.run_in_own_environment(["migrate"])
    assert [step[2] for step in steps] == ["venv", "pip", "pip"], "made once, its libraries renewed"
