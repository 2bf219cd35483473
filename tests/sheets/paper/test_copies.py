"""The leaf after two photocopies: a clinic that has run out of toner hands out the copy of a copy.

Each copy is scanned at 300 dots an inch, blurred by 0.13 mm and made black and white.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pypdfium2
import pytest
import two_eyes
from printed import Box, Page, read
from printed_table import table_box

from followup.sheets.paper.pdf import laid_out

DPI, BLUR_MM = 300, 0.13
_DOTS = DPI / 72


def _scanned(pdf: bytes, at: int = 0) -> np.ndarray:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return np.array(document[at].render(scale=_DOTS).to_pil().convert("L"))
    finally:
        document.close()


def _copied(page: np.ndarray) -> np.ndarray:
    for _ in range(2):
        blurred = cv2.GaussianBlur(page, (0, 0), BLUR_MM / 25.4 * DPI)
        page = cv2.threshold(blurred, 127, 255, cv2.THRESH_BINARY)[1]
    return page


def _cut(picture: np.ndarray, page: Page, box: Box, room: float = 0) -> np.ndarray:
    top, bottom = (page.height - box.top - room) * _DOTS, (page.height - box.bottom + room) * _DOTS
    left, right = (box.left - room) * _DOTS, (box.right + room) * _DOTS
    return picture[max(round(top), 0) : round(bottom), max(round(left), 0) : round(right)]


def _alike(one: np.ndarray, other: np.ndarray) -> float:
    """How far two pictures go together, 1 where they are the same, wherever one lies by a dot or two."""
    height, width = (min(a, b) for a, b in zip(one.shape, other.shape, strict=True))
    frame = cv2.copyMakeBorder(one[:height, :width], 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=255)
    return float(cv2.matchTemplate(frame, other[:height, :width], cv2.TM_CCOEFF_NORMED).max())


@pytest.fixture(scope="module")
def kept():
    return {}


@pytest.fixture
def sheet(kept, formulary):
    """The leaf of two eyes with its first page, scanned clean and copied twice."""
    if not kept:
        pdf = laid_out(two_eyes.content(formulary))[0]
        kept["sheet"] = read(pdf)[0], _scanned(pdf), _copied(_scanned(pdf))
    return kept["sheet"]


def test_every_rule_and_wall_of_the_table_is_still_one_line(sheet):
    page, _, copy = sheet
    table = table_box(page)
    lines = [
        s for s in page.shapes
        if s.edge and s.segments == 2 and min(s.width, s.height) < 2.2 and max(s.width, s.height) > 15
        and table.left - 2 < s.x < table.right + 2 and table.bottom - 2 < s.y < table.top + 2
    ]  # fmt: skip
    assert len(lines) > 30
    for line in lines:
        level = line.width > line.height
        strip = _cut(copy, page, line)
        black = (strip == 0).any(axis=0 if level else 1)
        inner = black[20:-20]
        assert inner.mean() > 0.99, f"no gap in {line}"


def test_every_mark_is_still_nearest_to_its_own_bottle(sheet):
    """A copy is told by the clean print that it is most like: letter, form and filling together."""
    page, clean, copy = sheet
    table = table_box(page)
    size = [mark for mark in page.marks if table.holds(mark)]
    models: dict[str, np.ndarray] = {}
    for mark in sorted(size, key=lambda m: m.width):
        models.setdefault(mark.bottle, _cut(clean, page, mark, room=1))
    assert set(models) == {"Nr", "Sr", "Al", "Sl", "A2l", "T"}
    for mark in size:
        seen = _cut(copy, page, mark, room=1)
        fits = {bottle: _alike(_scaled(seen, model), model) for bottle, model in models.items()}
        assert max(fits, key=lambda bottle: fits[bottle]) == mark.bottle
        assert fits[mark.bottle] > 0.7
        others = [fit for bottle, fit in fits.items() if bottle != mark.bottle]
        assert fits[mark.bottle] - max(others) > 0.1, "and clearly so"


def _scaled(seen: np.ndarray, model: np.ndarray) -> np.ndarray:
    return cv2.resize(seen, model.shape[::-1], interpolation=cv2.INTER_AREA)


def test_the_steroid_is_black_and_every_other_mark_white(sheet):
    page, _, copy = sheet
    table = table_box(page)
    for mark in (m for m in page.marks if table.holds(m)):
        dark = (_cut(copy, page, mark) == 0).mean()
        assert dark > 0.5 if mark.bottle[0] == "S" else dark < 0.5, mark.bottle


def test_the_filled_eye_of_every_line_is_still_the_dark_one(sheet):
    page, _, copy = sheet
    table = table_box(page)
    pairs = [pair for pair in page.eyes if table.holds(pair)]
    assert len(pairs) > 10
    for pair in pairs:
        drawn = _cut(copy, page, pair) == 0
        half = drawn.shape[1] // 2
        dark = {"left": drawn[:, :half].mean(), "right": drawn[:, half:].mean()}
        assert tuple(side for side in ("left", "right") if dark[side] > 0.55) == pair.filled


@pytest.mark.parametrize("tag", ["en", "ta", "ur"])
def test_the_marks_of_a_draft_and_of_a_sample_still_stand(tag, formulary):
    clinic, plan = replace(two_eyes.CLINIC, sample=True), two_eyes.plan(approved=False)
    content = two_eyes.content(formulary, language=tag, issue=None, clinic=clinic, plan=plan)
    assert len(content.marks) >= 2
    pdf = laid_out(content)[0]
    for at, page in enumerate(read(pdf)[:2]):
        clean, copy = _scanned(pdf, at), _copied(_scanned(pdf, at))
        rule = min(s.y for s in page.shapes if s.edge and s.segments == 2 and s.width > 400 and s.y < 90)
        foot = Box(20, rule - 20 * content.scale, page.width - 20, rule - 2)
        assert (_cut(copy, page, foot) == 0).mean() > 0.02, "there are words"
        assert _alike(_cut(copy, page, foot), _cut(clean, page, foot)) > 0.75


def test_the_watermark_of_a_draft_is_seen_on_the_copy_of_a_copy(formulary):
    """Pale as it is, it must not vanish: somebody could take the copy for a sheet."""
    drafts = laid_out(two_eyes.content(formulary, issue=None))[0]
    pages = [_scanned(drafts, at) for at in range(2)]
    assert all(((page < 250) & (page > 180)).mean() > 0.01 for page in pages), "on the print it is pale"
