"""Every told operation is one leaf: front and back, in every language, first sheet and replacing one.

Each operation is printed here in a language of its own; ``tests/bench/bench_leaves.py`` prints
the whole table.
"""

from __future__ import annotations

from itertools import product

import pytest
import two_eyes
from paper import set_
from told_sheets import CASES, printed, sheet

from followup.language.languages import LANGUAGES
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import job, sheet_data

TAGS = tuple(LANGUAGES)
# The fullest plan (nine steps, nine visits, tablets) where words are longest: a page more.
LONGER = {
    ("A4", "04-peter", "ta"),
    ("A5", "04-peter", "es"),
}
# Paper, size of letters, pages that the sheet may take at most.
KINDS = (("A4", "normal", 2), ("Letter", "normal", 2), ("A5", "normal", 4), ("A4", "large", 4))
# Each kind begins with another language, and every language comes with each of them.
ROWS = [
    (paper, size, most, CASES[at % len(CASES)], TAGS[(at + 3 * kind) % len(TAGS)], bool((at + kind) % 2))
    for (kind, (paper, size, most)), at in product(enumerate(KINDS), range(len(TAGS)))
]


def test_each_kind_of_paper_is_printed_in_every_language_and_with_every_operation():
    for paper, size, _ in KINDS:
        mine = [row for row in ROWS if row[:2] == (paper, size)]
        assert {row[3] for row in mine} == set(CASES)
        assert {row[4] for row in mine} == set(LANGUAGES)
        assert {row[5] for row in mine} == {False, True}


@pytest.mark.parametrize(("paper", "size", "most", "case", "tag", "replaced"), ROWS)
def test_a_told_operation_is_one_leaf_and_on_small_paper_or_in_large_letters_two(
    paper, size, most, case, tag, replaced
):
    options = SheetOptions(paper=paper, size=size)
    _, _, pages = printed(case, tag, replaced=replaced, options=options)
    assert pages <= most + ((paper, case, tag) in LONGER)


@pytest.mark.parametrize(("at", "case"), list(enumerate(CASES)))
def test_in_pictures_it_is_no_longer(at, case):
    _, _, pages = printed(case, TAGS[-at], replaced=bool(at % 2), options=SheetOptions(pictures=True))
    assert pages <= 2


def test_a_front_that_goes_on_in_comfortable_letters_never_passes_for_a_leaf(formulary, open_pdf):
    """Its back is not set, so that it must have a page too many, also before a leaf that is whole."""
    goes_on, whole = sheet_data(two_eyes.content(formulary)), sheet_data(sheet("01-wanjiru", "en"))
    pages = [len(open_pdf(set_(job(sheets, two_eyes.LEFT_DONE)))) for sheets in ([whole], [goes_on, whole])]
    assert pages == [2, 5]
