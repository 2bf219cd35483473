"""The page for a phone: the same words as on paper, one file, no network, no way in for markup."""

from __future__ import annotations

import base64
import html
import io
import re
import sys
from datetime import timedelta
from html.parser import HTMLParser

import pytest
from fontTools.ttLib import TTFont
from routine_plans import OPERATED

from followup.language.catalogues import translator
from followup.language.languages import LANGUAGES
from followup.resources import folder
from followup.sheets.options import SheetOptions
from followup.sheets.phone import _cut, dialled, render_phone

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
    # Of paper alone, or not told to the patient.
    quiet = {"teach_back", "size", "paper", "stairs", "fonts", "turn_over", "foot"}
    texts = {t for part in content.model_dump(exclude=quiet).values() for t in _flat(part)}
    # Where the rounds are columns their times stand in the heads; the drops begin tomorrow.
    in_columns = {mark.line for row in content.table.rows if row.kind == "days" for mark in row.marks}
    missing = {t for t in texts - in_columns if t not in page}
    assert missing <= {content.table.now, content.table.today}


# What is drawn: the names of drawings, what a code holds.
_DRAWN = {"id", "part", "kind", "pictures", "payload", "side"}


def _flat(value):
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, part in value.items():
            if key not in _DRAWN:
                yield from _flat(part)
    elif isinstance(value, (list, tuple)):
        for part in value:
            yield from _flat(part)


@pytest.mark.parametrize(("printed", "today"), [(0, ""), (1, "Today · ")])
def test_the_drops_of_today_are_told_with_the_days_on_which_they_hold(printed, today, make_content):
    """A page is kept: what was today when it was made says until when it holds."""
    page = html.unescape(render_phone(make_content(printed_on=OPERATED + timedelta(days=printed))))
    found = re.search(r'<section class="today"><h2>(.*?)</h2>', page)[1]
    assert " ".join(found.replace("\u2009", " ").split()) == f"{today}Tue 2 – Mon 8 June"
    assert page.count('<span class="flag">Now</span>') == printed


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


@pytest.mark.parametrize("tag", ["bn", "ar", "ta", "hi", "te"])
def test_it_carries_a_font_that_draws_every_letter_of_its_script(tag, make_content):
    content = make_content(language=tag)
    page = render_phone(content)
    faces = re.findall(r"font-weight: ([\d ]+);\s+src: url\(data:font/woff;base64,([^)]+)\)", page)
    assert " ".join(weight for weight, _ in faces) == "400 700"
    script = {c for c in content.model_dump_json(exclude={"teach_back"}) if c.isalpha() and not c.isascii()}
    assert len(script) > 25
    for _, data in faces:
        with TTFont(io.BytesIO(base64.b64decode(data))) as font:
            assert script <= {chr(c) for c in font.getBestCmap()}
    assert "@font-face" not in render_phone(make_content(language="en"))


def test_each_round_lists_its_bottles_in_order(make_content):
    page = render_phone(make_content())
    today = " ".join(_read(page[page.index('<section class="today">') :].partition("</section>")[0]).text)
    at = [today.index(time) for time in ("06:00", "11:00", "17:00", "22:00")]
    assert at == sorted(at)
    early = today[at[0] : at[1]]
    assert early.index("Moxifloxacin") < early.index("Bromfenac") < early.index("Prednisolone")
    assert "Bromfenac" not in today[at[1] : at[2]]


@languages
def test_the_fonts_that_travel_with_the_program_draw_all_that_its_sheets_say(tag):
    family = LANGUAGES[tag].fonts[0]
    said = {c for forms in translator(tag).messages.values() for form in forms for c in form}
    for file in (folder("templates") / "fonts").glob(f"{family}, *.woff"):
        with TTFont(file) as font:
            drawn = {chr(c) for c in font.getBestCmap()}
            assert {c for c in said if c.isalpha() and not c.isascii()} <= drawn
            assert not {c for c in drawn if c.isascii() and c != " "}, "of the phone's own face"
            assert "Open Font License" in font["name"].getDebugName(13)


@languages
def test_no_font_is_cut_while_a_page_is_made(tag, make_content, monkeypatch):
    monkeypatch.setitem(sys.modules, "fontTools.subset", None)
    monkeypatch.setattr(TTFont, "__init__", None)
    _cut.cache_clear()
    page = render_phone(make_content(language=tag, options=SheetOptions(twin="hi")))
    weights = {*re.findall(r'font-family: "([^"]+)"; font-weight: ([\d ]+)', page)}
    families = {LANGUAGES[tag].fonts[0], "Noto Sans Devanagari"} - {"Noto Sans"}
    assert {family for family, _ in weights} == families
    for family in families:
        assert sorted(" ".join(w for f, w in weights if f == family).split()) == ["400", "700"]


def test_a_draft_says_so_at_the_top_and_has_no_code(make_content):
    page = render_phone(make_content(issue=None))
    assert page.index("Draft. Not for the patient.") < page.index("Left eye")
    assert "Return code" not in page
    assert 'class="code"' not in page


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
