"""What a kit fits and what a scope opens is said on pages, by the service lead, and only if the lists stay sound."""

import pytest

from kits.catalog.history.versions import versions_of
from kits.catalog.models import Item, KitFit, ScopeSection
from kits.planning.queries import plan_now
from tests.kits.exchange.books import load_sheets
from tests.kits.persons import person_of
from tests.kits.web.shops import sheet_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead(client, small_shop):
    """A browser in which the service lead of the small shop has signed in."""
    client.force_login(person_of("Service lead"))
    return client


def item(number):
    return Item.objects.get(part_number=number)


def fit(**said):
    return {"fits": "E-1", "option": "", "instances": "1", "set_name": "", "why": "new kit of the maker", **said}


def scope(lead, name="", **counts):
    """The fields of the page of a scope, as it stands there, with other counts."""
    page = lead.get("/scopes/P-1/", {"scope": name})
    form = page.context["form"]
    fields = {
        "scope": name,
        "use_kits": "on",
        "option": "",
        "why": "asked for by a customer",
        "seen": form["seen"].value(),
    }
    fields |= {field.html_name: field.value() or "" for _, field in form.rows()}
    return fields | {f"open-{item(number.replace('_', '-')).pk}": str(count) for number, count in counts.items()}


# --- kits


def test_a_kit_without_a_fit_leads_to_the_page_that_says_it(lead):
    KitFit.objects.all().delete()
    page = lead.get("/kits/K-1/").content.decode()
    assert "/fits/K-1/" in page
    assert "It fits nothing yet, so no job takes it." in sheet_of(lead.get("/fits/K-1/"))
    sheet = sheet_of(lead.post("/fits/K-1/", fit(), follow=True))
    assert "K-1 fits E-1 from now on." in sheet
    assert "Does it fit E-1?" in sheet
    assert [row.kit for row in plan_now().demand.structure.fits] == ["K-1"]


def test_the_same_fit_said_again_is_changed_and_its_history_kept(lead):
    lead.post("/fits/K-1/", fit(instances="2", preferred="on"))
    stored = KitFit.objects.get()
    assert (stored.instances, stored.preferred) == (2, True)
    last = versions_of(KitFit).first()
    assert (last.history_change_reason, last.history_user.username) == ("new kit of the maker", "lead")


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"fits": "E-9"}, "There is no item E-9"),
        ({"fits": "OR-014"}, "OR-014 is a part: a kit fits an assembly or a pump."),
        ({"fits": ""}, "Nothing was named"),
        ({"option": "FKM"}, "is not a name and a value: write it as compound=FKM"),
        ({"instances": "0"}, "0 is too little"),
        ({"why": ""}, "Write why"),
    ],
)
def test_a_fit_that_cannot_be_is_refused_beside_its_field(lead, said, says):
    answer = lead.post("/fits/K-1/", fit(**said))
    assert answer.status_code == 422
    assert says in sheet_of(answer)
    assert KitFit.objects.count() == 1


def test_a_fit_that_would_stop_the_plan_is_refused_with_its_fault(lead):
    load_sheets(
        {
            "Items": [["part_number", "description", "kind", "stock_unit"], ["E-2", "other", "assembly", "each"]],
            "Structure": [["parent", "child", "quantity", "at_rebuild"], ["E-2", "BA-1", 1, "renew"]],
        }
    )
    answer = lead.post("/fits/K-1/", fit(fits="E-2"))
    assert "shares no part with E-2" in sheet_of(answer)
    assert KitFit.objects.count() == 1


def test_a_fit_is_taken_away_once_and_with_a_reason(lead):
    stored = KitFit.objects.get()
    said = {"fit": stored.pk, "why": "the maker changed it"}
    assert "Write why" in sheet_of(lead.post("/fits/away/K-1/", {"fit": stored.pk}, follow=True))
    assert "was taken away" in sheet_of(lead.post("/fits/away/K-1/", said, follow=True))
    assert "was taken away already" in sheet_of(lead.post("/fits/away/K-1/", said, follow=True))
    assert not KitFit.objects.exists()
    assert versions_of(KitFit).first().history_change_reason == "the maker changed it"


def test_a_fit_of_another_kit_is_not_taken_away_from_here(lead):
    load_sheets({"Items": [["part_number", "description", "kind", "stock_unit"], ["K-2", "kit", "kit", "each"]]})
    lead.post("/fits/away/K-2/", {"fit": KitFit.objects.get().pk, "why": "wrong page"})
    assert KitFit.objects.count() == 1


# --- scopes


def test_a_scope_is_made_from_what_the_pump_holds(lead):
    sheet = sheet_of(lead.get("/scopes/P-1/"))
    assert "E-1 liquid end 2" in sheet
    assert "CK-1 check valve 4" in sheet
    assert "P-1 twin pump 1" in sheet
    sheet = sheet_of(lead.post("/scopes/P-1/", scope(lead, "one end", E_1=1), follow=True))
    assert "The scope one end of P-1 is stored." in sheet
    assert "one end Change it 1 × E-1" in sheet
    assert versions_of(ScopeSection).first().history_change_reason == "asked for by a customer"


def test_a_scope_is_changed_and_keeps_what_was_not_touched(lead):
    fields = scope(lead, "full", P_1=1)
    lead.post("/scopes/P-1/", fields)
    assert {row.section.part_number: row.how_many for row in ScopeSection.objects.all()} == {"E-1": 2, "P-1": 1}


def test_what_holds_for_all_rows_of_a_scope_is_stored_on_all(lead):
    fields = scope(lead, "full", P_1=1) | {"use_kits": "", "option": "depth = deep", "signed_for": "on"}
    lead.post("/scopes/P-1/", fields)
    rows = ScopeSection.objects.filter(scope="full")
    assert {(row.use_kits, row.option, row.signed_for) for row in rows} == {(False, "depth=deep", True)}


def test_a_scope_opens_no_more_than_the_pump_holds(lead):
    answer = lead.post("/scopes/P-1/", scope(lead, "too much", E_1=3))
    assert answer.status_code == 422
    assert "The pump holds 2: write 2 or fewer." in sheet_of(answer)


def test_a_scope_of_a_job_is_not_given_up(lead):
    answer = lead.post("/scopes/P-1/", scope(lead, "full", E_1=""))
    assert "asks for scope 'full', which P-1 does not have" in sheet_of(answer)
    assert ScopeSection.objects.filter(scope="full").exists()


def test_a_scope_that_no_job_names_is_given_up_when_it_opens_nothing(lead):
    lead.post("/scopes/P-1/", scope(lead, "one end", E_1=1))
    lead.post("/scopes/P-1/", scope(lead, "one end", E_1=""))
    assert not ScopeSection.objects.filter(scope="one end").exists()
    assert versions_of(ScopeSection).first().history_type == "-"


def test_a_new_scope_that_opens_nothing_is_refused(lead):
    assert "opens nothing" in sheet_of(lead.post("/scopes/P-1/", scope(lead, "empty")))


def test_two_people_at_one_scope_do_not_undo_each_other(lead):
    mine = scope(lead, "full", E_1=1)
    lead.post("/scopes/P-1/", scope(lead, "full", P_1=1))
    answer = lead.post("/scopes/P-1/", mine)
    assert "Somebody changed the scope full of P-1 meanwhile" in sheet_of(answer)
    assert ScopeSection.objects.get(section__part_number="E-1").how_many == 2


def test_a_scope_stored_twice_is_stored_once(lead):
    fields = scope(lead, "one end", E_1=1)
    lead.post("/scopes/P-1/", fields)
    assert lead.post("/scopes/P-1/", fields).status_code == 302
    assert ScopeSection.objects.filter(scope="one end").count() == 1


def test_a_name_that_is_taken_is_not_written_over(lead):
    fields = scope(lead, "", E_1=1) | {"scope": "Full"}
    assert "has a scope full already" in sheet_of(lead.post("/scopes/P-1/", fields))


@pytest.mark.parametrize("address", ["/fits/K-1/", "/scopes/P-1/"])
def test_only_the_service_lead_says_it(small_shop, reader, address):
    assert reader.get(address).status_code == 403
    assert reader.post(address, fit()).status_code == 403
    assert address not in reader.get("/kits/K-1/").content.decode() + reader.get("/pumps/P-1/").content.decode()


@pytest.mark.parametrize("address", ["/fits/P-1/", "/fits/nothing/", "/scopes/K-1/", "/scopes/nothing/"])
def test_what_is_no_kit_or_pump_is_not_found(lead, address):
    assert lead.get(address).status_code == 404
