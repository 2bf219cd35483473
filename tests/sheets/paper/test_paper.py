"""The PDF: whole, readable by machine and person, the same bytes each time, safe against odd text."""

from __future__ import annotations

import ctypes
import os
import sys
import time
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree as ET

import pypdfium2
import pytest
import zxingcpp
from come_at_once import signs_in
from printed import says

from followup.errors import FollowupError
from followup.language.languages import LANGUAGES
from followup.sheets.paper import batch
from followup.sheets.paper.pdf import job, laid_out, render_pdf, sheet_data
from followup.sheets.paper.qr import QUIET_ZONE, qr_picture, return_picture
from followup.sheets.paper.typesetter import Typesetter

languages = pytest.mark.parametrize("tag", LANGUAGES)


def _texts(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [page.get_textpage().get_text_bounded() for page in document]
    finally:
        document.close()


def _picture(pdf: bytes, dpi: int):
    document = pypdfium2.PdfDocument(pdf)
    try:
        return document[0].render(scale=dpi / 72).to_pil().convert("L")
    finally:
        document.close()


def _lines(pdf: bytes, page: int = 0) -> list[str]:
    """The lines of a page as the eye sees them, every one read from left to right."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        text = document[page].get_textpage()
        found: dict[int, list[tuple[float, str]]] = {}
        for at in range(text.count_chars()):
            left, bottom, _, _ = text.get_charbox(at, loose=True)
            found.setdefault(round(bottom), []).append((left, text.get_text_range(at, 1)))
        return ["".join(c for _, c in sorted(line)) for line in found.values()]
    finally:
        document.close()


@languages
def test_page_one_has_the_signs_the_telephones_and_the_code(tag, pdf_of):
    pdf = pdf_of(tag)
    seen = [line.replace(" ", "") for line in _lines(pdf)]
    for wanted in (
        "+442079460101",
        "+442079460102",
        "P-204",
        "7KQ2-MX4D-9TA",
        "Prednisolone",
        "2026",
    ):
        assert any(wanted in line for line in seen), wanted
    said = [sign for sign, words in signs_in(tag).items() if says(_texts(pdf)[0], words)]
    assert said == ["sight", "pain", "red", "lids", "flashes", "pus", "knock"]


@languages
def test_strengths_and_times_never_print_reversed(tag, pdf_of):
    pdf = pdf_of(tag)
    seen = [line.replace(" ", "") for page in (0, 1) for line in _lines(pdf, page)]
    for wanted in ("0.09%", "0.5%", "1%", "11:00", "17:00", "22:00"):
        assert any(wanted in line for line in seen), wanted
    assert not [line for line in seen if "%90.0" in line or "00:71" in line or "1010649702" in line]


@languages
def test_every_page_names_the_patient_the_eye_and_its_number(tag, pdf_of):
    pdf = pdf_of(tag)
    pages = _texts(pdf)
    assert len(pages) > 1
    for at, text in enumerate(pages, start=1):
        seen = [line.replace(" ", "") for line in _lines(pdf, at - 1)]
        assert any("P-204" in line for line in seen)
        if tag == "en":
            assert f"page {at} of {len(pages)}" in text
            assert "Left eye" in text


@pytest.mark.parametrize("tag", ["en", "ta", "ur"])
def test_the_same_sheet_is_the_same_bytes(tag, make_content, pdf_of):
    other = Typesetter()
    try:
        laid_out(make_content(), other)
        assert laid_out(make_content(language=tag), other)[0] == pdf_of(tag)
    finally:
        other.close()


@languages
def test_the_file_is_tagged_and_knows_its_language(tag, make_content, pdf_of):
    pdf = pdf_of(tag)
    assert b"pdfuaid:part" in pdf
    document = pypdfium2.PdfDocument(pdf)
    try:
        assert pypdfium2.raw.FPDFCatalog_IsTagged(document)
        size = pypdfium2.raw.FPDFCatalog_GetLanguage(document, None, 0)
        buffer = (ctypes.c_ushort * (size // 2))()
        pypdfium2.raw.FPDFCatalog_GetLanguage(document, buffer, size)
        assert bytes(buffer).decode("utf-16-le").rstrip("\0") == tag
        assert document.get_metadata_dict()["Title"] == make_content(language=tag).title
    finally:
        document.close()


def test_a_draft_carries_its_watermark_on_every_page_and_no_code(make_content):
    pdf = render_pdf(make_content(issue=None))
    assert all("Draft. Not for the patient." in text for text in _texts(pdf))
    assert zxingcpp.read_barcodes(_picture(pdf, 150)) == []


def test_marks_stand_on_every_page(make_content, clinic):
    content = make_content(clinic=replace(clinic, sample=True))
    assert all("Sample clinic" in text for text in _texts(render_pdf(content)))


@pytest.mark.parametrize(
    "name", ["#set page(width: 1pt)", "$x$ *b* _i_ `c`", '"#panic()" \\ //', "a@b <tag> [x]"]
)
def test_a_name_that_looks_like_markup_prints_as_it_is(name, make_content, make_record):
    text = _texts(render_pdf(make_content(record=make_record(name=name))))[0]
    assert name in " ".join(text.split())


def test_a_name_in_bengali_or_arabic_prints_on_an_english_sheet(make_content, make_record):
    for name in ("রফিক আহমেদ", "أمينة يوسف"):
        assert render_pdf(make_content(record=make_record(name=name)))[:5] == b"%PDF-"


def test_a_name_without_a_font_is_refused_with_the_character_named(make_content, make_record):
    with pytest.raises(FollowupError) as refused:
        render_pdf(make_content(record=make_record(name="ལྷ་མོ")))
    assert refused.value.code == "language.glyph"
    assert "tibetan letter la" in refused.value.what
    assert refused.value.where == "patient.name"


@pytest.mark.parametrize("field", ["name", "ordered_by"])
def test_a_word_too_wide_for_its_place_is_refused_and_not_cut(field, make_content, make_record, make_plan):
    word = "W" * 110
    given = {"record": make_record(name=word)}
    if field == "ordered_by":
        plan = make_plan(approved=True)
        course = plan.courses[0].model_copy(update={"ordered_by": word})
        given = {"plan": plan.model_copy(update={"courses": (course, *plan.courses[1:])})}
    with pytest.raises(FollowupError, match="too long for its place on the sheet: 'WWW"):
        render_pdf(make_content(**given))


def test_a_long_name_of_several_words_is_printed_whole(make_content, make_record):
    name = "Maria Antonia Theodora Immaculata Ramaswamy Krishnamoorthy-Venkatachalapathy the Younger"
    text = "".join(_texts(render_pdf(make_content(record=make_record(name=name))))[0].split())
    # pdfium writes a hyphen at the end of a line as U+0002.
    assert name.replace(" ", "") in text.replace("\x02", "-")


def test_many_bottles_become_a_list_that_still_names_each(make_content, make_plan):
    plan = make_plan(approved=True)
    extra = tuple(c.model_copy(update={"key": f"left:extra{i}"}) for i in range(3) for c in plan.courses[:1])
    first = plan.rounds[0]
    doses = (*first.doses, *(first.doses[0].model_copy(update={"course": c.key}) for c in extra))
    wide = plan.model_copy(
        update={"courses": (*plan.courses, *extra), "rounds": (first.model_copy(update={"doses": doses}),)}
    )
    text = " ".join(" ".join(_texts(render_pdf(make_content(plan=wide)))).split())
    assert text.count("S Prednisolone acetate 1% · Left eye") >= 4, "each in the table of bottles"


def test_a_worker_that_takes_too_long_is_ended_and_the_next_job_goes_through(make_content):
    content = make_content()
    wanted = job([sheet_data(content)], content.printed_on)
    hasty = Typesetter(limit=0.01)
    begun = time.monotonic()
    with pytest.raises(FollowupError, match=r"not ready within 0\.01 seconds"):
        hasty.typeset(wanted)
    assert time.monotonic() - begun < 10
    hasty._limit = 60
    try:
        assert hasty.typeset(wanted)[:5] == b"%PDF-"
    finally:
        hasty.close()


def test_a_worker_is_replaced_before_it_keeps_too_much(make_content, monkeypatch):
    monkeypatch.setattr("followup.sheets.paper.typesetter.MOST_JOBS", 2)
    content = make_content()
    wanted, setter = job([sheet_data(content)], content.printed_on), Typesetter()
    workers, papers = [], set()
    try:
        for _ in range(3):
            workers.append(setter._running().pid)
            papers.add(setter.typeset(wanted))
    finally:
        setter.close()
    assert workers[0] == workers[1] != workers[2]
    assert len(papers) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="told to Windows in another way")
def test_only_a_worker_of_long_work_gives_way_to_everything_else():
    behind, usual = Typesetter(gives_way=True), Typesetter()
    try:
        own, late, level = (
            os.getpriority(os.PRIO_PROCESS, pid) for pid in (0, behind._running().pid, usual._running().pid)
        )
    finally:
        behind.close()
        usual.close()
    assert own == level < late


def test_a_batch_gives_way(monkeypatch):
    asked = []
    monkeypatch.setattr(batch, "Typesetter", lambda **given: asked.append(given) or Typesetter(**given))
    batch.render_batch([], day=date(2027, 3, 1))
    assert [one["gives_way"] for one in asked] == [True]


# The longest: 74 bytes, as a clinic's own form of codes might hold.
@pytest.mark.parametrize("payload", ["RTN1017KQ2MX4D9T4F7Q2M8CRIVERBND", "a" * 74])
@pytest.mark.parametrize("drawn", [qr_picture, return_picture])
def test_a_code_keeps_its_quiet_zone_and_half_a_millimetre_a_module(drawn, payload):
    picture = drawn(payload)
    assert QUIET_ZONE == 4
    assert picture.size_mm / picture.modules >= 0.5
    root = ET.fromstring(picture.svg)
    assert root.get("viewBox") == f"0 0 {picture.modules} {picture.modules}"
    dark = root[1].get("d")
    starts = [part.split("h")[0].split() for part in dark.split("M")[1:]]
    assert min(int(x) for x, _ in starts) == 4
    assert min(int(y) for _, y in starts) == 4


@pytest.mark.parametrize("payload", ["", "é", "a\nb", "A" * 214])
def test_a_code_refuses_what_a_plain_scanner_would_guess_at(payload):
    with pytest.raises(FollowupError) as refused:
        qr_picture(payload)
    assert refused.value.code == "sheet.code"
