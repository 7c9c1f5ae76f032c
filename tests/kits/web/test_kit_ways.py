"""The sheet of a job says which kits could serve it, and which of them leave least over."""

from tests.kits.web.shops import sheet_of


def ways(reader, job):
    return sheet_of(reader.get(f"/sections/{job}/")).split("Which kits waste least ")[1]


def test_kits_for_the_end_or_for_its_check_valves(demo_shop, reader):
    """J-3106, two pumps of two ends: four end kits, or eight kits for the check valves inside."""
    told = ways(reader, "J-3106")
    assert told.startswith("The way by which what is left over is worth least stands on top; the plan never changes")
    planned = "2 × K-CV , 2 × K-D6 , 4 × K-E12N 2 × OR-016-N70 0.52 7 780.00 the plan does it this way"
    other = "8 × K-CKS , 2 × K-CV , 2 × K-D6 2 × OR-016-N70 0.52 12 no price"
    assert f"{planned} {other}" in told


def test_a_job_without_a_choice_shows_none(demo_shop, reader):
    assert "Which kits waste least" not in sheet_of(reader.get("/sections/J-3101/"))


def test_the_rounding_of_published_tables_stands_beside_the_cover(demo_shop, reader):
    """BA-716: 44 positions at 35 in 100 are 15.4, which a table rounds to 15; to be 90 % sure the plan takes 19."""
    sheet = sheet_of(reader.get("/shortages/wear/?batch=Spring refit"))
    assert "BA-716 ball 7/16 in, grade 25 44 15.4 19 by rate: 15 12" in sheet
    opened = sheet_of(reader.get("/worked-out/wear/BA-716/"))
    assert "a table of “quantity per 100 overhauls” would plan 15 for as many positions, rounded half up" in opened
