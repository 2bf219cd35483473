"""The codes read from the printed page: at a coarse and a fine scan, turned, folded and stained."""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

import pytest
import zxingcpp
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from followup.errors import FollowupError
from followup.language.languages import LANGUAGES
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
@pytest.mark.parametrize("tag", ["en", "ar", "ta"])
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


@languages
def test_the_codes_of_every_language_hold_the_same(tag, pdf_of, open_pdf, make_content):
    assert set(_codes(_pages(open_pdf, pdf_of(tag), 96))) == _wanted(make_content(language="en"))


@pytest.mark.parametrize("paper", ["A5", "Letter"])
@pytest.mark.parametrize("size", ["normal", "large"])
def test_the_codes_read_from_every_paper(paper, size, pdf_of, open_pdf, make_content):
    pages = _pages(open_pdf, pdf_of("en", paper=paper, size=size), 96)
    assert set(_codes(pages)) == _wanted(make_content())


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
