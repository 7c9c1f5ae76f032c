"""Indented lists in the shapes people write them become the same rows of Structure."""

import csv
import io

import pytest

from kits.catalog.errors import Refusal
from kits.catalog.models import Item, StructureLine
from kits.exchange.actions import keep_upload, load_upload
from kits.exchange.models import UploadOrigin, UploadState
from kits.exchange.problems.findings import Findings
from kits.exchange.reading.indented_list import ListReading, indented_file
from tests.kits.exchange.books import AT, load_sheets
from tests.kits.persons import person_of

pytestmark = pytest.mark.django_db

SAME = {
    "bullets": "- P-9\t1\n  - E-9\t2\n    - CK-9\t2\n      - SE-9\t1\n    - OR-9\t3\n  - CO-9\t1",
    "bullets with counts": "* P-9\n  * 2 x E-9\n    * CK-9 (2x)\n      * SE-9 x1\n    * 3x OR-9\n  * 1 x CO-9",
    "branches": "P-9 1\n├── E-9 2\n│   ├── CK-9 2\n│   │   └── SE-9 1\n│   └── OR-9 3\n└── CO-9 1",
    "typed branches": "P-9  1\n|-- E-9  2\n|   |-- CK-9  2\n|   |   `-- SE-9  1\n|   +-- OR-9  3\n`-- CO-9  1",
    "spaces between": "\n".join(
        (
            "P-9   pump   1",
            "  E-9   end   2",
            "    CK-9   check   2",
            "      SE-9   seat   1",
            "    OR-9   ring   3",
            "  CO-9   cord   1",
        )
    ),
    "one space between": "P-9 1\n  E-9 2\n    CK-9 2\n      SE-9 1\n    OR-9 3\n  CO-9 1",
    "spaces and outline": "1   P-9  1\n1.1   E-9  2\n1.1.1  CK-9  2\n1.1.1.1  SE-9  1\n1.1.2  OR-9  3\n1.2   CO-9  1",
    "outline with nought": "\n".join(
        (
            "no\tpart\tqty",
            "1.0\tP-9\t1",
            "1.1\tE-9\t2",
            "1.1.1\tCK-9\t2",
            "1.1.1.1\tSE-9\t1",
            "1.1.2\tOR-9\t3",
            "1.2\tCO-9\t1",
        )
    ),
    "outline called a level": "\n".join(
        (
            "level;part;qty",
            "1;P-9;1",
            "1.1;E-9;2",
            "1.1.1;CK-9;2",
            "1.1.1.1;SE-9;1",
            "1.1.2;OR-9;3",
            "1.2;CO-9;1",
        )
    ),
    "table of pipes": "\n".join(
        (
            "| Part | Qty |",
            "|:--|--:|",
            "| P-9 | 1 |",
            "| . E-9 | 2 |",
            "| . . CK-9 | 2 |",
            "| . . . SE-9 | 1 |",
            "| . . OR-9 | 3 |",
            "| . CO-9 | 1 |",
        )
    ),
    "names indented": "\n".join(
        (
            "part no,part name,qty",
            "P-9,pump,1",
            "E-9,  end,2",
            "CK-9,    check,2",
            "SE-9,      seat,1",
            "OR-9,    ring,3",
            "CO-9,  cord,1",
        )
    ),
    "a column for each level": "\n".join(
        (
            "level 1,level 2,level 3,level 4,qty",
            "P-9,,,,1",
            ",E-9,,,2",
            ",,CK-9,,2",
            ",,,SE-9,1",
            ",,OR-9,,3",
            ",CO-9,,,1",
        )
    ),
    "preamble and totals": "\n".join(
        (
            "Pump list",
            "",
            "rev 3;;",
            "level;part no;qty",
            "0;P-9;1",
            "1;E-9;2",
            "2;CK-9;2",
            "3;SE-9;1",
            "level;part no;qty",
            "2;OR-9;3",
            "1;CO-9;1",
            ";Total;10",
        )
    ),
    "counts with words": "\n".join(
        (
            "level\tpart\tqty",
            "0\tP-9\t1",
            "1\tE-9\t2 pcs",
            "2\tCK-9\t2x",
            "3\tSE-9\tx1",
            "2\tOR-9\t3 off",
            "1\tCO-9\t1 ea",
        )
    ),
    "dots": "P-9\t1\n.E-9\t2\n..CK-9\t2\n...SE-9\t1\n..OR-9\t3\n.CO-9\t1",
    "dots and spaces": "P-9\t1\n. E-9\t2\n. . CK-9\t2\n. . . SE-9\t1\n. . OR-9\t3\n. CO-9\t1",
    "spaces": "P-9\t1\n   E-9\t2\n     CK-9\t2\n        SE-9\t1\n     OR-9\t3\n   CO-9\t1",
    "dashes": "P-9\t1\n- E-9\t2\n- - CK-9\t2\n- - - SE-9\t1\n- - OR-9\t3\n- CO-9\t1",
    "level number": "0\tP-9\t1\n1\tE-9\t2\n2\tCK-9\t2\n3\tSE-9\t1\n2\tOR-9\t3\n1\tCO-9\t1",
    "dotted level number": "0\tP-9\t1\n.1\tE-9\t2\n..2\tCK-9\t2\n...3\tSE-9\t1\n..2\tOR-9\t3\n.1\tCO-9\t1",
    "level column": "qty,level,part\n1,0,P-9\n2,1,E-9\n2,2,CK-9\n1,3,SE-9\n3,2,OR-9\n1,1,CO-9",
    "outline": "1\tP-9\t1\n1.1\tE-9\t2\n1.1.1\tCK-9\t2\n1.1.1.1\tSE-9\t1\n1.1.2\tOR-9\t3\n1.2\tCO-9\t1",
    "outline column": "item;part no;qty\n1;P-9;1\n1.1;E-9;2\n1.1.1;CK-9;2\n1.1.1.1;SE-9;1\n1.1.2;OR-9;3\n1.2;CO-9;1",
    "columns": "P-9\t\t\t\t1\n\tE-9\t\t\t2\n\t\tCK-9\t\t2\n\t\t\tSE-9\t1\n\t\tOR-9\t\t3\n\tCO-9\t\t\t1",
    "no-break spaces": "P-9\t1\n__E-9\t2\n___CK-9\t2\n     SE-9\t1\n___OR-9\t3\n  CO-9\t1".replace("_", "\u00a0"),
}
LINES = [("P-9", "E-9", "2"), ("E-9", "CK-9", "2"), ("CK-9", "SE-9", "1"), ("E-9", "OR-9", "3"), ("P-9", "CO-9", "1")]


def rows_of(text, findings=None, **reading):
    file = indented_file(text, ListReading(**reading), findings or Findings())
    assert file.name == "structure.csv"
    return [row for row in csv.DictReader(io.StringIO(file.content.decode())) if row["parent"]]


def lines_of(rows):
    return [(row["parent"], row["child"], row["quantity"]) for row in rows]


def problems_of(text, **reading):
    findings = Findings()
    rows_of(text, findings, **reading)
    return [(problem.row, problem.value, problem.reason) for problem in findings.problems]


@pytest.mark.parametrize("shape", SAME)
def test_every_shape_gives_the_same_lines(shape):
    findings = Findings()
    assert lines_of(rows_of(SAME[shape], findings)) == LINES
    assert not findings.problems
    assert "the list was read by" in findings.remarks[0].says


def test_the_topmost_lines_belong_to_the_assembly_whose_page_it_is():
    assert lines_of(rows_of("CK-9\t2\n.SE-9\t1\nOR-9\t3", parent="E-9")) == [
        ("E-9", "CK-9", "2"),
        ("CK-9", "SE-9", "1"),
        ("E-9", "OR-9", "3"),
    ]


def test_a_shape_that_was_said_is_not_guessed_at():
    text = "0\t1\t5\n1\t2\t7"
    assert lines_of(rows_of(text)) == [("1", "2", "7")]
    assert lines_of(rows_of(text, shape="signs", parent="E-9")) == [("E-9", "0", "1"), ("E-9", "1", "2")]


def test_part_numbers_of_digits_and_points_are_not_taken_for_levels():
    assert lines_of(rows_of("0012\t2\n0013\t1", parent="E-9")) == [("E-9", "0012", "2"), ("E-9", "0013", "1")]


def test_other_columns_come_along():
    text = "level\tpart\tqty\tunit\tposition\tat rebuild\n0\tE-9\t1\t\t\t\n1\tCO-9\t31\tcm\tcover\tinspect"
    (row,) = rows_of(text, at_rebuild="renew")
    assert (row["unit"], row["position"], row["at_rebuild"]) == ("cm", "cover", "inspect")


def test_what_is_opened_is_opened_and_the_rest_is_as_was_said():
    rows = rows_of("P-9\n.E-9\t2\n..OR-9\t3", at_rebuild="renew")
    assert [row["at_rebuild"] for row in rows] == ["open", "renew"]
    assert [row["order"] for row in rows] == ["10", "10"]


def test_what_the_records_say_of_a_line_stays(shop):
    StructureLine.objects.filter(child__part_number="OR-014").update(at_rebuild="inspect", order=7, position="")
    (row,) = rows_of("OR-014\t4", parent="E-1", at_rebuild="renew")
    assert (row["at_rebuild"], row["order"]) == ("inspect", "7")


def test_nothing_is_asked_about_what_a_kit_holds(shop):
    (row,) = rows_of("BA-1\t4", parent="K-1", at_rebuild="renew")
    assert row["at_rebuild"] == ""


def test_an_assembly_that_is_opened_twice_is_stored_once():
    text = "P-9\n.E-9\t1\n..OR-9\t3\n.D-9\t1\n..E-9\t1\n...OR-9\t3"
    findings = Findings()
    assert lines_of(rows_of(text, findings)) == [
        ("P-9", "E-9", "1"),
        ("E-9", "OR-9", "3"),
        ("P-9", "D-9", "1"),
        ("D-9", "E-9", "1"),
    ]
    assert "E-9 is opened again; stored once" in " ".join(remark.says for remark in findings.remarks)


def test_an_assembly_that_holds_another_number_the_second_time_is_refused():
    text = "P-9\n.E-9\t1\n..OR-9\t3\n.D-9\t1\n..E-9\t1\n...OR-9\t4"
    assert problems_of(text) == [(7, "OR-9", "E-9 holds 3 of it in row 4 and 4 here")]


def test_totals_over_the_whole_pump_name_their_pump_and_may_stand_once_only():
    rows = rows_of("P-9\n.E-9\t2\n..OR-9\t6", pump="P-9")
    assert {(row["quantity_is_for"], row["pump"]) for row in rows} == {("whole_pump", "P-9")}
    assert len(problems_of("P-9\n.E-9\t2\n..OR-9\t6\n.D-9\t1\n..E-9\t1\n...OR-9\t6", pump="P-9")) == 1


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("level\tpart\tqty\n0\tP-9\t\n1\tE-9\t1\n3\tSE-9\t1", (4, "SE-9", "its depth is 3, right after 1")),
        ("P-9\n    E-9\t1\n  OR-9\t1", (4, "OR-9", "it is indented as no line above it is")),
        ("1\tP-9\t1\n1.1\tE-9\t1\n1.2.1\tSE-9\t1", (4, "SE-9", "no line 1.2 stands above it")),
        (
            "level\tpart\tqty\n0\tP-9\t\n1\tE-9\t1\nx\tSE-9\t1",
            (4, "SE-9", "no part number or no depth can be made out"),
        ),
        (
            "item no\tpart\tqty\n1\tP-9\t1\n1.1\tE-9\t1\n1.1\tSE-9\t1",
            (4, "SE-9", "the outline number 1.1 stands twice, first in row 3"),
        ),
        (
            "part,name,qty\nP-9,pump,1\n.E-9,end, upper,2\n.CO-9,cord,1",
            (3, "E-9", "this row has more cells than there are headings"),
        ),
        ("P-9\t1\n.E-9\t1\nSE-9\t1", (4, "SE-9", "it holds nothing, and nothing says what holds it")),
    ],
)
def test_a_line_that_stands_below_nothing_is_refused_with_its_row(text, problem):
    assert problems_of(text) == [problem]


def test_the_list_is_previewed_and_loaded_with_rows_as_pasted(shop):
    keeper = person_of("Administrator", "keeper")
    load_sheets(
        {"Items": [["part_number", "description", "kind", "stock_unit"], ["CK-9", "check", "assembly", "each"]]}
    )
    findings = Findings()
    file = indented_file("CK-9\t2\n.BA-1\t1\n.SE-7\t1", ListReading(parent="E-1", at_rebuild="renew"), findings)
    upload = keep_upload(files=[file], by=keeper, at=AT, origin=UploadOrigin.INDENTED, findings=findings)
    assert upload.state == UploadState.REFUSED
    assert [(one["row"], one["column"], one["value"]) for one in upload.outcome["problems"]] == [(4, "child", "SE-7")]
    file = indented_file("CK-9\t2\n.BA-1\t1", ListReading(parent="E-1", at_rebuild="renew"), Findings())
    assert load_upload(upload=keep_upload(files=[file], by=keeper, at=AT), by=keeper, at=AT).stored
    assert StructureLine.objects.get(parent=Item.objects.get(part_number="CK-9")).at_rebuild == "renew"


def test_totals_over_the_whole_pump_come_to_the_same_plan_as_counts_for_one_parent(shop):
    keeper = person_of("Administrator", "keeper")
    file = indented_file("OR-014\t6\nBA-1\t2", ListReading(parent="E-1", pump="P-1", at_rebuild="renew"), Findings())
    upload = keep_upload(files=[file], by=keeper, at=AT)
    assert upload.state == UploadState.CHECKED, upload.outcome["problems"]


def refusal_of(text, **reading):
    with pytest.raises(Refusal) as refused:
        rows_of(text, **reading)
    return str(refused.value)


@pytest.mark.parametrize("text", ["A\t1\nB\t2", "part,qty\nA,1\nB,2", "please see the list\nof last week"])
def test_a_list_of_which_nothing_was_understood_says_so_and_why(text):
    says = refusal_of(text)
    assert says.startswith("0 of 2 lines were understood: ")
    assert "nothing says what holds them. Write that here, or choose how depth is written." in says


def test_the_first_line_that_it_stumbled_on_is_named_when_nothing_was_understood():
    says = refusal_of("level\tpart\tqty\nx\tP-9\t\ny\tSE-9\t1")
    assert says == (
        "0 of 2 lines were understood. The first is row 2, “P-9”: no part number or no depth can be made out; write "
        "both, or delete the line."
    )


def test_a_single_line_that_says_nothing_does_not_hide_that_nothing_says_what_holds_the_others():
    says = refusal_of("qty;part\n1;A\n2;B\n3;")
    assert says.startswith("0 of 3 lines were understood: ")
    assert "nothing says what holds them" in says


def test_how_many_lines_were_understood_is_always_said():
    findings = Findings()
    rows_of("level\tpart\tqty\n0\tP-9\t\n1\tE-9\t1\n3\tSE-9\t1", findings)
    said = " ".join(remark.says for remark in findings.remarks)
    assert "2 of 3 lines were understood; the first that was not is row 4" in said


def test_a_column_may_name_what_holds_each_part_and_blank_means_the_same_as_above():
    text = (
        "assembly,short name,part #,# req in assy,cost\nwheel,tyre,,1,$9\n,motor,M-9,1,$3\n"
        "body,beam,B-9,5,$1\n,pin,N-9,2,$1"
    )
    findings = Findings()
    rows = rows_of(text, findings, at_rebuild="renew")
    assert lines_of(rows) == [
        ("wheel", "tyre", "1"),
        ("wheel", "M-9", "1"),
        ("body", "B-9", "5"),
        ("body", "N-9", "2"),
    ]
    assert "columns not read: cost" in " ".join(remark.says for remark in findings.remarks)


def test_the_innermost_of_several_named_holders_holds_the_part():
    text = "assembly,sub-assembly,part,qty\nspindle,,motor,1\nspindle,bearings,ring,2\n,,ball,8\nframe,,plate,1"
    assert lines_of(rows_of(text)) == [
        ("spindle", "motor", "1"),
        ("bearings", "ring", "2"),
        ("bearings", "ball", "8"),
        ("frame", "plate", "1"),
    ]


TABLES = (
    "# Cart\n\nAll sizes are in mm.\n\n## Frame\n\n"
    "| Item | Qty | Link |\n|---|---|---|\nbar | 4 |\n| screw M3*10 | 16 | |\n\n"
    "## Care\n\nnone\n\n## 2. Drive\n\n"
    "| Item | Qty | Link |\n|---|---|---|\n| [motor](http://a.example) | 2 | |\n\n## Thanks\n\nto all\n"
)


def test_titles_among_the_lines_name_what_holds_those_below_them():
    text = "part;what;qty\nFrame;;\nB-9;bar;4\nDrive;;\nM-9;motor;2"
    assert lines_of(rows_of(text)) == [("Frame", "B-9", "4"), ("Drive", "M-9", "2")]
    text = "| Item | Qty |\n|---|---|\n| bar | 4 |\n\nDrive\n\n| motor | 2 |"
    assert lines_of(rows_of(f"Frame\n\n{text}")) == [("Frame", "bar", "4"), ("Drive", "motor", "2")]


@pytest.mark.parametrize("text", ["P-9:\t1\n  E-9:\t2\n    CK-9\t1", "- P-9:\n  - 2x E-9:\n    - 1x CK-9"])
def test_a_colon_makes_no_title_of_a_line_with_a_count(text):
    assert lines_of(rows_of(text)) == [("P-9", "E-9", "2"), ("E-9", "CK-9", "1")]


def test_a_title_of_lower_rank_counts_as_one_in_that_of_the_higher():
    findings = Findings()
    assert lines_of(rows_of(TABLES, findings)) == [
        ("Cart", "Frame", "1"),
        ("Frame", "bar", "4"),
        ("Frame", "screw M3*10", "16"),
        ("Cart", "Drive", "1"),
        ("Drive", "motor", "2"),
    ]
    said = " ".join(remark.says for remark in findings.remarks)
    assert "rows 5, 16, quantity: a title counts as one of what it names" in said
    assert "rows 3, 12, 14, 22, 24: totals, remarks and other rows without a part were not read" in said


def test_what_was_said_to_hold_the_topmost_lines_takes_the_place_of_the_title_of_all():
    assert lines_of(rows_of(TABLES, parent="P-1"))[0] == ("P-1", "Frame", "1")
    text = "part;qty\nFrame;\nB-9;4\nDrive;\nM-9;2"
    assert lines_of(rows_of(text, parent="P-1")) == [
        ("P-1", "Frame", "1"),
        ("Frame", "B-9", "4"),
        ("P-1", "Drive", "1"),
        ("Drive", "M-9", "2"),
    ]


def test_a_title_that_is_written_again_counts_once_in_what_holds_it():
    text = "part;qty\nFrame;\nB-9;4\nDrive;\nM-9;2\nFrame;\nS-9;1"
    assert lines_of(rows_of(text, parent="P-1")) == [
        ("P-1", "Frame", "1"),
        ("Frame", "B-9", "4"),
        ("P-1", "Drive", "1"),
        ("Drive", "M-9", "2"),
        ("Frame", "S-9", "1"),
    ]


MARKED = """# Cart: what it is made of

Look through the box first.

## What is in it...
- 1x control board: this one is the small green one, and it sits on the base
- 6x M3*10 or M3*12 screws *(short)*
- 1x short grey cable to reach the board with before its cover is on
- 1x [rivet tool](http://a.example/tool)

- **Printed parts**: print them yourself or take them from the box, where they lie on top:
    - 1x [base](http://a.example/base)
    - ends:
        - 2x cap (`cap.stl`)
- **Wheels**:
    - 4x wheel *(all alike)*

[**Next page**](next.md)
"""


def test_marked_text_is_read_by_its_headings_bullets_and_words_in_bold():
    findings = Findings()
    assert lines_of(rows_of(MARKED, findings)) == [
        ("Cart: what it is made of", "What is in it...", "1"),
        ("What is in it...", "control board", "1"),
        ("What is in it...", "M3*10 or M3*12 screws (short)", "6"),
        ("What is in it...", "short grey cable to reach the board with before its cover is on", "1"),
        ("What is in it...", "rivet tool", "1"),
        ("What is in it...", "Printed parts", "1"),
        ("Printed parts", "base", "1"),
        ("Printed parts", "ends", "1"),
        ("ends", "cap (cap.stl)", "2"),
        ("What is in it...", "Wheels", "1"),
        ("Wheels", "wheel (all alike)", "4"),
    ]
    said = " ".join(remark.says for remark in findings.remarks)
    assert "12 of 12 lines were understood" in said
    assert "rows 4, 19: totals, remarks and other rows without a part were not read" in said
    assert findings.described["control board"][0].startswith("control board: this one is the small green one")


def test_a_title_that_stands_below_several_others_is_a_kind_of_part_and_holds_nothing():
    text = (
        "# Robot\n## Legs\n![](legs.jpg)\n**Printed:**\n- 2x shin\n**Motors:**\n- 8x drive\n"
        "## Head\n**Printed:**\n- 1x face\n**Sound:**\n- 2x speaker\n## Tools\nYours.\n"
    )
    findings = Findings()
    assert lines_of(rows_of(text, findings)) == [
        ("Robot", "Legs", "1"),
        ("Legs", "shin", "2"),
        ("Legs", "Motors", "1"),
        ("Motors", "drive", "8"),
        ("Robot", "Head", "1"),
        ("Head", "face", "1"),
        ("Head", "Sound", "1"),
        ("Sound", "speaker", "2"),
    ]
    said = " ".join(remark.says for remark in findings.remarks)
    assert "rows 5, 10: titles that stand below several others are read as kinds of parts" in said


def test_blank_does_not_mean_the_same_as_above_where_nearly_every_row_says_what_holds_it():
    rows = ["qty | part | for", "-- | --", *(f"2 | rod {number} | bed" for number in range(6))]
    rows += ["1 | fan | head", "4 | foot |", "1 | nozzle | head", "1 | fuse | box", "3", "TBD cables"]
    findings = Findings()
    assert lines_of(rows_of("\n".join(rows), findings))[6:] == [
        ("head", "fan", "1"),
        ("head", "nozzle", "1"),
        ("box", "fuse", "1"),
    ]
    assert [(problem.row, problem.value, problem.reason) for problem in findings.problems] == [
        (13, "", "no part number or no depth can be made out"),
        (10, "foot", "it holds nothing, and nothing says what holds it"),
    ]
    said = " ".join(remark.says for remark in findings.remarks)
    assert "9 of 11 lines were understood; the first that was not is row 10" in said
    assert "row 14: totals, remarks and other rows without a part were not read" in said
    assert lines_of(rows_of("\n".join(rows), parent="P-1"))[7] == ("P-1", "foot", "4")
    once = ["qty\tpart\tfor", *(f"2\trod {number}\tbed {number}" for number in range(10)), "4\tfoot\t"]
    assert lines_of(rows_of("\n".join(once)))[-1] == ("bed 9", "foot", "4")


def test_a_row_with_more_cells_than_headings_is_refused_also_in_a_table_of_pipes():
    text = "Frame\n\nPart|What|Qty\n---|---|---\nA-9|bar|1\nB-9|rod|1C-9|cap|1\nD-9|pin|2"
    assert problems_of(text, parent="P-1") == [(6, "B-9", "this row has more cells than there are headings")]


def test_a_number_sign_may_head_a_column_of_a_table_of_pipes():
    text = "# | Part | Qty\n--|--|--\n1 | A-9 | 1\n1.1 | B-9 | 2"
    assert lines_of(rows_of(text)) == [("A-9", "B-9", "2")]


def test_blank_rows_above_the_list_keep_the_numbers_of_those_below_right():
    assert problems_of("\n\nlevel\tpart\tqty\n0\tP-9\t\n1\tE-9\t1\n3\tSE-9\t1") == [
        (6, "SE-9", "its depth is 3, right after 1")
    ]


def test_a_part_that_stands_twice_in_one_holder_is_added_up():
    findings = Findings()
    text = "part\tqty\nE-9\t1\n.SC-9\t4\n.PL-9\t1\n.SC-9\t8"
    assert lines_of(rows_of(text, findings)) == [("E-9", "SC-9", "12"), ("E-9", "PL-9", "1")]
    assert "SC-9 stands twice in E-9: added up in row 3" in " ".join(remark.says for remark in findings.remarks)


def test_a_part_that_stands_at_two_positions_is_two_lines():
    text = "part\tqty\tposition\nE-9\t1\t\n.SC-9\t4\tleft\n.SC-9\t8\tright"
    assert lines_of(rows_of(text)) == [("E-9", "SC-9", "4"), ("E-9", "SC-9", "8")]


def test_a_name_stands_for_the_number_of_the_item_so_called_else_for_itself(shop):
    findings = Findings()
    rows = rows_of("name,qty\n. O-RING,3\n. wing nut,1", findings, parent="E-1", at_rebuild="renew")
    assert lines_of(rows) == [("E-1", "OR-014", "3"), ("E-1", "wing nut", "1")]
    assert "known by their name" in " ".join(remark.says for remark in findings.remarks)


def test_a_kind_that_stands_under_the_number_is_no_number():
    text = (
        "part number,part name,qty\n.PRINTED,leg,1\n.BOUGHT,motor,4\n.BOUGHT,belt,2\n.BOUGHT,nut,31\n.BOUGHT,screw,20"
    )
    rows = rows_of(text, parent="P-1")
    assert [row["child"] for row in rows] == ["leg", "motor", "belt", "nut", "screw"]


def test_an_assembly_that_holds_something_already_is_opened_when_a_later_list_names_it(shop):
    findings = Findings()
    (row,) = rows_of("E-1\t2", findings, parent="P-1", at_rebuild="renew")
    assert row["at_rebuild"] == "open"
    rows = rows_of("P-9\t1\n.E-1\t2\n.BA-1\t1", findings, at_rebuild="renew")
    assert [row["at_rebuild"] for row in rows] == ["open", "renew"]
    assert "an assembly that holds something already is opened" in " ".join(one.says for one in findings.remarks)
