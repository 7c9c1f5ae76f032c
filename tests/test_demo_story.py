"""The story that ``demo_fixtures/README.md`` tells, held figure by figure against the slow oracle and the engine."""

import re
from datetime import datetime
from functools import cache
from pathlib import Path

import pytest

from bom.answers.rows import as_json
from bom.plan import plan
from tests.demo_shop import demo_shop
from tests.oracle import slow_plan

STORY = (Path(__file__).parent.parent / "demo_fixtures" / "README.md").read_text(encoding="utf-8")
SUPPLIERS = {"Norrvik": "Norrvik Seals", "Lantry": "Lantry Pump Agency", "Fernhope": "Fernhope Turned Parts"}


@cache
def planned_by_the_oracle():
    return slow_plan(demo_shop())


@cache
def planned_by_the_engine():
    return as_json(plan(demo_shop()))


both = pytest.mark.parametrize("work_out", [planned_by_the_oracle, planned_by_the_engine])


def table(first_columns):
    """The rows of the one table of the story whose heading starts so, as dictionaries."""
    lines = STORY.splitlines()
    starts = [n for n, line in enumerate(lines) if line.startswith(f"| {first_columns} |")]
    assert len(starts) == 1, f"{len(starts)} tables start with {first_columns}"
    rows = []
    for line in lines[starts[0] :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return [dict(zip(rows[0], row, strict=True)) for row in rows[2:]]


def day(text):
    if not text:
        return None
    written = text if re.search(r"\d{4}$", text) else f"{text} 2026"
    return datetime.strptime(written, "%d %b %Y").date().isoformat()


def number(text):
    return float(text) if text else 0


def by(rows, column):
    return {row[column]: row for row in rows}


@both
def test_every_job_stands_as_told(work_out):
    jobs = by(work_out()["jobs"], "job")
    told = table("job | pump, scope | build | status")
    assert [row["job"] for row in told] == sorted(jobs)
    for row in told:
        job = jobs[row["job"]]
        assert row["status"].removesuffix(" *") == job["status"], row["job"]
        assert row["status"].endswith("*") == job["leans_on_overdue"], row["job"]
        assert day(row["parts here on"]) == job["parts_on"], row["job"]
        assert number(row["days late"]) == job["days_late"], row["job"]
        assert (row["waits for"] or None) == job["blocking_part"], row["job"]
        assert day(row["order by"]) == job["order_by"], row["job"]


@both
def test_the_headline_counts_the_states(work_out):
    states = [job["status"] for job in work_out()["jobs"]]
    told = re.search(r"\*\*(\d+) ready, (\d+) waiting, (\d+) late, (\d+) short\.\*\*", STORY)
    assert [int(count) for count in told.groups()] == [states.count(s) for s in ("ready", "waiting", "late", "short")]
    waiting_on_a_promise = [j for j in work_out()["jobs"] if j["status"] == "waiting" and j["leans_on_overdue"]]
    assert len(waiting_on_a_promise) == 5


@both
def test_sure_purchases_are_as_told(work_out):
    bought = {part: row for part, row in by(work_out()["buy"], "part_number").items() if row["short"]}
    told = table("part | short | order | over | from")
    assert [row["part"] for row in told] == sorted(bought)
    for row in told:
        buy = bought[row["part"]]
        assert row["order"] == f"{buy['packs']} x {buy['pack_size']}"
        assert (number(row["short"]), number(row["over"]), number(row["price"])) == (
            buy["short"],
            buy["surplus"],
            buy["price"],
        )
        assert SUPPLIERS[row["from"]] == buy["supplier"]
        days = (day(row["first need"]), day(row["order by"]), day(row["here on"]))
        assert days == (buy["need_on"], buy["order_by"], buy["earliest_arrival"])
        assert number(row["days late"]) == buy["days_late"]
        assert row["jobs"].split(", ") == buy["jobs"]
    total = sum(row["price"] for row in bought.values())
    assert f"Six lines, {total:.2f} EUR." in STORY


@both
def test_wear_purchases_are_as_told(work_out):
    bought = {part: row for part, row in by(work_out()["buy"], "part_number").items() if row["short_wear"]}
    demand = by(work_out()["demand"], "part_number")
    told = table("part | positions | expected | planned")
    assert [row["part"] for row in told] == sorted(bought)
    for row in told:
        buy, asked = bought[row["part"]], demand[row["part"]]
        assert number(row["positions"]) == asked["positions"], row["part"]
        assert number(row["expected"]) == pytest.approx(asked["expected"], abs=0.0051), row["part"]
        assert number(row["planned"]) == asked["planned_wear"], row["part"]
        assert number(row["sure besides"]) == asked["sure"] + asked["passed_down"], row["part"]
        assert number(row["on hand"]) == asked["on_hand"], row["part"]
        assert number(row["left for wear"]) == asked["on_hand"] - asked["sure"] - asked["passed_down"], row["part"]
        chance = float(row["chance that this is enough"].removesuffix(" %"))
        assert chance == pytest.approx(asked["chance_enough"] * 100, abs=0.051), row["part"]
        assert number(row["short"]) == buy["short_wear"], row["part"]
        assert row["order"] == f"{buy['packs']} x {buy['pack_size']}", row["part"]
        assert number(row["price"]) == buy["price"], row["part"]
        days = (day(row["first need"]), day(row["order by"]), day(row["here on"]))
        assert days == (buy["need_on"], buy["order_by"], buy["earliest_arrival"]), row["part"]
    asked_first = [row for row in bought.values() if row["wear_advice"] == "only_if_found"]
    assert (len(asked_first), len(bought)) == (17, 19)
    assert f"Nineteen lines, {sum(row['price'] for row in bought.values()):.2f} EUR" in STORY
    assert f"Seventeen of the nineteen lines, {sum(row['price'] for row in asked_first):.2f} EUR" in STORY
    assert bought["BA-716"]["wear_advice"] == "decide_after_strip"
    assert bought["SG-S"]["wear_advice"] is None


@both
def test_what_to_expedite_to_chase_and_to_pack_is_as_told(work_out):
    answers = work_out()
    late = {f"{row['order']}, {row['line']}: {row['part_number']}": row for row in answers["expedite"]}
    told = table("expedite | quantity | promised")
    assert {row["expedite"] for row in told} == set(late)
    for row in told:
        line = late[row["expedite"]]
        assert number(row["quantity"]) == line["quantity"]
        days = (day(row["promised"]), day(row["needed"]), day(row["bought today, here on"]))
        assert days == (line["promised"], line["need_on"], line["bought_today_on"])
        assert (number(row["days late"]), row["job"].split(", ")) == (line["days_late"], line["jobs"])
    assert [(row["order"], row["part_number"], row["quantity"], row["days_late"]) for row in answers["chase"]] == [
        ("PO-7102", "K-CV", 16, 4)
    ]
    assert [(row["kit"], row["quantity"], row["need_on"]) for row in answers["pack"]] == [
        ("K-CKS", 6, "2026-03-13"),
        ("K-E34N", 14, "2026-03-24"),
    ]


@both
def test_what_is_left_out_runs_out_and_frees_is_as_told(work_out):
    answers = work_out()
    left_out = {row["part_number"]: row["left_out"] for row in answers["demand"] if row["left_out"]}
    assert left_out == {
        "BA-716": {"quarantine": 20},
        "BR-112": {"quarantine": 4},
        "OR-011-F75X": {"resealed": 5},
        "OR-210-N90": {"expired": 25},
    }
    assert [(row["lot"], row["last_use"], row["quantity"], row["unused"]) for row in answers["expiring"]] == [
        ("NV-2104", "2026-03-31", 9, 4),
        ("P-0551", "2026-03-31", 5, 0),
    ]
    assert {row["part_number"]: row["jobs"] for row in answers["frees"]} == {
        "BR-112": ["J-3106", "J-3112"],
        "SE-M": ["J-3111", "J-3118"],
        "CG-S": ["J-3103"],
        "K-E12F": ["J-3117"],
        "K-E34E": ["J-3109"],
        "K-E38N": ["J-3120"],
        "OR-011-F75X": ["J-3110"],
    }


@both
def test_kits_fit_lack_and_leave_over_as_told(work_out):
    kits = work_out()["kits"]
    assert (sum(row["count"] for row in kits), len(kits)) == (87, 56)
    over = {row["job"] for row in kits if row["kit"] == "K-CV" and not row["surplus"]}
    assert over == {"J-3108", "J-3114"}
    lacking = {row["job"]: row["short"] for row in kits if row["kit"] == "K-E12N"}
    assert lacking == {"J-3106": {"BR-112": 4}, "J-3112": {"BR-112": 1}}
    spares = {row["job"]: row["spare"] for row in kits if row["kit"] == "K-E38N"}
    assert spares == {key: {"BA-14": 2} for key in ("J-3104", "J-3116", "J-3120")}


@both
def test_positions_still_to_be_inspected_are_counted(work_out):
    positions = sum(row["positions"] for row in work_out()["demand"])
    assert f"{positions} positions still to be inspected" in STORY
