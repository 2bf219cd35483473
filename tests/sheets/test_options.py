"""What a counsellor may choose: size, paper, pictures, the staff's language, native digits."""

from __future__ import annotations

import re
from collections import Counter
from typing import get_args

import pypdfium2.raw as raw
import pytest
import two_eyes
import two_eyes_told as told
from followup.sheets.paper.pairs import paired
from printed import read

from followup.clinical.protocol.formulary import CapColour
from followup.errors import FollowupError
from followup.resources import folder
from followup.sheets.advice import DRAWN, MOST_PICTURES
from followup.sheets.content import SheetOptions
from followup.sheets.day_parts import DAY_PARTS, day_part
from followup.sheets.options import SheetChoices, usual_options
from followup.sheets.paper.pdf import _SQUEEZES, render_pdf, sheet_data
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
@pytest.mark.parametrize(("size", "body"), [("normal", 14.0), ("large", 18.0)])
def test_body_text_has_its_size_on_every_paper(paper, size, body, pdf_of, open_pdf):
    document = open_pdf(pdf_of("en", paper=paper, size=size, calendar=False))
    assert {tuple(round(x) for x in page.get_size()) for page in document} == {POINTS[paper]}
    sizes = _sizes(document)
    assert sizes.most_common(1)[0][0] == body
    foot = 9.0 if size == "normal" or paper == "A5" else 10.5
    assert min(s for s in sizes if s != foot) >= 9.3, "the mark in a bottle's box is a letter, not a text"
    assert sum(n for s, n in sizes.items() if s < 11 and s != foot) < 0.01 * sizes.total()


def test_a_sheet_whose_page_one_can_not_hold_what_it_must_is_refused(make_content, monkeypatch):
    monkeypatch.setattr("followup.sheets.paper.pdf._PAGE_ONE", ((0, True),))  # as if nothing closer were left
    options = SheetOptions(paper="A5", size="large", twin="en")
    with pytest.raises(FollowupError) as refused:
        render_pdf(make_content(language="ta", options=options))
    assert refused.value.code == "sheet.page_one"
    assert "normal size" in refused.value.fix


def test_text_that_runs_off_the_paper_is_refused(make_content, monkeypatch):
    monkeypatch.setattr("followup.sheets.paper.pdf._LEAST_MARGIN", 45)  # wider than the margin there is
    with pytest.raises(FollowupError) as refused:
        render_pdf(make_content())
    assert refused.value.code == "sheet.cut"


def test_a_page_with_a_line_alone_is_set_again_closer_or_wider_then_refused(make_content, monkeypatch):
    tried = []

    def bare(page, content):
        tried.append(page)
        return True

    monkeypatch.setattr("followup.sheets.paper.pdf._is_bare", bare)
    with pytest.raises(FollowupError, match="a page of the sheet comes out with a single line"):
        render_pdf(make_content())
    assert len(tried) == len(_SQUEEZES) == 7


@pytest.mark.parametrize("pictures", [False, True])
def test_on_small_paper_too_every_dose_stands_beside_its_time(pictures, formulary):
    """A time whose bottles go on over the page would leave them without one."""
    options = SheetOptions(paper="A5", pictures=pictures, calendar=False)
    drawn = 0
    for page in read(render_pdf(two_eyes.content(formulary, options=options))):
        times = [word for word in page.words if re.fullmatch(r"\d\d:\d\d", word.text)]
        for dose in page.doses:
            row = page.band(dose)
            assert len([time for time in times if row.holds(time)]) >= 1, page.within(row)
            drawn += 1
    assert drawn == sum(len(marks.split()) for times in told.ROUNDS.values() for marks in times.values())


# ---- the staff's language -----------------------------------------------------------------------


def _pairs(value):
    if isinstance(value, dict) and set(value) == {"main", "twin"}:
        yield value["main"], value["twin"]
    elif isinstance(value, dict):
        for part in value.values():
            yield from _pairs(part)
    elif isinstance(value, list):
        for part in value:
            yield from _pairs(part)


def test_every_line_has_the_staff_s_words_with_it(make_content, all_texts):
    content = make_content(language="hi", options=SheetOptions(twin="en"))
    english = make_content(language="en")
    pairs = dict(_pairs(paired(content)))
    assert pairs[content.alarm.heading] == "Come at once, even without pain, if:"
    assert pairs[content.steroid_ends[0]] == english.steroid_ends[0]
    said = {twin for _, twin in _pairs(paired(content))}
    sentences = {t for t in all_texts(english) if " " in t} - set(english.marks)
    same = {
        english.who.name,
        english.clinic.name,
        english.code.grouped,
        *(b.bottle.name for b in english.bottles),
    }
    same |= {t.number for t in english.clinic.telephones}
    assert sentences - said - same <= {
        line for line in sentences if "/" in line or (":" in line and len(line) < 8)
    }


def test_the_words_of_both_languages_stand_on_paper_and_phone(make_content, pdf_of, open_pdf):
    content = make_content(language="sw", options=SheetOptions(twin="en", calendar=False))
    text = " ".join(
        " ".join(
            p.get_textpage().get_text_bounded() for p in open_pdf(pdf_of("sw", twin="en", calendar=False))
        ).split()
    )
    page = render_phone(content)
    for words in (content.alarm.heading, "Come at once, even without pain, if:", "Pain grows"):
        assert words in text
        assert words in page
    assert '<span class="staff" lang="en" dir="ltr">Pain grows</span>' in page


def test_a_twin_in_the_sheet_s_own_language_is_left_out(make_content):
    assert make_content(language="en", options=SheetOptions(twin="en")).twin is None
    assert make_content(language="en", options=SheetOptions(twin="bn")).twin.language == "bn"


def test_sentences_that_fall_together_in_one_language_keep_all_the_staff_s_words(make_content):
    content = make_content(language="fr", options=SheetOptions(twin="en"))
    short = content.model_copy(update={"steroid_ends": ("a",)})
    longer = content.twin.model_copy(update={"steroid_ends": ("one", "two")})
    assert paired(short.model_copy(update={"twin": longer}))["steroid_ends"] == [
        {"main": "a", "twin": "one two"}
    ]


def test_a_draft_translation_is_called_so_in_both_languages(make_content):
    content = make_content(language="bn", options=SheetOptions(twin="en"))
    assert len(content.marks) == len(content.twin.marks)
    assert content.twin.marks == ("Draft translation",)


def test_a_twin_that_no_catalogue_has_is_refused(make_content):
    with pytest.raises(FollowupError) as refused:
        make_content(options=SheetOptions(twin="xx"))
    assert refused.value.code == "language.unknown"


# ---- pictures ------------------------------------------------------------------------------------


def _home(content):
    return next(s for s in content.sections if s.heading == "At home")


def test_at_most_eight_rules_are_drawn_and_the_counsellor_says_the_others(make_content):
    plain, drawn = make_content(), make_content(options=SheetOptions(pictures=True))
    pictures = [p for p in _home(drawn).pictures if p]
    assert len(pictures) == MOST_PICTURES == 8
    assert len(_home(drawn).pictures) == len(_home(drawn).lines)
    assert _home(plain).pictures == ()
    told = set(_home(plain).lines) - set(_home(drawn).lines)
    assert told
    assert told <= set(drawn.teach_back.lines)
    assert not told & set(plain.teach_back.lines)


def test_what_concerns_this_eye_alone_is_drawn_first(make_content, make_record):
    record = make_record()
    operation = record.operations[0].model_copy(update={"air_or_gas": "gas", "bandage_lens": True})
    content = make_content(
        record=record.model_copy(update={"operations": (operation,)}), options=SheetOptions(pictures=True)
    )
    assert set(_home(content).pictures[:2]) == {"no-flying", "bandage-lens"}


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
    text = open_pdf(pdf_of("en", pictures=True, calendar=False))[1].get_textpage().get_text_bounded()
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
    from dataclasses import replace

    for key, found in formulary.items():
        formulary[key] = found.model_copy(update={"cap": "pink"})
    assert {b.cap for b in make_content().rounds[0].bottles} == {None}
    coloured = make_content(clinic=replace(clinic, cap_colours=True), options=SheetOptions(pictures=True))
    assert {b.cap for b in coloured.rounds[0].bottles} == {"pink"}
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
    first = content.rounds[0].rounds[0]
    assert (first.time, first.native) == ("06:00", "০৬:০০")
    assert content.visits[0].native == "২ জুন ২০২৬"
    assert "2026" in content.visits[0].day
    assert content.bottles[0].lines[0].native == "৪"
    assert content.calendar.days[0].native == "২"
    assert make_content(language="bn").rounds[0].rounds[0].native is None
    assert make_content(language="fr", options=SheetOptions(native_digits=True)).visits[0].native is None


def test_native_digits_are_printed(pdf_of, open_pdf):
    pages = open_pdf(pdf_of("hi", native_digits=True))
    text = "".join(page.get_textpage().get_text_bounded() for page in pages)
    assert "०६:००" in text.replace(" ", "")
    assert "06:00" in text


def test_the_data_of_the_layout_says_what_was_chosen(make_content):
    data = sheet_data(make_content(options=SheetOptions(size="large", paper="A5", pictures=True)))
    assert (data["size"], data["paper"], data["pictures"], data["twin_side"]) == ("large", "A5", True, None)
