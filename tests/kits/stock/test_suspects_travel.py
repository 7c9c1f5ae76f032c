"""A suspect lot goes out with the lists as one in quarantine; the suspicion itself has no sheet, as its page says."""

import pytest

from kits.exchange.workbooks.dump import dump_workbook
from kits.people.models import User
from kits.stock.models import Balance, Lot, Suspicion
from kits.stock.suspects.actions import freeze_lot
from tests.keeping import taken_back
from tests.kits.exchange.books import AT
from tests.kits.exchange.test_dump import answer, reload_dump, sheets_of
from tests.kits.web.shops import load_demo

pytestmark = pytest.mark.django_db


def held():
    rows = Balance.objects.filter(condition="quarantine", quantity__gt=0).order_by("lot__folded")
    return list(rows.values_list("lot__lot", "place__place", "quantity"))


def test_frozen_lots_and_their_kits_arrive_in_quarantine_and_the_plan_is_the_same():
    with taken_back():
        load_demo()
        clerk = User.objects.create_user("cleo")
        freeze_lot(lot=Lot.objects.get(lot="NV-2104"), reason="soft to the nail", by=clerk, at=AT, key="freeze")
        before, frozen, content = answer(), held(), dump_workbook()
    assert {"NV-2104", "P-0551"} <= {lot for lot, _, _ in frozen}, "the lot, and the kit that holds it"
    assert "Suspicions" not in sheets_of(content)
    reload_dump(content)
    assert held() == frozen
    assert answer() == before
    assert not Suspicion.objects.exists()
