"""Random shops go out as sheets and come back: the same plan, and the same sheets cell by cell."""

import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from kits.exchange.actions import load_files
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.workbooks.dump import dump_workbook
from kits.planning.snapshot.shop import take_snapshot
from tests.keeping import taken_back
from tests.kits.exchange.books import AT, book_file
from tests.kits.exchange.shop_sheets import as_kept, sheets_of_shop
from tests.kits.exchange.test_dump import assert_same_sheets
from tests.shops import random_shop

SEEDS = (1, 2, 3, 5, 8, 13, 21, 34)


def load(files):
    outcome = load_files(files=files, by=None, at=AT)
    assert outcome.stored, [problem.says for problem in outcome.problems][:10]


def answer(shop):
    return as_json(plan(take_snapshot(shop.as_of, None)))


@pytest.mark.django_db
@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_shop_comes_back_with_the_same_plan_and_the_same_sheets(seed):
    shop = as_kept(random_shop(seed))
    with taken_back():
        load([book_file(sheets_of_shop(shop))])
        before, content = answer(shop), dump_workbook()
    assert before == as_json(plan(shop))
    load([SheetFile("dump.xlsx", content)])
    assert answer(shop) == before
    assert_same_sheets(dump_workbook(), content)
