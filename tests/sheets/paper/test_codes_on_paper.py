"""The codes read from the printed page: at a coarse and a fine scan, turned, folded, stained, copied."""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

import cv2
import numpy as np
import pytest
import zxingcpp
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from followup.errors import FollowupError
from followup.language.languages import LANGUAGES
from followup.sheets.paper.batch import BatchSheet, render_batch
from followup.sheets.paper.qr import MODULE_MM, QUIET_ZONE, RETURN_MM, code_pictures
from followup.sheets.phone import render_phone
from followup.sheets.squares import calendar_entry, dialled

languages = pytest.mark.parametrize("tag", LANGUAGES)


def _pages(open_pdf, pdf: bytes, dpi: int) -> list[Image.Image]:
    return [page.render(scale=dpi / 72).to_pil().convert("L") for page in open_pdf(pdf)]


def _box(found) -> tuple[int, int, int, int]:
    corners = [found.position.top_left, found.position.top_right, found.position.bottom_left]
    corners.append(found.position.bottom_right)
    xs, ys = [c.x for c in corners], [c.y for c in corners]
    return min(xs), min(ys), max(xs), max(ys)


def _codes(pages: list[Image.Image]) -> dict[str, tuple[int, tuple[int, int, int, int]]]:
    """What every code says, with its page and its place there."""
    return {
        found.text: (number, _box(found))
        for number, page in enumerate(pages)
        for found in zxingcpp.read_barcodes(page)
    }


def _turned(page: Image.Image, box) -> Image.Image:
    return page.rotate(3, resample=Image.Resampling.BICUBIC, fillcolor=255)


def _folded(page: Image.Image, box) -> Image.Image:
    """A soft dark band across the middle of the code, half the light at its deepest."""
    middle, half = (box[1] + box[3]) // 2, max(4, (box[3] - box[1]) // 6)
    shade = Image.new("L", page.size, 255)
    ImageDraw.Draw(shade).rectangle((0, middle - half, page.width, middle + half), fill=128)
    return ImageChops.multiply(page, shade.filter(ImageFilter.GaussianBlur(half / 2)))


def _stained(page: Image.Image, box) -> Image.Image:
    """A ring of coffee and what it wets: a tenth of the code's area loses half its light."""
    side = box[2] - box[0]
    radius = (0.1 * side * side / 3.14159) ** 0.5
    x, y = box[0] + side * 0.62, box[1] + side * 0.6
    shade = Image.new("L", page.size, 255)
    drawn = ImageDraw.Draw(shade)
    drawn.ellipse((x - radius, y - radius, x + radius, y + radius), fill=130, outline=90, width=2)
    return ImageChops.multiply(page, shade)


def _worn(page: Image.Image, box) -> Image.Image:
    """Toner dust and a blurred lens."""
    dust = random.Random(7)
    spotted = page.copy()
    for _ in range(page.width * page.height // 2500):
        spotted.putpixel((dust.randrange(page.width), dust.randrange(page.height)), dust.choice((0, 255)))
    return spotted.filter(ImageFilter.GaussianBlur(0.5))


DAMAGE = {"clean": lambda page, box: page, "turned": _turned, "folded": _folded, "stained": _stained}
DAMAGE |= {"worn": _worn}


@pytest.fixture(scope="module")
def scanned() -> dict[tuple[str, int], tuple[list[Image.Image], dict[str, Any]]]:
    """Pages by language and fineness, with the codes that were read from them clean."""
    return {}


def _wanted(content) -> set[str]:
    return {content.code.payload, *(square.payload for square in content.squares)}


@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize("dpi", [96, 150])
@pytest.mark.parametrize("tag", ["en", "ar", "te"])
def test_all_three_codes_read_from_a_damaged_page(tag, dpi, damage, make_content, pdf_of, open_pdf, scanned):
    content = make_content(language=tag)
    if (tag, dpi) not in scanned:
        found = _pages(open_pdf, pdf_of(tag), dpi)
        scanned[tag, dpi] = found, _codes(found)
    pages, clean = scanned[tag, dpi]
    for payload in _wanted(content):
        number, box = clean[payload]
        spoilt = DAMAGE[damage](pages[number], box)
        assert payload in {found.text for found in zxingcpp.read_barcodes(spoilt)}, payload[:20]


def _side_mm(found, dpi: int) -> float:
    """How wide the printed code is, without its quiet zone."""
    left, _, right, _ = _box(found)
    return (right - left) / dpi * 25.4


def _copied(page: Image.Image) -> Image.Image:
    """Two photocopies: each blurs by 0.13 mm (at 300 dots an inch) and makes black and white of it."""
    for _ in range(2):
        page = page.filter(ImageFilter.GaussianBlur(0.13 / 25.4 * 300)).point(
            lambda light: light // 128 * 255
        )
    return page


def _must_be_the_return_code(pages: list[Image.Image], content, dpi: int) -> None:
    """On these pages the return code is at level Q and RETURN_MM wide, the others at level M."""
    pictures = code_pictures(content)
    wanted = {content.code.payload: pictures["return"]}
    wanted |= {square.payload: pictures[square.id] for square in content.squares}
    seen = [found for page in pages for found in zxingcpp.read_barcodes(page)]
    assert {found.text for found in seen} == set(wanted)
    for found in seen:
        picture = wanted[found.text]
        assert found.ec_level == ("Q" if found.text == content.code.payload else "M")
        inside = picture.size_mm * (1 - 2 * QUIET_ZONE / picture.modules)
        assert _side_mm(found, dpi) == pytest.approx(inside, abs=0.4)


@pytest.mark.parametrize("paper", ["A4", "A5", "Letter"])
@pytest.mark.parametrize("size", ["normal", "large"])
def test_the_return_code_has_its_level_and_its_size_on_every_paper(
    paper, size, pdf_of, open_pdf, make_content
):
    pages = _pages(open_pdf, pdf_of("en", paper=paper, size=size), 150)
    assert code_pictures(make_content())["return"].size_mm == RETURN_MM == 25
    _must_be_the_return_code(pages, make_content(), 150)


def test_the_return_code_has_its_level_and_its_size_in_the_sheets_of_a_day(make_content, open_pdf):
    batch = render_batch([BatchSheet("P-204", make_content)], day=date(2026, 6, 1))
    _must_be_the_return_code(_pages(open_pdf, batch.parts[0], 150), make_content(), 150)


def test_two_decoders_read_every_code_from_the_copy_of_a_copy(pdf_of, open_pdf, make_content):
    clean = _pages(open_pdf, pdf_of("en"), 300)
    for payload, (number, box) in _codes(clean).items():
        room = round(4 * MODULE_MM / 25.4 * 300)
        cut = (box[0] - room, box[1] - room, box[2] + room, box[3] + room)
        copy = _copied(clean[number].crop(cut))
        assert {found.text for found in zxingcpp.read_barcodes(copy)} == {payload}
        if payload == make_content().code.payload:
            assert cv2.QRCodeDetector().detectAndDecode(np.array(copy))[0] == payload


def test_the_phone_shows_the_same_return_code_as_the_paper(make_content):
    assert code_pictures(make_content())["return"].svg in render_phone(make_content())


@languages
def test_the_codes_of_every_language_hold_the_same(tag, pdf_of, open_pdf, make_content):
    assert set(_codes(_pages(open_pdf, pdf_of(tag), 96))) == _wanted(make_content(language="en"))


def test_each_code_is_labelled_in_words(make_content):
    content = make_content()
    assert content.code.label == "Return code"
    assert [(s.id, s.label, s.words) for s in content.squares] == [
        ("visit", "Next visit", "Tuesday 2 June 2026"),
        ("call", "Call us", "+44 20 7946 0101"),
    ]


def test_a_draft_has_no_code_of_any_kind(make_content):
    content = make_content(issue=None)
    assert content.code is None
    assert content.squares == ()


def test_without_a_visit_to_come_only_the_telephone_is_left(make_content, make_plan):
    assert [s.id for s in make_content(plan=make_plan(approved=True, trips=())).squares] == ["call"]


def test_the_next_visit_is_an_icalendar_event_of_one_whole_day(make_content):
    # RFC 5545: CRLF line ends, lines of at most 75 octets; 3.6 VERSION and PRODID, 3.6.1 UID and
    # DTSTAMP are required of every object; 3.8.2.4 a DATE value makes an event of the whole day.
    payload = make_content().squares[0].payload
    lines = payload.split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert "DTSTART;VALUE=DATE:20260602" in lines
    assert "SUMMARY:Lantern Hill Eye Clinic" in lines
    names = [line.split(":")[0].split(";")[0] for line in lines]
    assert {"VERSION", "PRODID", "UID", "DTSTAMP"} <= set(names)
    assert all(len(line) <= 75 for line in lines)
    assert payload.isascii()
    assert "Asha" not in payload
    assert "P-204" not in payload


@pytest.mark.parametrize(
    ("zone", "hour", "begins"),
    [
        ("Europe/London", "14:30", "20260602T133000Z"),
        ("Asia/Kolkata", "09:00", "20260602T033000Z"),
        ("Asia/Kathmandu", "05:00", "20260601T231500Z"),
    ],
)
def test_a_visit_with_an_hour_is_in_the_phone_s_calendar_at_that_hour(
    zone, hour, begins, make_content, make_plan, clinic
):
    # RFC 5545 3.3.5 form 2: a date with UTC time; every phone shows it on its own clock.
    from dataclasses import replace

    plan = make_plan(approved=True)
    first = plan.trips[0].model_copy(update={"hour": hour})
    plan = plan.model_copy(update={"trips": (first, *plan.trips[1:])})
    square = make_content(plan=plan, clinic=replace(clinic, time_zone=zone)).squares[0]
    assert f"DTSTART:{begins}" in square.payload.split("\r\n")
    assert "VALUE=DATE" not in square.payload
    assert square.words == f"Tuesday 2 June 2026, at {hour}"


def test_a_clinic_s_name_becomes_plain_letters_or_its_code(clinic, issue):
    from dataclasses import replace

    def title(name: str) -> str:
        entry = calendar_entry(date(2026, 6, 2), replace(clinic, name=name), issue)
        return next(line for line in entry.split("\r\n") if line.startswith("SUMMARY:"))

    assert title("Clínica São João; olhos, visão") == "SUMMARY:Clinica Sao Joao\\; olhos\\, visao"
    assert title("লণ্ঠন চক্ষু ক্লিনিক") == "SUMMARY:Eye clinic LH"
    assert title("A\r\nATTACH:x") == "SUMMARY:AATTACH:x", "no line of its own can be smuggled in"
    assert len(title("W" * 300)) == len("SUMMARY:") + 40


def test_an_entry_fits_a_code_that_phones_read(clinic, issue):
    from dataclasses import replace

    from followup.sheets.paper.qr import qr_picture

    longest = calendar_entry(date(2026, 12, 28) + timedelta(days=1), replace(clinic, name=";" * 300), issue)
    assert qr_picture(longest).modules <= 57 + 8


def test_a_sheet_without_a_number_names_no_visit(clinic, issue):
    from dataclasses import replace

    with pytest.raises(FollowupError, match="no code to name its visit by"):
        calendar_entry(date(2026, 6, 2), clinic, replace(issue, code_grouped="—"))


@pytest.mark.parametrize(("written", "digits"), [("..........", ""), ("+", ""), ("+1 555 0100", "+15550100")])
def test_no_telephone_no_code_to_call(written, digits):
    assert dialled(written) == digits
