"""The page for a phone: the same words as on paper, one file, no network, no way in for markup."""

from __future__ import annotations

import base64
import html
import io
import re
from html.parser import HTMLParser

import pytest
from fontTools.ttLib import TTFont

from followup.language.languages import LANGUAGES
from followup.sheets.phone import dialled, render_phone

languages = pytest.mark.parametrize("tag", LANGUAGES)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text.append(data)


def _read(page: str) -> _Reader:
    reader = _Reader()
    reader.feed(page)
    return reader


@languages
def test_it_says_everything_that_paper_says(tag, make_content, all_texts):
    content = make_content(language=tag)
    page = re.sub(r"</?bdi[^>]*>", "", html.unescape(render_phone(content)))
    # The phone draws or leaves out what is only for paper: the days to tick, the words between tables.
    quiet = {"teach_back", "rounds", "later_heading", "calendar", "size", "paper", "stairs", "fonts", "foot"}
    texts = [t for part in content.model_dump(exclude=quiet).values() for t in _flat(part)]
    missing = [t for t in texts if t not in page]
    # Drawn on the phone, or the name of a drawing: what the codes hold, the pictures' ids.
    assert set(missing) <= {
        "left",
        "drop",
        "call",
        content.code.payload,
        *(square.payload for square in content.squares),
        *(s.id for s in content.alarm.signs),
    }
    for phase in content.rounds:
        assert phase.heading in page


def _flat(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for part in value.values():
            yield from _flat(part)
    elif isinstance(value, (list, tuple)):
        for part in value:
            yield from _flat(part)


@languages
def test_it_has_its_language_and_direction_and_fetches_nothing(tag, make_content):
    page = render_phone(make_content(language=tag))
    reader = _read(page)
    root = dict(reader.tags)["html"]
    assert (root["lang"], root["dir"]) == (tag, LANGUAGES[tag].direction)
    assert not {"script", "link", "img", "iframe", "object"} & {name for name, _ in reader.tags}
    assert not re.search(r"url\((?!data:)|@import|src=|https?://(?!www\.w3\.org/2000/svg)", page)
    links = [attrs["href"] for name, attrs in reader.tags if name == "a"]
    assert links == ["tel:+442079460101", "tel:+442079460102"]


@pytest.mark.parametrize("tag", ["bn", "ar"])
def test_it_carries_a_font_that_draws_every_letter_of_its_script(tag, make_content):
    content = make_content(language=tag)
    page = render_phone(content)
    faces = re.findall(r"font-weight: (\d+);\s+src: url\(data:font/woff;base64,([^)]+)\)", page)
    assert [weight for weight, _ in faces] == ["400", "700"]
    script = {c for c in content.model_dump_json(exclude={"teach_back"}) if c.isalpha() and not c.isascii()}
    assert len(script) > 30
    for _, data in faces:
        with TTFont(io.BytesIO(base64.b64decode(data))) as font:
            assert script <= {chr(c) for c in font.getBestCmap()}
    assert "@font-face" not in render_phone(make_content(language="en"))


def test_each_round_lists_its_bottles_in_order(make_content):
    page = " ".join(_read(render_phone(make_content())).text)
    at = [page.index(time) for time in ("06:00", "11:00", "17:00", "22:00")]
    assert at == sorted(at)
    early = page[at[0] : at[1]]
    assert early.index("Moxifloxacin") < early.index("Bromfenac") < early.index("Prednisolone")
    assert "Bromfenac" not in page[at[1] : at[2]]


def test_a_draft_says_so_at_the_top_and_has_no_code(make_content):
    page = render_phone(make_content(issue=None))
    assert page.index("Draft. Not for the patient.") < page.index("Left eye")
    assert "Return code" not in page
    marks = page.count('<svg class="drops"')
    assert page.count("<svg") - marks == 2, "the face and the staircase"


def test_markup_in_a_name_stays_text(make_content, make_record):
    page = render_phone(make_content(record=make_record(name="<script>alert(1)</script>")))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize(
    ("written", "digits"),
    [
        ("+44 20 7946 0101", "+442079460101"),
        ("\u2066+1 555 0100\u2069", "+15550100"),
        ("020-7946 0101", "02079460101"),
    ],
)
def test_a_telephone_dials_digits_alone(written, digits):
    assert dialled(written) == digits
