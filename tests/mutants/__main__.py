"""Change the engine's modules one small thing at a time, and print what no test notices.

    python -m tests.mutants                         all of MODULES: some hours of processor time
    python -m tests.mutants supply/matching         these modules of bom/ only
    ... supply/matching --within 0.3                only with tests that take no longer than this, in seconds
    ... supply/bags --tests tests/bom/supply        only with the tests of these files and folders
    ... supply/matching --only serve                only mutants whose name holds this; named more than once, any
    ... --list supply/matching                      names the mutants and tries none

Mutants of which nothing can be seen stand in ``harmless.py``, each with its reason; they are counted, not tried,
unless ``--again`` is given. The command fails where a mutant lives that does not stand there.
"""

import argparse
import sys
from pathlib import Path

import pytest

from tests.mutants.changes import list_mutants
from tests.mutants.harmless import HARMLESS
from tests.mutants.running import Runner

MODULES = (
    "structure/tables",
    "buying/order_size",
    "demand/kit_cover",
    "supply/bags",
    "supply/supplies",
    "supply/matching",
    "demand/recipes",
    "demand/explosion",
    "wear/planned",
    "demand/chances",
    "wear/sums",
)

TESTS = (
    "tests/bom/buying",
    "tests/bom/demand",
    "tests/bom/supply",
    "tests/bom/wear",
    "tests/bom/answers",
    "tests/bom/structure/test_shelf_life.py",
    "tests/bom/questions/test_wear_outlook.py",
    "tests/bom/test_invented_shop.py",
    "tests/bom/test_plan_against_oracle.py",
    "tests/bom/test_properties.py",
    "tests/bom/test_validators.py",
    "tests/published",
)
"""What is run: the modules' own tests, then the slow oracle, the rules on random shops, properties, published plans."""


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__.splitlines()[0])
    parser.add_argument("modules", nargs="*", default=MODULES)
    parser.add_argument("--tests", nargs="+", default=TESTS)
    parser.add_argument("--within", type=float, default=float("inf"))
    parser.add_argument("--again", action="store_true")
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--only", action="append", default=[])
    asked = parser.parse_args()
    paths = [f"bom/{name}.py" for name in asked.modules]
    if asked.list:
        for path in paths:
            for mutant in list_mutants(Path(path).read_text(encoding="utf-8")):
                print(f"{path}:{mutant.line} {mutant.key}")
        return 0
    counts = {path: [0, 0, 0, 0] for path in paths}

    def chosen(path, mutants):
        for mutant in mutants:
            if asked.only and not any(word in mutant.key for word in asked.only):
                continue
            counts[path][0] += 1
            if mutant.key in HARMLESS.get(path, {}) and not asked.again:
                counts[path][1] += 1
            else:
                yield mutant

    def told(path, mutant, noticed_by):
        counts[path][2 if noticed_by else 3] += 1
        if noticed_by is None or asked.only:
            print(f"{path}:{mutant.line} {mutant.key}: {noticed_by or 'LIVES'}", flush=True)

    runner = Runner(paths, chosen, asked.within, told)
    arguments = ["-q", "-s", "-p", "no:cacheprovider", "--hypothesis-profile=mutants", *asked.tests]
    status = pytest.main(arguments, plugins=[runner])
    print("\n| module | mutants | harmless | noticed | live |\n|---|---|---|---|---|")
    for path, numbers in counts.items():
        print(f"| `{path}` | {' | '.join(map(str, numbers))} |")
    return status or any(live for *_, live in counts.values())


if __name__ == "__main__":
    sys.exit(main())
