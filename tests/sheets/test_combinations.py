"""Every language in every form prints, each pair of choices on some sheet, and is read there.

The eye is marked where the patient sees it in a mirror: the own right eye on the right of the picture,
whatever the language and its direction. The signs are read by their words, the bottles by their marks.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest
from come_at_once import LANGUAGES, in_language, signs_in
from printed import INK, Page, holds_words, read, says

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
    pairs = {row: _pairs(row) for row in product(*CHOICES.values())}
    missing = set().union(*pairs.values())
    rows = []
    while missing:
        rows.append(max(pairs, key=lambda row: len(pairs[row] & missing)))
        missing -= pairs[rows[-1]]
    return rows


ROWS = _rows()
# Where on the picture the black eye is, and what the mark of a bottle for it looks like.
FILLED = {"left": ("left",), "right": ("right",), "both": ("left", "right")}
ENDS = {"left": {"l"}, "right": {"r"}, "both": {"l", "r"}}
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
    _every_bottle_has_the_form_of_its_eye(pages, eyes)
    if given["twin"]:
        _the_staff_read_the_same(pages, twin, eyes)
    drafts = [
        in_language(t, "Draft. Not for the patient.") for t in ((tag, twin) if given["twin"] else (tag,))
    ]
    marked = [any(says(page.text, draft) for draft in drafts) for page in pages]
    assert marked == [not given["issued"]] * count


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
    """Their copy is a sheet of its own: every sign and the eye in their language, the same eye marked."""
    (first,) = [at for at, page in enumerate(pages) if at and any(e.face for e in page.eyes)]
    _page_one_marks_the_eye(pages[first], eyes)
    text = pages[first].text + pages[first + 1].text
    assert [sign for sign, words in signs_in(staff).items() if not says(text, words)] == []
    assert says(pages[first].text, in_language(staff, EYE[eyes]))
    assert says(pages[first].text, in_language(staff, "Copy for the staff"))


def _every_bottle_has_the_form_of_its_eye(pages: tuple[Page, ...], eyes: str) -> None:
    """By its shape; where both eyes are operated also by the pair of eyes on its line of the table."""
    assert {mark.bottle[-1] for page in pages for mark in page.marks} == ENDS[eyes]
    small = [(page, drawn) for page in pages for drawn in page.eyes if not drawn.face]
    assert bool(small) == (eyes == "both")
    for page, drawn in small:
        assert drawn.filled in {(), *FILLED.values()}
        assert 26 < drawn.left < drawn.right < page.width - 26, "inside the margins"
