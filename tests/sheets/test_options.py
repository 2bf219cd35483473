"""What a counsellor may choose: size, paper, pictures, the staff's language, native digits."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from typing import get_args

import pypdfium2.raw as raw
import pytest
from printed import read, says

from followup.clinical.protocol.formulary import CapColour
from followup.errors import FollowupError
from followup.resources import folder
from followup.sheets.advice import DRAWN
from followup.sheets.content import SheetOptions
from followup.sheets.day_parts import DAY_PARTS, day_part
from followup.sheets.options import SheetChoices, usual_options
from followup.sheets.paper.pdf import render_pdf, sheet_data
from followup.sheets.phone import CAP_COLOURS, render_phone
from followup.sheets.wording import ADVICE, SIGNS

# ISO 216 and ANSI/ASME Y14.1, in points.
POINTS = {"A4": (595, 842), "A5": (420, 595), "Letter": (612, 792)}


def _sizes(document) -> Counter[float]:
    """How many letters there are of each size, the foot of the pages left out."""
    found: Counter[float] = Counter()
    for page in document:
        words = page.get_textpage()
        for at in range(words.count_chars()):
            if words.get_charbox(at)[1] > 56 and not words.get_text_range(at, 1).isspace():
                found[round(raw.FPDFText_GetFontSize(words.raw, at), 1)] += 1
    return found


@pytest.mark.parametrize("paper", POINTS)
@pytest.mark.parametrize(("size", "large"), [("normal", False), ("large", True)])
def test_every_page_is_of_the_chosen_paper_and_large_letters_are_larger(paper, size, large, pdf_of, open_pdf):
    document = open_pdf(pdf_of("en", paper=paper, size=size))
    assert {tuple(round(x) for x in page.get_size()) for page in document} == {POINTS[paper]}
    body = _sizes(document).most_common(1)[0][0]
    assert (body > 13 if paper != "A5" else body > 12) == large
    assert body >= (10 if paper == "A5" else 11)


def test_a_sheet_whose_page_one_can_not_hold_what_it_must_is_refused(make_content, clinic):
    content = make_content(
        options=SheetOptions(paper="A5"), clinic=replace(clinic, address="4 Mill Road, " * 90)
    )
    with pytest.raises(FollowupError) as refused:
        render_pdf(content)
    assert refused.value.code == "sheet.page_one"
    assert "normal size" in refused.value.fix


def test_text_that_runs_off_the_paper_is_refused(make_content, monkeypatch):
    monkeypatch.setattr("followup.sheets.paper.pdf._LEAST_MARGIN", 45)  # wider than the margin there is
    with pytest.raises(FollowupError) as refused:
        render_pdf(make_content())
    assert refused.value.code == "sheet.cut"


# ---- the staff's language -----------------------------------------------------------------------


def test_the_staff_s_copy_is_the_same_leaf_in_the_staff_s_language(make_content, all_texts):
    content = make_content(language="hi", options=SheetOptions(twin="en"))
    english = make_content(language="en")
    # A draft translation of the patient's leaf is called so on the copy too.
    alone = {"copy_for", "twin", "marks"}
    assert content.twin.model_dump(exclude=alone) == english.model_dump(exclude=alone)
    assert content.twin.copy_for
    assert english.copy_for is None
    assert content.copy_for is None


@pytest.mark.parametrize(("tag", "staff"), [("sw", "en"), ("ur", "en"), ("en", "ta"), ("bn", "fr")])
def test_the_staff_s_copy_follows_the_patient_s_leaf_with_as_many_pages_and_says_what_it_is(
    tag, staff, make_content
):
    content = make_content(language=tag, options=SheetOptions(twin=staff))
    pages = read(render_pdf(content))
    assert len(pages) == 4
    patient, copy = pages[:2], pages[2:]
    assert all(says(page.text, content.twin.copy_for) for page in copy)
    assert not any(says(page.text, content.twin.copy_for) for page in patient)
    for page, leaf in ((patient[0], content), (copy[0], content.twin)):
        assert says(page.text, leaf.alarm.heading)
        assert says(page.text, leaf.face.words)
    assert "".join(copy[1].text.split()).count("2") >= 2, "its pages are counted anew"


def test_a_twin_in_the_sheet_s_own_language_is_left_out(make_content):
    assert make_content(language="en", options=SheetOptions(twin="en")).twin is None
    assert make_content(language="en", options=SheetOptions(twin="bn")).twin.language == "bn"


def test_a_draft_translation_is_called_so_in_both_languages(make_content):
    content = make_content(language="bn", options=SheetOptions(twin="en"))
    assert len(content.marks) == len(content.twin.marks)
    assert content.twin.marks == ("Draft translation",)


def test_a_twin_that_no_catalogue_has_is_refused(make_content):
    with pytest.raises(FollowupError) as refused:
        make_content(options=SheetOptions(twin="xx"))
    assert refused.value.code == "language.unknown"


# ---- pictures ------------------------------------------------------------------------------------


def test_every_rule_that_has_a_drawing_is_drawn_and_no_words_are_left_out_for_it(make_content):
    plain, drawn = make_content(), make_content(options=SheetOptions(pictures=True))
    assert [part.lines for part in drawn.home] == [part.lines for part in plain.home]
    assert {part.pictures for part in plain.home} == {()}
    found = [picture for part in drawn.home for picture in part.pictures if picture]
    assert len(found) >= 8
    assert len(found) == len(set(found))
    assert set(found) <= DRAWN
    assert all(len(part.pictures) == len(part.lines) for part in drawn.home)


@pytest.mark.parametrize(
    "name",
    [*(f"rule-{n}" for n in sorted(DRAWN)), *(f"sign-{n}" for n in SIGNS), *(f"sun-{p}" for p in DAY_PARTS)],
)
def test_everything_that_is_to_be_drawn_has_its_drawing_in_black_and_white(name):
    from xml.etree import ElementTree as ET

    svg = (folder("templates") / "pictures" / f"{name}.svg").read_text("utf-8")
    colours = {e.get(a) for e in ET.fromstring(svg).iter() for a in ("fill", "stroke")}
    assert colours <= {None, "none", "#23201d", "#fff", "#d9d4cc"}
    assert set(ADVICE) >= DRAWN


@pytest.mark.parametrize(
    ("time", "part"),
    [
        ("04:59", "night"), ("05:00", "rise"), ("07:59", "rise"), ("08:00", "morning"),
        ("11:00", "morning"), ("11:29", "morning"), ("11:30", "noon"), ("13:59", "noon"),
        ("14:00", "afternoon"), ("17:00", "evening"), ("19:59", "evening"), ("20:00", "night"),
        ("00:30", "night"),
    ],
)  # fmt: skip
def test_a_clock_time_has_its_place_on_the_sun_s_path(time, part):
    assert day_part(time) == part


def test_pictures_and_letters_of_the_bottles_stand_on_paper_and_phone(make_content, pdf_of, open_pdf):
    text = open_pdf(pdf_of("en", pictures=True, calendar=False))[0].get_textpage().get_text_bounded()
    assert "Early morning" in text
    assert "Night" in text
    page = render_phone(make_content(options=SheetOptions(pictures=True)))
    for letter in "ANS":
        assert f"url(#mark-{letter})" in page
        assert f'id="mark-{letter}"' in page


def test_someone_who_does_not_read_is_offered_pictures(make_record):
    assert usual_options(make_record(can_read=False)).pictures
    assert not usual_options(make_record(can_read=True)).pictures
    assert not usual_options(make_record()).pictures


def test_the_second_language_of_the_record_is_printed_where_there_are_words_in_it(make_record):
    assert usual_options(make_record(language="ur", second_language="en")).twin == "en"
    assert usual_options(make_record(language="ur", second_language="sv")).twin is None
    assert usual_options(make_record(language="ur")).twin is None


@pytest.mark.parametrize("reads", [True, False, None])
@pytest.mark.parametrize("chosen", [True, False, None])
def test_what_was_chosen_wins_and_what_was_not_is_as_the_patient_and_the_clinic_need_it(
    make_record, reads, chosen
):
    record = make_record(can_read=reads, language="ur", second_language="en")
    choices = SheetChoices(pictures=chosen, calendar=chosen)
    for clinic in (True, False):
        found = usual_options(record, choices, calendar=clinic)
        assert found.pictures == (reads is False if chosen is None else chosen)
        assert found.calendar == (clinic if chosen is None else chosen)
        assert (found.twin, found.size, found.paper) == ("en", "normal", "A4")
    assert usual_options(record, SheetChoices(twin="")).twin is None
    assert usual_options(record, SheetChoices(twin="hi", size="large", paper="A5")) == SheetOptions(
        size="large", paper="A5", twin="hi", pictures=reads is False
    )


def test_caps_have_colours_only_where_the_clinic_s_stock_has_them(make_content, clinic, formulary):
    for key, found in formulary.items():
        formulary[key] = found.model_copy(update={"cap": "pink"})
    assert {b.bottle.cap for b in make_content().bottles} == {None}
    coloured = make_content(clinic=replace(clinic, cap_colours=True), options=SheetOptions(pictures=True))
    assert {b.bottle.cap for b in coloured.bottles} == {"pink"}
    assert render_pdf(coloured)[:5] == b"%PDF-"
    assert CAP_COLOURS["pink"] in render_phone(coloured)


def test_paper_and_phone_have_the_same_colours_for_every_cap():
    paper = (folder("templates") / "sheet" / "drawings.typ").read_text("utf-8")
    colours = paper[paper.index("#let cap-colours") :].partition("\n)")[0]
    assert set(CAP_COLOURS) == set(get_args(CapColour))
    assert dict(re.findall(r'"?([a-z]+(?: [a-z]+)?)"?: rgb\("(#\w{6})"\)', colours)) == CAP_COLOURS
    # What a pharmacist would call by this name: which of red, green and blue are strong.
    strong = {
        name: [c for c, at in zip("rgb", (1, 3, 5), strict=True) if int(shade[at : at + 2], 16) > 0x90]
        for name, shade in CAP_COLOURS.items()
    }
    assert strong == {
        "pink": ["r", "b"],
        "tan": ["r", "g"],
        "grey": ["g", "b"],
        "red": ["r"],
        "dark green": [],
        "yellow": ["r", "g"],
        "purple": [],
        "orange": ["r"],
        "turquoise": ["g", "b"],
        "dark blue": [],
    }


# ---- native digits -------------------------------------------------------------------------------


def test_native_digits_stand_beside_the_latin_ones_and_never_instead(make_content):
    content = make_content(language="bn", options=SheetOptions(native_digits=True, calendar=True))
    first = content.table.columns[0]
    assert (first.time, first.native) == ("06:00", "০৬:০০")
    assert content.next_visit.native == "২ জুন ২০২৬"
    assert "2026" in content.next_visit.day
    assert content.calendar.days[0].native == "২"
    assert make_content(language="bn").table.columns[0].native is None
    assert make_content(language="fr", options=SheetOptions(native_digits=True)).next_visit.native is None


def test_native_digits_are_printed(pdf_of, open_pdf):
    pages = open_pdf(pdf_of("hi", native_digits=True))
    text = "".join(page.get_textpage().get_text_bounded() for page in pages)
    assert "०६:००" in text.replace(" ", "")
    assert "06:00" in text


def test_the_data_of_the_layout_says_what_was_chosen(make_content):
    data = sheet_data(make_content(options=SheetOptions(size="large", paper="A5", pictures=True)))
    assert (data["size"], data["paper"], data["pictures"], data["close"]) == ("large", "A5", True, False)
