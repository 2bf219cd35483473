"""Every language in every form prints: each pair of choices stands together on some sheet."""

from __future__ import annotations

from itertools import combinations, product

import pytest

from followup.language.languages import LANGUAGES
from followup.sheets.content import SheetOptions
from followup.sheets.pdf import laid_out

CHOICES = {
    "language": tuple(LANGUAGES),
    "paper": ("A4", "A5", "Letter"),
    "size": ("normal", "large"),
    "twin": (False, True),
    "pictures": (False, True),
    "eyes": (1, 2),
    "issued": (True, False),
}
Row = tuple[object, ...]


def _pairs(row: Row) -> set[tuple[int, object, int, object]]:
    return {(i, row[i], j, row[j]) for i, j in combinations(range(len(row)), 2)}


def _rows() -> list[Row]:
    """Rows that hold every pair of choices, found greedily: always the one with most that are missing."""
    every = list(product(*CHOICES.values()))
    missing = set().union(*map(_pairs, every))
    rows = []
    while missing:
        rows.append(max(every, key=lambda row: len(_pairs(row) & missing)))
        missing -= _pairs(rows[-1])
    return rows


ROWS = _rows()


def test_every_pair_of_choices_stands_in_some_row():
    assert set().union(*map(_pairs, ROWS)) == set().union(*map(_pairs, product(*CHOICES.values())))
    assert len(ROWS) < 50


@pytest.mark.parametrize("row", ROWS, ids=lambda row: "-".join(map(str, row)))
def test_every_form_of_every_language_prints_with_its_first_page_whole(
    row, make_content, make_record, open_pdf
):
    given = dict(zip(CHOICES, row, strict=True))
    record = make_record()
    if given["eyes"] == 2:
        right = record.operations[0].model_copy(update={"eye": "right", "eye_drawn": "right"})
        record = record.model_copy(update={"operations": (right, *record.operations)})
    options = SheetOptions(
        size=given["size"],
        paper=given["paper"],
        pictures=given["pictures"],
        twin=("fr" if given["language"] == "en" else "en") if given["twin"] else None,
        calendar=False,
    )
    more = {} if given["issued"] else {"issue": None}
    content = make_content(language=given["language"], record=record, options=options, **more)
    pdf, _, pages = laid_out(content)
    document = open_pdf(pdf)
    assert len(document) == pages
    # What page one must hold is marked and looked for where it is laid out; here, that it is read there.
    first = " ".join(document[0].get_textpage().get_text_bounded().split())
    for text in ("7946", "0101", "0102", "2026"):  # the reader turns right-to-left lines about
        assert text in first
