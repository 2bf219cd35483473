"""The front of the leaf: what a patient acts on, in its order, in letters that old eyes read."""

from __future__ import annotations

from itertools import product

import pytest
from come_at_once import signs_in
from printed import Box, Page, read, says
from printed_letters import Letter, letters_of
from printed_table import frames, table_box, table_on
from told_sheets import CASES, printed

from followup.language.languages import LANGUAGES

TAGS = tuple(LANGUAGES)
# Every language with another operation, first and replacing.
ROWS = [(CASES[at % len(CASES)], tag, bool(at % 2)) for at, tag in enumerate(TAGS)]
each = pytest.mark.parametrize(("case", "tag", "replaced"), ROWS)
HAIR = 0.06  # points: sizes are read back to a tenth


def _foot(page: Page) -> float:
    """How high the rule over the foot stands."""
    wide = [s for s in page.shapes if s.edge and s.segments == 2 and s.width > 0.8 * page.width and s.y < 90]
    return min(s.y for s in wide)


def _body(pdf: bytes, at: int, turn_over: float) -> list[Letter]:
    """The letters of a page but its foot, and those in the boxes of bottles, which are drawn.

    Directly over the foot stands in the foot's own letters that more comes overleaf.
    """
    page, letters = read(pdf)[at], letters_of(pdf)[at]
    foot = _foot(page)
    boxes = page.marks
    body = [m for m in letters if m.y > foot and m.text != "…" and not any(box.holds(m) for box in boxes)]
    return [m for m in body if m.y > foot + 20 or abs(m.size - turn_over) > HAIR]


@each
def test_nothing_on_the_front_is_smaller_than_twelve_points_nor_on_the_back_than_eleven(case, tag, replaced):
    content, pdf, _ = printed(case, tag, replaced=replaced)
    small = 10 * content.scale
    for at, least in enumerate((12, 11)):
        body = _body(pdf, at, small)
        assert body
        assert {m.text: m.size for m in body if m.size < least - HAIR} == {}


@each
def test_the_eye_is_in_the_largest_letters_at_least_twenty_eight_points(case, tag, replaced):
    content, pdf, _ = printed(case, tag, replaced=replaced)
    body = letters_of(pdf)[0]
    largest = max(letter.size for letter in body)
    assert largest >= 28 * content.scale - HAIR
    said = "".join(m.text for m in body if m.size == largest)
    assert says(said, content.face.words)
    assert says(content.face.words, said)


@each
def test_the_first_line_of_every_foot_is_bold_and_ten_points(case, tag, replaced):
    content, pdf, _ = printed(case, tag, replaced=replaced)
    for page, letters in zip(read(pdf), letters_of(pdf), strict=True):
        foot = _foot(page)
        below = [m for m in letters if m.y < foot]
        first = [m for m in below if abs(m.size - 10 * content.scale) < HAIR]
        latin = {m for m in below if m.text.isascii() and m.text.isalnum()}
        light, bold = {m.face for m in latin - set(first)}, {m.face for m in latin & set(first)}
        assert len(bold) == 1
        assert not light & bold, "the second line is not bold"
        said = "".join(m.text for m in first)
        for words in (*content.foot.running, *content.marks):
            assert says(said, words)
        lowest = min(m.y for m in first)
        assert all(m.y < lowest for m in below if m not in first)


@each
def test_signs_telephones_address_and_next_visit_stand_in_their_boxes_and_then_the_table(case, tag, replaced):
    content, pdf, _ = printed(case, tag, replaced=replaced)
    page = read(pdf)[0]
    alarm, again = frames(page)
    turned = content.direction == "rtl"
    assert (alarm.x > again.x) == turned, "the alarm comes first"
    assert alarm.top == pytest.approx(again.top, abs=4)
    assert alarm.width > again.width
    inside = page.within(alarm)
    assert {"7946", "0101", "0102"} <= set(inside.replace("\N{NO-BREAK SPACE}", " ").split())
    assert "Mill" in inside
    assert "Riverside" in inside
    drawn = _text_in(page, alarm)
    assert [sign for sign, words in signs_in(tag).items() if not says(drawn, words)] == []
    day = next(part for part in content.next_visit.day.split() if part.isdigit() and len(part) == 4)
    assert day in page.within(again)
    head = Box(0, alarm.top, page.width, page.height)
    assert says(_text_in(page, head), content.face.words)
    assert says(_text_in(page, head), content.who.name)
    news = [line for line in (content.first_line, *content.changes) if line]
    assert bool(news) == replaced
    assert [line for line in news if not says(_text_in(page, head), line)] == []
    assert [w.bottom > alarm.top for w in page.words if "0038" in w.text] == [True] * replaced
    table = table_box(page)
    assert table.top < min(alarm.bottom, again.bottom)
    (first, *_) = table_on(page, from_the_right=turned).rows
    assert first.label


def _text_in(page: Page, box: Box) -> str:
    return "".join(letter.text for letter in page.letters if box.holds(letter))


def _bottles(content) -> list[str]:
    sides = {"right": "r", "left": "l", None: ""}
    return [b.bottle.letter + sides[b.bottle.side] for b in content.bottles]


@pytest.mark.parametrize(("tag", "at"), list(product(["en", "ar"], range(2))))
def test_every_bottle_of_the_table_is_explained_under_it_or_overleaf(tag, at):
    content, pdf, _ = printed(CASES[0], tag, replaced=bool(at))
    pages = read(pdf)
    below = [m.bottle for m in pages[0].marks if m.y < table_box(pages[0]).bottom]
    below += [m.bottle for m in pages[1].marks]
    assert set(below) == set(_bottles(content))
