"""Pictures for somebody who does not read: each stands with its own words, and the stairs are true.

Pictures are recognised on the printed page by their strokes, not by the name that the layout calls them by.
"""

from __future__ import annotations

import hashlib
import re

import pytest
import two_eyes
from come_at_once import SIGNS
from printed import Box, Page, drawings, pictures, read
from printed_table import table_box, table_on

from followup.resources import folder
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import laid_out
from followup.sheets.phone import render_phone

FOLDER = folder("templates") / "pictures"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.svg")))
# The part of the day that the sun shows at each of the sheet's times.
SUNS = {
    "06:00": "sun-rise",
    "11:00": "sun-morning",
    "14:00": "sun-afternoon",
    "17:00": "sun-evening",
    "22:00": "sun-night",
    "01:00": "sun-night",
}
RULES = {
    "smoke": "Stay away from cooking smoke.",
    "drive": "Do not drive until the doctor says that you may.",
    "rub": "Do not rub or press the eye",
    "shield": "Wear the eye shield every night",
    "sleep": "Sleep on your back or on the other side",
    "water": "No water in the eye",
    "swim": "Do not swim or bathe",
    "pray": "Pray sitting, without bowing down",
    "field": "Stay away from field work, dust and animals",
    "lift": "Lift nothing heavier than 5 kg",
}
# Each drawing as somebody has looked at it beside its words; a changed one must be looked at again.
LOOKED_AT = {
    "hand-mirror": "81f97220c3fe",
    "how-cap": "de5d759e1c4c",
    "how-drop": "463b23823fd9",
    "how-lean": "871de550c08f",
    "how-press": "71018cafb156",
    "how-shake": "fcb475c94e5d",
    "how-wait": "617ff2f3794f",
    "how-wash": "d73f8b09e4bd",
    "rule-bandage-lens": "3cc377c4bafc",
    "rule-drive": "472f8f55ec5f",
    "rule-field": "234781a3bd46",
    "rule-glasses": "4b4ff34accfb",
    "rule-lift": "7e6423fc206c",
    "rule-no-flying": "976911740373",
    "rule-pray": "b1a6f92ffd20",
    "rule-rub": "135183fb7217",
    "rule-shield": "cb9c45644d0f",
    "rule-sleep": "fb5762a280c5",
    "rule-smoke": "f471abfe7461",
    "rule-swim": "6b12639c0376",
    "rule-water": "2ada7b17dd6d",
    "sign-flashes": "677171a1d779",
    "sign-knock": "de3e1c129fa4",
    "sign-lids": "b05687a3739f",
    "sign-pain": "8e79652328be",
    "sign-pus": "20cc8b263a31",
    "sign-red": "1e64b10be469",
    "sign-sight": "bbd5c97b0cc3",
    "sun-afternoon": "f7d850a1e5cb",
    "sun-evening": "ff6817dd6100",
    "sun-morning": "f70d112110e0",
    "sun-night": "b9b3a9e675e4",
    "sun-noon": "a6fcb9ae3ebd",
    "sun-rise": "06aaff36450f",
}


def test_every_drawing_is_the_one_that_was_looked_at():
    found = {name: (FOLDER / f"{name}.svg").read_bytes().replace(b"\r", b"") for name in NAMES}
    assert {name: hashlib.sha256(drawn).hexdigest()[:12] for name, drawn in found.items()} == LOOKED_AT


@pytest.mark.parametrize(("begins", "units", "printed"), [("how-", 48, 14), ("hand-", 84, 22)])
def test_no_line_is_too_thin_for_two_photocopies(begins, units, printed):
    """At the width it is printed at, in millimetres, every line is at least 0.35 mm."""
    drawn = [n for n in NAMES if n.startswith(begins)]
    assert len(drawn) == {"how-": 7, "hand-": 1}[begins]
    for name in drawn:
        widths = re.findall(r'stroke-width="([\d.]+)"', (FOLDER / f"{name}.svg").read_text("utf-8"))
        assert min(map(float, widths)) * printed / units >= 0.35, name


@pytest.fixture(scope="module")
def known():
    return drawings(NAMES, FOLDER)


@pytest.fixture(scope="module")
def kept():
    return {}


@pytest.fixture
def sheet(kept, formulary):
    """The sheet in pictures in a language, set and read once."""

    def made(tag: str) -> tuple[Page, ...]:
        if tag not in kept:
            options = SheetOptions(pictures=True, calendar=False)
            kept[tag] = read(laid_out(two_eyes.content(formulary, language=tag, options=options))[0])
        return kept[tag]

    return made


@pytest.mark.parametrize("tag", ["en", "ar"])
@pytest.mark.parametrize("eyes", ["left", "right", "both"])
def test_the_mirror_marks_the_treated_eye_and_is_never_turned(eyes, tag, make_content, of_eyes, tmp_path):
    plain = (FOLDER / "hand-mirror.svg").read_text("utf-8")
    left = re.sub('(<ellipse cx="46" cy="28".*?)fill="#fff"', r'\1fill="#23201d"', plain)
    right = re.sub('(<ellipse cx="62" cy="28".*?)fill="#fff"', r'\1fill="#23201d"', plain)
    both = re.sub('(<ellipse cx="62" cy="28".*?)fill="#fff"', r'\1fill="#23201d"', left)
    filled = {"left": left, "right": right, "both": both}
    assert len({plain, *filled.values()}) == 4
    for name, drawn in filled.items():
        (tmp_path / f"{name}.svg").write_text(drawn, "utf-8")
    content = make_content(language=tag, options=SheetOptions(calendar=False), **of_eyes(eyes))
    page = read(laid_out(content)[0])[0]
    found = pictures(page, drawings(tuple(filled), tmp_path))
    assert [(p.name, p.turned) for p in found] == [(eyes, False)]


def test_every_sign_stands_beside_its_own_words(sheet, known):
    page = sheet("en")[0]
    found = {p.name.removeprefix("sign-"): p for p in pictures(page, known) if p.name.startswith("sign-")}
    assert set(found) == set(SIGNS)
    for name, picture in found.items():
        beside = Box(picture.right, picture.bottom - 4, picture.right + 150, picture.top + 4)
        assert page.within(beside).startswith(SIGNS[name][:20])
        assert not picture.turned


def test_every_rule_stands_beside_its_own_words(formulary, known):
    told = {}
    # On a full leaf these drawings give way to their words; in large letters there is a second one.
    options = SheetOptions(pictures=True, size="large")
    for page in read(laid_out(two_eyes.content(formulary, options=options))[0]):
        for picture in pictures(page, known):
            if picture.name.startswith("rule-"):
                beside = Box(picture.right, picture.y - 14, page.width, picture.y + 14)
                told[picture.name.removeprefix("rule-")] = page.within(beside)
    assert list(told) == sorted(told, key=list(told).index)
    assert set(told) == set(RULES)
    for name, words in RULES.items():
        assert told[name].startswith(words)


@pytest.mark.parametrize(("tag", "turned"), [("en", False), ("ar", True)])
def test_every_time_has_its_sun_which_rises_where_reading_begins(tag, turned, sheet, known):
    page = sheet(tag)[0]
    suns = [p for p in pictures(page, known) if p.name.startswith("sun-")]
    assert [sun.turned for sun in suns] == [turned] * 5, "one for each part of the day"
    walls = [s for s in page.shapes if s.edge and s.segments == 2 and s.width < 2.2 and s.height > 10]
    for time in table_on(page, from_the_right=turned).times:
        (head,) = [w for w in page.words if w.text == time and w.y > table_box(page).top - 60]
        over = [s for s in suns if not any(w.bottom < s.y < w.top and _between(s, w, head) for w in walls)]
        assert [sun.name for sun in over] == [SUNS[time]]


def _between(one: Box, wall: Box, other: Box) -> bool:
    return min(one.x, other.x) < wall.x < max(one.x, other.x)


def test_the_phone_has_each_sign_and_rule_with_its_own_words(formulary):
    page = render_phone(two_eyes.content(formulary, options=SheetOptions(pictures=True)))
    items = re.findall(r"<li>\s*(<svg class=\"picture\".*?</svg>)<span>(.*?)</span></li>", page, re.DOTALL)
    wanted = {f"sign-{name}": words for name, words in SIGNS.items()}
    wanted |= {f"rule-{name}": words for name, words in RULES.items()}
    told = {_file(drawn): said for drawn, said in items}
    assert {name for name in told if not name.startswith("how-")} == set(wanted)
    assert all(told[name].startswith(words) for name, words in wanted.items())
    suns = re.findall(
        r'<div class="time">\s*<b>(\d\d:\d\d)</b>.*?<span class="sun">\s*(<svg.*?</svg>)', page, re.DOTALL
    )
    assert [(time, _file(drawn)) for time, drawn in suns] == list(SUNS.items())


def _file(drawn: str) -> str:
    """The name of the file whose drawing this is."""
    inner = re.compile(r"<svg [^>]*>(.*)</svg>", re.DOTALL)
    (name,) = (
        file.stem
        for file in FOLDER.glob("*.svg")
        if inner.search(file.read_text("utf-8"))[1].strip() in drawn
    )
    return name


# Share of the width of the drawing of the left eye: 2 June is its first day, 6 July its last, 35 days in all.
FIRST, DAYS = 2, 35


@pytest.mark.parametrize(("tag", "turned"), [("en", False), ("ar", True)])
def test_the_stairs_go_down_on_their_days_and_visits_stand_under_theirs(tag, turned, make_content):
    page = read(laid_out(make_content(language=tag))[0])[0]
    line = _line(page)

    def share(x: float) -> float:
        at = (x - line.left) / line.width
        return 1 - at if turned else at

    numbers = [w for w in page.words if re.fullmatch("[1-4]", w.text) and line.y < w.y < line.y + 140]
    numbers.sort(key=lambda w: share(w.x))
    assert [w.text for w in numbers] == ["4", "3", "2", "1"]
    for number, first in zip(numbers, (2, 9, 16, 23), strict=True):
        assert first < share(number.x) * DAYS + FIRST < first + 7, "over the days of its step"
    heights = [w.bottom for w in numbers]
    assert heights == sorted(heights, reverse=True)
    visits = [s for s in page.shapes if s.segments == 13 and abs(s.y - line.y) < 2 and 6 < s.width < 12]
    days = sorted(round(share(v.x) * DAYS + FIRST - 0.5) for v in visits)
    assert days == [2, 8, 36]
    assert {v.fill for v in visits} == {(255, 255, 255)}, "hollow: still to come"


def _line(page: Page):
    """The floor of the last staircase of a page: the rule as wide as the text that circles stand on."""
    floors = [
        s for s in page.shapes
        if s.edge and s.segments == 2 and s.height < 2 and s.width > 400 and s.y > 80
        and any(c.segments == 13 and abs(c.y - s.y) < 2 for c in page.shapes)
    ]  # fmt: skip
    return min(floors, key=lambda s: s.y, default=None)


def test_a_visit_done_is_filled_one_missed_is_crossed_one_to_come_is_hollow(make_content, make_plan):
    plan = make_plan(approved=True)
    trips = tuple(
        trip.model_copy(update={"status": status})
        for trip, status in zip(plan.trips, ("fulfilled", "noshow", "booked"), strict=True)
    )
    content = make_content(
        plan=plan.model_copy(update={"trips": trips}), options=SheetOptions(calendar=False)
    )
    page = read(laid_out(content)[0])[0]
    line = _line(page)
    circles = [s for s in page.shapes if s.segments == 13 and abs(s.y - line.y) < 2 and 6 < s.width < 12]
    crosses = [w for w in page.words if w.text == "×"]

    def day(box: Box) -> int:
        return round((box.x - line.left) / line.width * DAYS + FIRST - 0.5)

    assert [(day(c), c.fill == (35, 32, 29)) for c in sorted(circles, key=lambda c: c.x)] == [
        (2, True),
        (36, False),
    ]
    assert [day(c) for c in crosses] == [8]
