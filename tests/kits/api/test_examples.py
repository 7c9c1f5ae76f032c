"""The examples of the guide, run as they stand there."""

import json
import os
import re
import shutil
import subprocess
import sys

import pytest

from kits.exchange.models import Upload
from kits.stock.models import Posting
from tests.architecture.source import TOP
from tests.kits.api.conftest import Program
from tests.kits.persons import person_of
from tests.kits.web.shops import load_demo


def examples():
    chapter = (TOP / "README.md").read_text(encoding="utf-8").split("## Other programs\n")[1].split("\n## ")[0]
    return re.findall(r"```\n(.*?)```", chapter, re.DOTALL)


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_the_examples_of_the_guide_do_what_they_say(live_server):
    load_demo()
    program = Program(person_of("Administrator"))
    shell, python = examples()
    around = {**os.environ, "TOKEN": program.secret, "SITE": live_server.url, "NO_PROXY": "*", "no_proxy": "*"}
    if shutil.which("curl"):
        listed, planned, checked = (
            json.loads(
                subprocess.run(["sh", "-c", line], env=around, capture_output=True, check=True, timeout=60).stdout
            )
            for line in shell.strip().splitlines()
        )
        assert listed["name"] == "Schedule"
        assert planned["jobs"][0]["job"] == "J-3101"
        assert checked["upload"] == Upload.objects.latest("pk").pk
        assert (checked["state"], checked["lists"][0]["changed"]) == ("checked", 1)
    ran = subprocess.run([sys.executable, "-c", python], env=around, capture_output=True, text=True, timeout=60)
    assert ran.returncode == 0, ran.stderr
    assert "Schedule {'job': 'J-3101'}" in ran.stdout
    assert "ask next time since" in ran.stdout
    assert Posting.objects.filter(key__startswith="api:movement:").count() == 1
