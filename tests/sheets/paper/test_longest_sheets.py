"""The longest plan in the longest words keeps to its pages, or the front says that more is overleaf."""

from __future__ import annotations

import pytest
from longest import ROLES, STEPS, VISITS, longest_sheet
from printed import read, says
from printed_table import has_table, table_on

from followup.language.languages import LANGUAGES
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import laid_out
from followup.sheets.wording import REASONS

# A third page for what two in the least letters can't hold.
MOST = 3


@pytest.mark.parametrize("tag", LANGUAGES)
def test_nine_steps_eight_visits_and_four_bottles_keep_to_the_leaf_or_the_front_says_that_it_goes_on(tag):
    content = longest_sheet(tag)
    assert sum(row.kind == "days" for row in content.table.rows) == STEPS
    assert sum(row.kind == "visit" for row in content.table.rows) == VISITS
    assert len({block.bottle.letter for block in content.bottles}) == len(ROLES)
    pdf, (data,), count = laid_out(content)
    pages = read(pdf)
    assert count == len(pages) <= MOST
    assert data["close"], "the least size of letters was tried"
    turned = content.direction == "rtl"
    tables = [table_on(page, from_the_right=turned) for page in pages if has_table(page)]
    assert sum(len(table.rows) for table in tables) == STEPS + VISITS, "nothing is left out"
    assert tables[0].rows
    on_front = len(tables[0].rows) == STEPS + VISITS and _everything_of_the_front(pages[0], content)
    assert says(pages[0].text, content.turn_over) == (not on_front)
    assert not any(says(page.text, content.turn_over) for page in pages[1:])


def _everything_of_the_front(page, content) -> bool:
    """Also what stands under the table, down to the last of it."""
    last = (*content.steroid_ends, *(content.table.rules))[-1]
    return says(page.text, last)


def test_the_longest_reasons_are_those_of_the_language():
    from longest import longest_reasons

    english = [len(REASONS[kind]) for kind in longest_reasons("en")]
    assert english == sorted(map(len, REASONS.values()), reverse=True)[:VISITS]
    assert longest_reasons("ta") != longest_reasons("en")


# What the paper bears differs most between the usual sheet and large letters on small paper.
@pytest.mark.parametrize(
    "options", [SheetOptions(), SheetOptions(paper="A5", size="large")], ids=["A4", "A5"]
)
# In Latin letters, whose words are read back whole; among them Swahili, whose days have the longest names.
@pytest.mark.parametrize("tag", ["en", "sw", "fr", "es", "pt"])
def test_no_word_prints_over_its_neighbour(tag, options):
    pdf, _, _ = laid_out(longest_sheet(tag, options))
    for page in read(pdf):
        lines = sorted(page.words, key=lambda word: word.left)
        over = [
            (one.text, other.text)
            for at, one in enumerate(lines)
            for other in lines[at + 1 :]
            if abs(one.bottom - other.bottom) < 2 and other.left < one.right - 2
        ]
        assert over == []
