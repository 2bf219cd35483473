"""How hard the English sheet is to read: at most grade 6 as a whole, medicine lines at most grade 5.

Flesch-Kincaid grades of the United States. Bounds: Williams, BMC Ophthalmol 2016;16:133 (leaflets
should not pass grade 6, and have a median of 11); medicine lines 4 to 6, guide of the
Environmental Protection Agency and the Centers for Disease Control.
"""

from __future__ import annotations

import re

import textstat

FEWEST_WORDS = 4


def _sentences(texts: list[str]) -> list[str]:
    """Whole sentences alone: a table's dates and clock times would make any sheet look easy."""
    return [text for text in texts if len(re.findall("[A-Za-z]{2,}", text)) >= FEWEST_WORDS]


def _grade(texts: list[str]) -> float:
    return textstat.flesch_kincaid_grade(" ".join(t if t[-1] in ".!?" else f"{t}." for t in texts))


def test_the_whole_sheet_reads_at_grade_six_or_below(sheets_of_the_cases, printed):
    for name, sheet in sheets_of_the_cases("en").items():
        sentences = _sentences(printed(sheet))
        assert len(sentences) > 50, name
        assert _grade(sentences) <= 6, name


def test_the_lines_about_medicines_read_at_grade_five_or_below(sheets_of_the_cases):
    for name, sheet in sheets_of_the_cases("en").items():
        lines = [line for block in sheet.bottles for line in (block.purpose, *block.notes)]
        lines += [*sheet.steroid_ends, *(sheet.held.lines if sheet.held else ())]
        assert lines, name
        assert _grade(lines) <= 5, name


def test_every_page_of_days_reads_at_grade_five_or_below(sheets_of_the_cases, printed):
    ticked = {name: sheet for name, sheet in sheets_of_the_cases("en").items() if sheet.calendar}
    assert len(ticked) == 10, "all but the one without drops"
    for name, sheet in ticked.items():
        assert _grade(_sentences(printed(sheet.calendar.model_dump(mode="json")))) <= 5, name


def test_the_measure_would_catch_a_leaflet_written_by_an_expert():
    hard = (
        "Postoperative administration of topical corticosteroids necessitates regular tonometric "
        "monitoring in order to identify susceptible individuals before irreversible neuropathy develops."
    )
    assert _grade([hard]) > 12
