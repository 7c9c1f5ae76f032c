"""Texts in older character sets are told apart by the letters that each set yields, and shown before they are stored.

The words are ordinary ones of the trade in each language, from memory; what their bytes are, Python's codecs say.
"""

import io

import pytest
from django.core.management import CommandError, call_command

from kits.catalog.models import Item
from kits.exchange.actions import check_files, choose_lists, keep_upload, load_upload
from kits.exchange.files.codepages import CHARSETS, read_bytes
from kits.exchange.files.sheet_file import SheetFile
from kits.exchange.uploads.outcome import outcome_from_json
from tests.kits.exchange.books import AT, remarks_of
from tests.kits.persons import person_of

HEAD = "part_number,description,kind,stock_unit"
WORDS = {
    "Czech": "těsnění pístu;kroužek 12×3 mm;šroub s čočkovou hlavou",
    "Slovak": "tesniaci krúžok;ventil – ľavý;pružina",
    "Polish": "pierścień uszczelniający;tłok;zawór ssący",
    "Hungarian": "tömítőgyűrű;rugó;dugattyú",
    "Croatian": "čašica za ventil;šipka;mjehurić",
    "German": "Dichtung für Kolben;Größe Ø 12 ±0,1;Überdruck",
    "French": "clapet à siège;pièce de rechange;joint à lèvre",
    "Spanish": "válvula de succión;junta pequeña;¿cuál?",
    "Portuguese": "vedação do pistão;válvula de pressão",
    "Swedish": "fjäder för ventil;kulsäte;tätning på inlopp",
    "Norwegian": "blåse;tetning på innløp Ø12;fjær",
    "Icelandic": "þétting á stimpil;gormur í loka",
    "German and French": "Dichtung für Größe;joint à lèvre;Scheibe äußere;pièce intérieure",
    "signs of the trade": "cone 45° ø12;plate 5 m², 3 m³/h ±0.5;maker’s “soft” ring – 3×5;price 18 €",
}
CASES = [
    (language, charset)
    for language, words in WORDS.items()
    for charset in ("cp1252", "cp1250", "mac_roman")
    if words.encode(charset, "ignore").decode(charset) == words
]


def table(words):
    return "\n".join([HEAD, *(f"X-{number},{word},part,each" for number, word in enumerate(words.split(";")))])


@pytest.mark.parametrize(("language", "charset"), CASES)
def test_words_are_read_in_the_set_in_which_they_were_written(language, charset):
    text, reading = read_bytes(table(WORDS[language]).encode(charset), "items.csv")
    assert text == table(WORDS[language])
    assert reading.alike == ()


def test_every_set_is_tried_with_words_that_it_alone_spells():
    assert {charset for _, charset in CASES} == {"cp1252", "cp1250", "mac_roman"}
    assert len(CASES) > 20


def test_one_word_may_leave_it_open_and_then_it_is_said():
    """The byte of ø in one set is ż in another, and either may stand in a word."""
    _, reading = read_bytes(b"X-1,h\xbfjtryk,part,each\n", "items.csv")
    assert set(reading.alike) | {reading.charset} == {"cp1250", "mac_roman"}


def test_the_words_of_each_set_are_shown_to_choose_from():
    _, reading = read_bytes(table(WORDS["Polish"]).encode("cp1250"), "items.csv")
    samples = dict(reading.samples)
    assert samples["cp1250"] == ("pierścień uszczelniający", "tłok", "zawór ssący")
    assert samples["cp1252"][1] == "t³ok"
    assert set(samples) <= set(CHARSETS)


def test_a_set_that_cannot_read_the_bytes_is_not_offered():
    """The byte 9D stands for nothing in the western set, and for a letter in the central European one."""
    offered = dict(read_bytes(b"X-1,\x9dah,part,each\n", "items.csv")[1].samples)
    assert "cp1252" not in offered
    assert offered["cp1250"] == ("ťah",)


@pytest.mark.django_db
def test_the_set_is_said_and_another_can_be_chosen_before_anything_is_stored():
    lead = person_of("Service lead")
    text = table("víčko;pružina").encode("cp1250")
    kept = keep_upload(files=[SheetFile("items.csv", text)], by=lead, at=AT)
    (reading,) = outcome_from_json(kept.outcome).texts
    assert reading.charset == "cp1250"
    outcome = choose_lists(upload=kept, lists={}, charsets={"items.csv": "cp1252"}, by=lead, at=AT)
    assert outcome.sheets[0].rows[0].changes
    assert "read as Windows western text (cp1252)" in remarks_of(outcome)
    kept.refresh_from_db()
    assert kept.instructions["charsets"] == {"items.csv": "cp1252"}
    assert not Item.objects.exists()


@pytest.mark.django_db
def test_what_was_chosen_is_what_is_loaded():
    lead = person_of("Service lead")
    kept = keep_upload(files=[SheetFile("items.csv", table("víčko").encode("cp1250"))], by=lead, at=AT)
    choose_lists(upload=kept, lists={}, charsets={"items.csv": "mac_roman"}, by=lead, at=AT)
    assert load_upload(upload=kept, by=lead, at=AT).stored
    assert Item.objects.get().description == "víčko".encode("cp1250").decode("mac_roman")


@pytest.mark.django_db
def test_the_command_takes_a_set_and_refuses_one_that_is_not_known(tmp_path):
    path = tmp_path / "items.csv"
    path.write_bytes(table("víčko").encode("cp1250"))
    out = io.StringIO()
    call_command("load", str(path), "--charset", "items.csv=mac_roman", stdout=out)
    assert "Macintosh western text (mac_roman)" in out.getvalue()
    with pytest.raises(CommandError, match="write one of cp1252, cp1250"):
        call_command("load", str(path), "--charset", "items.csv=klingon")


@pytest.mark.django_db
def test_bytes_that_are_no_text_are_refused():
    outcome = check_files(files=[SheetFile("items.csv", b"a,b\x00c\n")], at=AT)
    assert "not a text file" in outcome.problems[0].reason
