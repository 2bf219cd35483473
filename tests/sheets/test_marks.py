"""A mark is of one bottle of one eye, a row is one round, and a mark is told to who can't see it."""

from __future__ import annotations

import json
import re
import zlib
from itertools import combinations

import pytest
import typst
from leaf_rows import rows_of_days
from printed import read

from followup.language.fonts import font_folders
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
    due = [m.bottle.due for row in rows_of_days(content) for m in row.marks for there in m.at if there]
    assert due[0] == "1 drop: Moxifloxacin 0.5%, Left eye"
    assert sorted(marks) == sorted(due)


def test_the_phone_page_tells_every_due_drop_of_the_table(make_content):
    content = make_content()
    page = render_phone(content)
    table = page[page.index("<thead>") : page.index("</table>")]
    assert table.count('aria-label="1 drop: Prednisolone acetate 1%, Left eye"') == 4 + 3 + 2 + 1
    cells = [there for row in rows_of_days(content) for mark in row.marks for there in mark.at]
    assert not all(cells)
    assert table.count('aria-label="1 drop') == sum(cells)


def test_the_two_eyes_bottles_of_one_medicine_look_different_on_the_phone(make_long_content):
    page = render_phone(make_long_content(options=SheetOptions(pictures=True)))
    assert '<span class="letter right filled" dir="ltr">S</span>' in page
    assert '<span class="letter left filled" dir="ltr">S</span>' in page
    assert ".letter.left { border-radius: 1em; }" in page
    assert ".letter.filled { background: #23201d; color: #fff; }" in page


SHAPES = {"right": "square", "left": "round", None: "between lines"}
KINDS = [("S", "drop"), ("S2", "drop"), ("S", "ointment"), ("N", "drop"), ("A2", "drop"), ("A", "ointment")]
MARKS = [(letter, kind, side) for letter, kind in KINDS for side in ("right", "left")] + [
    (letter, "tablet", None) for letter in ("T", "S")
]


@pytest.mark.parametrize("drawn", ["letter-mark(bottle)", "bottle-picture(bottle, 16mm)"])
def test_the_two_eyes_bottles_of_one_medicine_look_different_on_paper(drawn, tmp_path):
    """The shape says the eye, and none but the steroid drop is filled, for both."""
    given = [{"letter": m[0], "kind": m[1], "side": m[2], "cap": None} for m in MARKS]
    source = f"""#import "/sheet/drawings.typ": *
#set page(width: 300pt, height: 100pt)
#for (i, bottle) in json(bytes(sys.inputs.data)).enumerate() {{ if i > 0 {{ pagebreak() }}; {drawn} }}"""
    pdf = typst.compile(
        source.encode(),
        root=str(folder("templates")),
        font_paths=[str(path) for path in font_folders()],
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(given)},
    )
    assert isinstance(pdf, bytes)
    for page, (letter, kind, side) in zip(read(pdf), MARKS, strict=True):
        (mark,) = page.marks
        fill = "black" if (letter[0], kind) == ("S", "drop") else "white"
        form = f"{fill} and {SHAPES[side]}" if side else SHAPES[side]
        assert (mark.letter, mark.form) == (letter, form), (letter, kind, side)


@pytest.mark.parametrize("tag", ["en", "ar"])
def test_a_cell_has_room_for_four_marks_two_by_two(tag):
    """Twelve millimetres wide, beside letters of 13 points, and no mark touches another."""
    source = f'''#import "/sheet/drawings.typ": *
#set page(width: 10mm, height: 30mm, margin: 0mm)
#set text(size: 13pt, font: "Noto Sans", lang: "{tag}")
#for letter in ("S", "N", "A2", "C") {{
  letter-mark((letter: letter, kind: "drop", side: "left")); sym.zws }}'''
    made = typst.compile(
        source.encode(),
        root=str(folder("templates")),
        font_paths=[str(path) for path in font_folders()],
        ignore_system_fonts=True,
    )
    assert isinstance(made, bytes)
    (page,) = read(made)
    assert [m.letter for m in sorted(page.marks, key=lambda m: (-round(m.y), m.x))] == (
        ["S", "N", "A2", "C"] if tag == "en" else ["N", "S", "C", "A2"]
    )
    for one, other in combinations(page.marks, 2):
        assert abs(one.x - other.x) > one.width or abs(one.y - other.y) > one.height


def test_a_sheet_with_pictures_tells_each_drop_of_the_table_once(make_content):
    content = make_content(options=SheetOptions(pictures=True, calendar=False))
    told = [t for t in _told(render_pdf(content)) if t.startswith("1 drop")]
    assert len(told) == sum(sum(mark.at) for row in rows_of_days(content) for mark in row.marks)


def test_the_drops_shape_is_in_no_picture_but_of_putting_in_a_drop():
    """A drop is drawn from its point down one side to its lowest place, and up the other side again."""
    absolute = r"Q\S+ \S+ \1 [\d.]+Q\S+ \S+ \1 \2"
    down_and_up = re.compile(rf"M([\d.]+) ([\d.]+)(?:{absolute}|q\S+ \S+ 0 \S+q\S+ \S+ 0 -\S+)Z")
    assert down_and_up.search("M15 31Q11 38 15 40Q19 38 15 31Z")
    assert down_and_up.search("M14 3q-4 6 0 7.500q4 -1.5 0 -7.500Z")
    for path in sorted((folder("templates") / "pictures").glob("*.svg")):
        drops = down_and_up.findall(path.read_text("utf-8"))
        assert len(drops) == (1 if path.stem == "how-drop" else 0), path.name
