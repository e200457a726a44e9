"""The table of faults is the program's own: every code, what it means and what to do."""

from pathlib import Path

from handbell.boxes.link.words import fault_error
from handbell_core import faults

PAGE = Path(__file__).parents[2] / "docs" / "coaches" / "trouble.md"
NOTED = "nothing: the report says when it matters"


def test_every_fault_is_in_the_table_as_the_program_says_it():
    codes = {value for name, value in vars(faults).items() if name.isupper()}
    assert len(codes) > 20
    expected = []
    for code in sorted(codes):
        error = fault_error("Box", code)
        what = error.what.removeprefix("Box ").removeprefix("Box: ")
        expected.append(f"| {code} | {what} | {error.remedy or NOTED} |")
    table = PAGE.read_text(encoding="utf-8").split("| fault | the box | do |\n")[1]
    shown = table.split("\n\n")[0].splitlines()[1:]
    assert shown == expected, "write the table anew:\n" + "\n".join(expected)
