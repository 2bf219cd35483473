"""Every language in every form prints, each pair of choices on some sheet, and is read there.

The eye is marked where the patient sees it in a mirror: the own right eye on the right of the picture,
whatever the language and its direction. The signs are read by their words, the bottles by their marks.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest
from come_at_once import LANGUAGES, in_language, signs_in
from printed import INK, Box, Page, holds_words, read, says

from followup.language import languages
from followup.sheets.content import SheetOptions
from followup.sheets.paper.pdf import laid_out

CHOICES = {
    "language": LANGUAGES,
    "paper": ("A4", "A5", "Letter"),
    "size": ("normal", "large"),
    "twin": (False, True),
    "pictures": (False, True),
    "eyes": ("left", "right", "both"),
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
# Where on the picture the black eye is, and what the mark of a bottle for it looks like.
FILLED = {"left": ("left",), "right": ("right",), "both": ("left", "right")}
ENDS = {"left": {"l"}, "right": {"r"}, "both": {"l", "r"}}
SIDE_OF = {"l": ("left",), "r": ("right",)}
EYE = {"left": "Left eye", "right": "Right eye", "both": "Both eyes"}


def test_every_pair_of_choices_stands_in_some_row():
    assert set(LANGUAGES) == set(languages.LANGUAGES)
    assert set().union(*map(_pairs, ROWS)) == set().union(*map(_pairs, product(*CHOICES.values())))
    assert len(ROWS) < 50


@pytest.mark.parametrize("row", ROWS, ids=lambda row: "-".join(map(str, row)))
def test_every_form_of_every_language_marks_the_eye_and_says_the_signs(row, make_content, of_eyes):
    given = dict(zip(CHOICES, row, strict=True))
    tag, eyes, twin = given["language"], given["eyes"], "fr" if given["language"] == "en" else "en"
    options = SheetOptions(
        size=given["size"],
        paper=given["paper"],
        pictures=given["pictures"],
        twin=twin if given["twin"] else None,
        calendar=False,
    )
    more = {} if given["issued"] else {"issue": None}
    content = make_content(language=tag, options=options, **of_eyes(eyes), **more)
    pdf, _, count = laid_out(content)
    pages = read(pdf)
    assert len(pages) == count
    _page_one_marks_the_eye(pages[0], eyes)
    _page_one_says_what_it_must(pages, tag, eyes, given)
    _every_bottle_has_the_form_of_its_eye(pages, eyes, given["pictures"])
    if given["twin"]:
        _the_staff_read_the_same(pages, twin, eyes)
    watermark = in_language(tag, "Draft. Not for the patient.")
    assert [says(p.text, watermark) for p in pages] == [not given["issued"]] * count


def _page_one_marks_the_eye(page: Page, eyes: str) -> None:
    drawn, *others = page.eyes
    assert drawn.filled == FILLED[eyes], "the own right eye is on the right, as in a mirror"
    assert eyes == "both" or {other.filled for other in others} <= {FILLED[eyes]}
    assert drawn.face
    # The patient stands before the mirror, seen from behind: a dark head below the eyes, large as the face.
    behind = [
        s for s in page.shapes
        if s.fill == INK and s.width > drawn.face.width * 0.8 and drawn.face.bottom - 30 < s.y < drawn.bottom
    ]  # fmt: skip
    assert len(behind) == 1
    # The face stands upright: nose and mouth are below the eyes.
    inside = [s for s in page.shapes if s.edge and drawn.face.holds(s) and s.y < drawn.bottom]
    assert [s for s in inside if abs(s.x - drawn.x) < 3 and s.width > 2]


def _page_one_says_what_it_must(pages: tuple[Page, ...], tag: str, eyes: str, given: dict) -> None:
    first = pages[0].text
    on_page_one = [sign for sign, words in signs_in(tag).items() if says(first, words)]
    there = [sign for sign, words in signs_in(tag).items() if says(first + pages[1].text, words)]
    assert there == ["sight", "pain", "red", "lids", "flashes", "pus", "knock"]
    # Only in large print may the box go on over the page, and never before its first four signs.
    least = 4 if given["size"] == "large" else 7
    assert len(on_page_one) >= least
    assert on_page_one[:4] == ["sight", "pain", "red", "lids"]
    assert {"7946", "0101", "0102"} <= {w.text for w in pages[0].words}
    assert "2026" in first
    named = [eye for eye, words in EYE.items() if holds_words(first, in_language(tag, words))]
    assert eyes in named
    assert eyes == "both" or named == [eyes]


def _the_staff_read_the_same(pages: tuple[Page, ...], staff: str, eyes: str) -> None:
    """Every sign and the eye in the staff's language too, on the first pages, whatever room there was."""
    first = " ".join(page.text for page in pages[:3])
    assert [sign for sign, words in signs_in(staff).items() if not says(first, words)] == []
    assert says(first, in_language(staff, EYE[eyes]))


def _every_bottle_has_the_form_of_its_eye(pages: tuple[Page, ...], eyes: str, pictures: bool) -> None:
    assert {mark.bottle[-1] for page in pages for mark in page.marks} == ENDS[eyes]
    beside = 0
    for at, page in enumerate(pages):
        for drawn in page.eyes[1:] if at == 0 else page.eyes:
            row = Box(0, drawn.bottom - 24, page.width, drawn.top + 24)
            near = min((m for m in page.marks if row.holds(m)), key=lambda m: abs(m.x - drawn.x))
            assert drawn.filled == SIDE_OF[near.bottle[-1]], "the eye beside a bottle is the bottle's own"
            assert 26 < drawn.left < drawn.right < page.width - 26, "and lies inside the margins"
            beside += 1
    # A face for each bottle of the legend, and a pair of eyes for each drop of its four tables: one eye has
    # 10, 5, 2 and 1 of them, the second eye's steroid 4, 3, 2 and 1 more.
    assert beside == (0 if not pictures else 4 + 28 if eyes == "both" else 3 + 18)
