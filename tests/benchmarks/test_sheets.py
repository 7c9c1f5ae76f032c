"""The measurement of long workbooks measures what it says: both forms of file, each step by itself."""

from tests.benchmarks.sheets import FORMS, SAYS, measure, print_figures

ROWS = 200


def test_each_step_is_measured_by_itself_on_both_forms_of_the_file(capsys):
    figures = measure(ROWS, list(FORMS), ["plain", "load"])
    assert figures["cells"] == ROWS * 22
    for form in FORMS:
        measured = figures["forms"][form]["measured"]
        # A process that only reads is smaller than the program, whatever size the one is that starts them both.
        assert measured["plain"]["peak_mb"] < measured["load"]["peak_mb"] - 20
        assert measured["plain"]["seconds"] < measured["load"]["seconds"]
    print_figures(figures)
    shown = capsys.readouterr().out
    assert all(words in shown for words in (*FORMS.values(), SAYS["plain"], SAYS["load"]))
