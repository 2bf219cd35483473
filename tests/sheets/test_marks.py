"""A mark is of one bottle of one eye, a row is one round, and a mark is told to who can't see it."""

from __future__ import annotations

import re
import zlib

import numpy
import pypdfium2

from followup.resources import folder
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import render_pdf
from followup.sheets.phone import render_phone


def _streams(pdf: bytes) -> str:
    """The objects of a PDF as text, those that are packed too."""
    found = [pdf.decode("latin-1")]
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompress(packed).decode("latin-1"))
        except zlib.error:
            continue
    return "\n".join(found)


def _told(pdf: bytes) -> list[str]:
    """The words that stand for drawings, as a reader hears them."""
    texts = re.findall(r"/Alt\s*\(((?:\\.|[^\\)])*)\)", _streams(pdf))
    return [re.sub(r"\\(.)", r"\1", text) for text in texts]


def test_every_due_drop_is_told_with_its_medicine_and_eye_and_nothing_else_is(make_content):
    content = make_content(options=SheetOptions(calendar=False))
    marks = [t for t in _told(render_pdf(content)) if t.startswith("1 drop")]
    due = [
        bottle.due
        for phase in content.rounds
        for row in phase.rounds
        for bottle, now in zip(phase.bottles, row.due, strict=True)
        if now
    ]
    assert due[0] == "1 drop: Moxifloxacin 0.5%, Left eye"
    assert sorted(marks) == sorted(due)


def test_the_phone_page_tells_every_due_drop(make_content):
    content = make_content()
    page = render_phone(content)
    assert page.count('aria-label="1 drop: Prednisolone acetate 1%, Left eye"') == 4 + 3 + 2 + 1
    empty = [row for phase in content.rounds for row in phase.rounds for now in row.due if not now]
    assert empty
    assert page.count('aria-label="1 drop') == sum(sum(r.due) for p in content.rounds for r in p.rounds)


def test_the_two_eyes_bottles_of_one_medicine_look_different_on_the_phone(make_long_content):
    page = render_phone(make_long_content(options=SheetOptions(pictures=True)))
    assert '<span class="letter right" dir="ltr">S</span>' in page
    assert '<span class="letter left" dir="ltr">S</span>' in page
    assert ".letter.left { border-radius: 1em; background: #23201d; color: #fff; }" in page


def _blackness(pdf: bytes, name: str) -> float:
    """How black the mark is that stands before the heading of a medicine, from 0 to 1."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            words = page.get_textpage()
            found = words.search(f"S {name}").get_next()
            if found:
                left, bottom, right, top = words.get_charbox(found[0])
                picture = page.render(scale=4).to_pil().convert("L")
                corner = picture.height - 4 * top
                box = (4 * left - 8, corner - 8, 4 * right + 8, corner + 4 * (top - bottom) + 8)
                return float((numpy.asarray(picture.crop(tuple(map(int, box)))) < 128).mean())
    finally:
        document.close()
    raise AssertionError("the medicine is not found")


def test_the_two_eyes_bottles_of_one_medicine_look_different_on_paper(make_content, make_plan, make_record):
    """The same letter and name: the left eye's mark is filled, the right eye's is not."""

    def black(eye: str) -> float:
        record = make_record()
        operation = record.operations[0].model_copy(update={"eye": eye, "eye_drawn": eye})
        plan = make_plan(approved=True)
        courses = tuple(
            c.model_copy(update={"eye": eye, "key": c.key.replace("left", eye)}) for c in plan.courses
        )
        content = make_content(
            plan=plan.model_copy(update={"courses": courses, "rounds": (), "supply": ()}),
            record=record.model_copy(update={"operations": (operation,)}),
            options=SheetOptions(calendar=False),
        )
        return _blackness(render_pdf(content), "Prednisolone acetate 1%")

    assert black("left") > black("right") + 0.2


def test_a_row_of_pictures_is_one_round_and_shows_each_drop_once(make_content):
    content = make_content(options=SheetOptions(pictures=True, calendar=False))
    told = [t for t in _told(render_pdf(content)) if t.startswith("1 drop")]
    assert len(told) == sum(sum(row.due) for phase in content.rounds for row in phase.rounds)
    page = render_phone(content)
    assert page.count('<div class="round">') == sum(len(phase.rounds) for phase in content.rounds)


def test_the_drops_shape_is_in_no_picture_of_a_rule_or_a_sign():
    """A drop is drawn from its point down one side to its lowest place, and up the other side again."""
    absolute = r"Q\S+ \S+ \1 [\d.]+Q\S+ \S+ \1 \2"
    down_and_up = re.compile(rf"M([\d.]+) ([\d.]+)(?:{absolute}|q\S+ \S+ 0 \S+q\S+ \S+ 0 -\S+)Z")
    assert down_and_up.search("M15 31Q11 38 15 40Q19 38 15 31Z")
    assert down_and_up.search("M14 3q-4 6 0 7.500q4 -1.5 0 -7.500Z")
    for path in sorted((folder("templates") / "pictures").glob("*.svg")):
        assert not down_and_up.search(path.read_text("utf-8")), path.name
