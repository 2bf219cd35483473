"""What keeps a sheet from being taken for what it is not: draft, sample, not approved; its codes."""

from __future__ import annotations

import re
from dataclasses import replace

import cv2
import numpy
import pytest
import two_eyes
import zxingcpp
from come_at_once import in_language
from PIL import Image
from printed import Box, read

from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import laid_out
from followup.sheets.phone import render_phone

DRAFT = "Draft. Not for the patient."
SAMPLE, UNSIGNED = "Sample clinic", "Sample protocol, not approved for patients"
PAYLOADS = {
    "return": "EYE1.K1.LH.7KQ2MX4D9TA.4F7Q2M8C",
    "visit": "\r\n".join(
        (
            "BEGIN:VCALENDAR",
            "VERSION:2.0",
            "PRODID:followup",
            "BEGIN:VEVENT",
            "UID:7KQ2MX4D9TA",
            "DTSTAMP:20260601T000000Z",
            "DTSTART;VALUE=DATE:20260602",
            "SUMMARY:Lantern Hill Eye Clinic",
            "END:VEVENT",
            "END:VCALENDAR",
        )
    ),
    "call": "tel:+442079460101",
}


@pytest.fixture(scope="module")
def kept():
    return {}


def _draft(formulary, **given):
    """Of an unsigned protocol, in a clinic that is invented."""
    clinic = replace(two_eyes.CLINIC, sample=True)
    return two_eyes.content(formulary, issue=None, clinic=clinic, plan=two_eyes.plan(approved=False), **given)


@pytest.mark.parametrize("pictures", [False, True])
def test_a_draft_says_on_every_page_that_it_is_one_and_that_nobody_approved_it(pictures, formulary):
    pages = read(laid_out(_draft(formulary, options=SheetOptions(pictures=pictures)))[0])
    assert len(pages) > 1
    for number, page in enumerate(pages, 1):
        assert page.flat.count(DRAFT) == 1, "the watermark"
        foot = page.within(Box(0, 0, page.width, 45))
        assert foot.startswith(f"Q-731 · Both eyes · {SAMPLE} · {UNSIGNED} ")
        assert foot.endswith(f" page {number} of {len(pages)}")
        assert not [s for s in page.shapes if s.segments > 200], "no code of any kind"
    last = " ".join(page.flat for page in pages)
    assert "Protocol: Sample protocol 1 · Not signed" in last
    assert "Sheet no." not in last
    assert "Signed by" not in last
    assert "Return code" not in last
    assert "For a phone" not in last


def test_the_watermark_lies_across_the_page_and_under_its_text(formulary):
    page = read(laid_out(_draft(formulary))[0])[0]
    across = [w for w in page.letters if w.width > 20 or w.height > 40]
    assert max(w.right for w in across) - min(w.left for w in across) > page.width / 2
    assert max(w.top for w in across) - min(w.bottom for w in across) > page.height / 2


def test_a_draft_on_the_phone_says_the_same_first(formulary):
    page = render_phone(_draft(formulary))
    header = page[page.index("<header>") : page.index("</header>")]
    assert re.findall(r'<p class="(?:draft|mark)">([^<]+)</p>', header) == [DRAFT, SAMPLE, UNSIGNED]
    assert header.index(DRAFT) < header.index("Both eyes")
    assert page.count("Not signed") == 1
    for absent in ("Return code", 'class="code"', "Sheet no.", "Signed by"):
        assert absent not in page


def test_a_sheet_in_english_for_want_of_words_says_so_on_paper_and_phone(formulary):
    content = two_eyes.content(formulary, record=two_eyes.record(language="so"))
    said = "There are no Somali words for this sheet yet. Ask us to read it out to you."
    assert read(laid_out(content)[0])[0].flat.startswith(said)
    page = render_phone(content)
    assert f'<p class="mark">{said}</p>' in page
    assert page.index(said) < page.index("Both eyes")


def test_a_translation_that_nobody_has_read_says_so_on_every_page(formulary):
    pages = read(laid_out(two_eyes.content(formulary, language="es"))[0])
    feet = [page.within(Box(0, 0, page.width, 45)) for page in pages]
    assert len(feet) > 1
    said = in_language("es", "Draft translation")
    assert [said in foot for foot in feet] == [True] * len(pages)
    assert f'<p class="mark">{said}</p>' in render_phone(two_eyes.content(formulary, language="es"))


@pytest.fixture
def scanned(kept, formulary):
    if "scan" not in kept:
        options = SheetOptions(calendar=False)
        kept["scan"] = read(laid_out(two_eyes.content(formulary, options=options))[0], dpi=150)
    return kept["scan"]


def _codes(page) -> list[tuple[Box, str]]:
    """The codes of a page in points, with what a phone reads in them."""
    scale = 72 / 150
    found = []
    for code in zxingcpp.read_barcodes(page.picture) if page.picture else []:
        corners = [
            getattr(code.position, name) for name in ("top_left", "top_right", "bottom_right", "bottom_left")
        ]
        xs = [c.x * scale for c in corners]
        ys = [page.height - c.y * scale for c in corners]
        found.append((Box(min(xs), min(ys), max(xs), max(ys)), code.text))
        assert code.format == zxingcpp.BarcodeFormat.QRCode
        # Of the return code a fifth may be spoilt, of those for a phone at home a tenth.
        assert code.ec_level == ("Q" if code.text == PAYLOADS["return"] else "M")
        assert _read_by_another(page.picture, code.position) == code.text
    return found


def _read_by_another(picture: Image.Image, position) -> str:
    """A second decoder that shares no code with the first."""
    left, top = position.top_left.x - 25, position.top_left.y - 25
    right, bottom = position.bottom_right.x + 25, position.bottom_right.y + 25
    part = picture.crop((left, top, right, bottom))
    part = part.resize((part.width * 3, part.height * 3), Image.Resampling.NEAREST)
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(numpy.asarray(part))
    return text


def test_each_code_holds_what_stands_under_it(scanned):
    found = {}
    for number, page in enumerate(scanned, 1):
        for box, text in _codes(page):
            deep = 20 if text == PAYLOADS["return"] else 42
            under = page.within(Box(box.left - 20, box.bottom - deep, box.right + 20, box.bottom))
            found[text] = (number == 1, under)
    assert found == {
        PAYLOADS["return"]: (True, "7KQ2-MX4D-9TA"),
        PAYLOADS["visit"]: (False, "Next visit Tuesday 2 June 2026"),
        PAYLOADS["call"]: (False, "Call us +44 20 7946 0101"),
    }


def test_modules_are_large_enough_for_an_old_phone_and_keep_their_quiet_zone(scanned):
    """At least half a millimetre a module, four modules of white all round (ISO/IEC 18004)."""
    seen = 0
    for page in scanned:
        for code in (s for s in page.shapes if s.segments > 200 and abs(s.width - s.height) < 2):
            (white,) = [
                s
                for s in page.shapes
                if s.fill == (255, 255, 255) and abs(s.x - code.x) < 1 and s.width > code.width
            ]
            modules = [n for n in range(21, 58, 4) if abs(code.width / n * (n + 8) - white.width) < 1]
            (side,) = modules
            assert code.width / side / 72 * 25.4 > 0.59
            assert white.bottom < code.bottom
            inside = [w for w in page.words if white.holds(w)]
            assert inside == []
            seen += 1
    assert seen == 3


def test_the_codes_on_the_phone_stand_under_their_own_names(formulary):
    page = render_phone(two_eyes.content(formulary))
    found = {}
    for name, svg in re.findall(
        r'<h[23]>([^<]+)</h[23]>\s*(?:</summary>)?\s*<div role="img" class="code"[^>]*>(<svg.*?</svg>)',
        page,
        re.DOTALL,
    ):
        side = int(re.search(r'viewBox="0 0 (\d+)', svg)[1])
        drawn = numpy.full((side, side), 255, numpy.uint8)
        for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
            drawn[int(y), int(x) : int(x) + int(width)] = 0
        big = Image.fromarray(drawn).resize((side * 6, side * 6), Image.Resampling.NEAREST)
        (code,) = zxingcpp.read_barcodes(big)
        assert cv2.QRCodeDetector().detectAndDecode(numpy.asarray(big))[0] == code.text
        found[name] = code.text
    assert found == {
        "Return code": PAYLOADS["return"],
        "Next visit": PAYLOADS["visit"],
        "Call us": PAYLOADS["call"],
    }


def test_the_phone_dials_the_number_that_it_shows(formulary):
    page = render_phone(two_eyes.content(formulary))
    links = re.findall(r'<a class="call" href="tel:([^"]+)">(.*?)</a>', page)
    assert [(number, re.sub(r"<[^>]+>", "", said)) for number, said in links] == [
        ("+442079460101", "By day: +44 20 7946 0101"),
        ("+442079460177", "By night: +44 20 7946 0177"),
    ]
