"""Labels as they print: their size and place, the mark of the sheet, and what is refused."""

from __future__ import annotations

from datetime import date
from typing import Any

import pypdfium2
import pytest

from followup.errors import FollowupError
from followup.language.catalogues import translator
from followup.language.languages import LANGUAGES
from followup.sheets.inputs import SheetInputs
from followup.sheets.labels import label
from followup.sheets.model import BottleLabel, LabelLine, NamedBottle, TextSetting
from followup.sheets.options import SheetOptions
from followup.sheets.paper.labels_pdf import labels_pdf

DAY = date(2027, 3, 1)
MM = 72 / 25.4


def _label(**changed: Any) -> BottleLabel:
    side = changed.pop("side", "left")
    bottle = {
        "letter": "S",
        "name": "Dexamethasone 0.1%",
        "eye": "Left eye",
        "kind": "drop",
        "due": "",
        "side": side,
    }
    bottle |= {key: changed.pop(key) for key in list(changed) if key in bottle}
    given = {
        "setting": TextSetting.of(LANGUAGES[changed.pop("language", "en")]),
        "name": changed.pop("who", "Amina Yusuf"),
        "code": "K-104",
        "bottle": NamedBottle(**bottle),
        "use": ("Mon 1 – Sun 7 March", "4 times a day"),
        "days": (LabelLine(head="Opened on", words="Mon 1 March"),),
        "clinic": "Lantern Hill Eye Clinic",
        "marks": ("Sample clinic",),
    }
    return BottleLabel(**given | changed)


def _places(page: pypdfium2.PdfPage) -> list[tuple[int, int]]:
    """Column and row of each label that holds a word; a word that crosses an edge is in none."""
    words, found = page.get_textpage(), set()
    height = page.get_size()[1]
    for i in range(words.count_rects()):
        left, bottom, right, top = (value / MM for value in words.get_rect(i))
        column, row = int(left // 70), int((height / MM - top - 0.5) // 37)
        assert column * 70 + 2.5 < left < right < column * 70 + 67.5, "beside its label"
        upper = height / MM - 0.5 - row * 37
        assert upper - 35.5 < bottom < top < upper - 1.5, "above or below its label"
        found.add((column, row))
    return sorted(found, key=lambda place: (place[1], place[0]))


def test_a_sheet_has_three_by_eight_labels_of_70_by_37_and_begins_where_it_is_told():
    document = pypdfium2.PdfDocument(labels_pdf([_label()] * 30, DAY, start=5))
    assert [tuple(round(side / MM) for side in page.get_size()) for page in document] == [(210, 297)] * 2
    everywhere = [(column, row) for row in range(8) for column in range(3)]
    assert _places(document[0]) == everywhere[4:]
    assert _places(document[1]) == everywhere[:10]


def test_a_single_label_is_a_page_of_its_own_size():
    document = pypdfium2.PdfDocument(labels_pdf([_label(), _label()], DAY, start=None))
    assert [tuple(round(side / MM, 1) for side in page.get_size()) for page in document] == [(70, 37)] * 2


@pytest.mark.parametrize(
    ("side", "letter", "corner", "middle"),
    [
        ("left", "S", False, True),
        ("right", "S", True, True),
        ("left", "N", False, False),
        ("right", "N", True, False),
    ],
)
def test_the_mark_is_square_for_the_right_eye_round_for_the_left_and_black_for_steroid(
    side, letter, corner, middle
):
    page = pypdfium2.PdfDocument(labels_pdf([_label(side=side, letter=letter)], DAY, start=None))[0]
    picture = page.render(scale=10).to_pil().convert("L")
    # The mark is the large drawing in the upper corner, where no words are.
    box = picture.crop((int(53 * MM * 10), 0, picture.width, int(16 * MM * 10)))
    dark = box.point(lambda value: 255 if value < 128 else 0)
    left, top, right, bottom = dark.getbbox()
    assert (right - left) / MM / 10 > 8
    assert (dark.getpixel((left + 6, top + 6)) == 255) == corner
    # Between the edge and the letter.
    inside = (left + (right - left) // 5, top + (bottom - top) // 2)
    assert (dark.getpixel(inside) == 255) == middle


@pytest.mark.parametrize("tag", sorted(LANGUAGES))
def test_the_label_of_every_language_has_room(tag, plan, record, formulary, clinic):
    words = translator(tag)
    inputs = SheetInputs(
        plan,
        record,
        formulary,
        None,
        words,
        plan.as_of,
        SheetOptions(),
        draft_words=True,  # type: ignore[arg-type]
    )
    made = [label(inputs, clinic, bottle) for bottle in plan.supply]
    assert made
    for one in made:
        assert len(one.use) >= 2
        assert one.bottle.eye == inputs.eye(one.bottle.side)
    document = pypdfium2.PdfDocument(labels_pdf(made, DAY))
    assert len(_places(document[0])) == len(made)


def test_how_often_a_day_is_told_with_the_days_for_which_it_holds(plan, record, formulary, clinic):
    inputs = SheetInputs(
        plan,
        record,
        formulary,
        None,
        translator("en"),
        plan.as_of,
        SheetOptions(),  # type: ignore[arg-type]
    )
    steroid = next(course for course in plan.courses if course.role == "steroid")
    first = steroid.steps[0]
    bottle = next(one for one in plan.supply if one.course == steroid.key)
    days, times = label(inputs, clinic, bottle).use
    assert str(first.end.day) in days
    assert times == f"{first.count} times a day"


def test_a_long_name_is_wrapped_and_set_smaller_before_it_is_refused():
    name = "Wanjiru Ndegwa-Fernandes Ramanathan Subramaniam Venkataraman"
    text = pypdfium2.PdfDocument(labels_pdf([_label(who=name)], DAY, start=None))[0].get_textpage()
    assert " ".join(text.get_text_bounded().split()).startswith(name)


@pytest.mark.parametrize("field", ["who", "name", "eye", "clinic", "code"])
def test_a_word_too_wide_for_the_label_is_refused_never_cut(field):
    with pytest.raises(FollowupError) as refused:
        labels_pdf([_label(**{field: "Wanjirundegwa" * 6})], DAY)
    assert refused.value.code == "sheet.overflow"


def test_more_words_than_a_label_holds_are_refused():
    with pytest.raises(FollowupError) as refused:
        labels_pdf([_label(who="Anne Marie " * 30)], DAY)
    assert refused.value.code == "sheet.overflow"


def test_what_no_font_prints_no_label_at_all_and_no_such_place_are_refused():
    for labels, start, code in (
        ([_label(who="Amina \U00010330")], 1, "language.glyph"),
        ([], 1, "label.none"),
        ([_label()], 25, "label.start"),
        ([_label()], 0, "label.start"),
    ):
        with pytest.raises(FollowupError) as refused:
            labels_pdf(labels, DAY, start=start)
        assert refused.value.code == code


def test_the_same_labels_are_the_same_bytes():
    assert labels_pdf([_label()], DAY) == labels_pdf([_label()], DAY)
