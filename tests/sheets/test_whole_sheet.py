"""One sheet read from its first word to its last, and every drawing of it where it stands.

The expectation lies in ``tests/shared/two_eyes_told.py``, written by hand. A sentence that is dropped, a
warning in another place, a dose under another bottle, time or day is another sheet.
"""

from __future__ import annotations

import re
from datetime import date
from itertools import groupby, pairwise

import pytest
import two_eyes
import two_eyes_told as told
from printed import Box, Page, bottle_of, read, rounds_drawn

from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import laid_out
from followup.sheets.phone import render_phone

# In words the two short signs come before the long one, in pictures and on the phone behind it.
PUS, FLASHES = (
    "Pus comes from the eye Something hits the eye",
    "You see flashes of light, many new spots or a dark curtain",
)
PLAIN, DRAWN = SheetOptions(calendar=True), SheetOptions(pictures=True, calendar=True)
both = pytest.mark.parametrize("options", [PLAIN, DRAWN], ids=["words", "pictures"])


@pytest.fixture(scope="module")
def kept():
    return {}


@pytest.fixture
def pages(kept, formulary, options) -> tuple[Page, ...]:
    """The sheet in words or in pictures, set once and read once."""
    if options not in kept:
        kept[options] = read(laid_out(two_eyes.content(formulary, options=options))[0])
    return kept[options]


def _read(pages, foot: str = "Q-731 · Both eyes") -> str:
    """All words in the order in which they stand, without the foot of each page."""
    body = []
    for number, page in enumerate(pages, 1):
        last = f"{foot} page {number} of {len(pages)}"
        assert page.flat.endswith(last), f"the foot of page {number} says whose it is and which of how many"
        body.append(page.flat.removesuffix(last))
    return told.flat(*body)


def _medicines(purpose: bool) -> str:
    parts = []
    for mark, said in told.BY_DATES.items():
        name, eye = (
            told.NAMES[mark]
            .replace("Right eye", "· Right eye")
            .replace("Left eye", "· Left eye")
            .split(" · ")
            if mark != "T"
            else ("T Prednisolone, tablets of 5 mg", "By mouth")
        )
        parts += [f"{name} · {eye}", told.PURPOSES[mark] if purpose else "", said]
    return told.flat("Each medicine by dates", *parts)


def _without_tables(text: str) -> str:
    """The words apart from the tables of times, whose cells are read by their place."""
    first, last = "From Tuesday 2 June 2026 to Friday 5 June 2026", "Each medicine by dates"
    head, _, rest = text.partition(first)
    table, rules, rest = rest.partition("Start with the first bottle")
    assert rules
    body, later, rest = rest.partition("After that From")
    assert later
    _, heading, rest = rest.partition(last)
    return told.flat(head, "[times]", table[-2:] + rules + body, "After that [times]", heading + rest)


def test_in_words_it_says_these_lines_in_this_order(formulary):
    pages = read(laid_out(two_eyes.content(formulary, options=SheetOptions(calendar=False)))[0])
    wanted = told.flat(
        told.HEAD, told.REPLACES, told.ALARM, told.NEWS, told.STAIRS, told.BEFORE_THE_DROPS,
        "Your drops by the clock [times]", told.RULES, told.NEXT_VISIT, told.STOPPING, told.SQUARES,
        "After that [times]", _medicines(purpose=True), told.VISITS, told.HOW_TO, told.CARE, told.HOME,
        told.NEVER, told.ORDINARY, " · ".join(told.FOOT),
    )  # fmt: skip
    assert _without_tables(_read(pages)) == wanted


def test_in_pictures_it_says_these_lines_in_this_order(formulary):
    pages = read(
        laid_out(two_eyes.content(formulary, options=SheetOptions(calendar=False, pictures=True)))[0]
    )
    legend = []
    for mark, name in told.NAMES.items():
        said = "T Prednisolone, tablets of 5 mg By mouth" if mark == "T" else name
        legend += [said, told.PURPOSES[mark]]
    signs = told.flat(told.ALARM).replace(f"{PUS} {FLASHES}", f"{FLASHES} {PUS}")
    wanted = told.flat(
        told.HEAD, told.REPLACES, signs, told.NEWS, told.STAIRS, told.BEFORE_THE_DROPS,
        "Your drops by the clock", *legend, "[times]", told.RULES, told.NEXT_VISIT, told.STOPPING,
        told.SQUARES, "After that [times]", _medicines(purpose=False), told.VISITS, told.HOW_TO, told.CARE,
        told.HOME_IN_PICTURES, told.NEVER, told.ORDINARY, " · ".join(told.FOOT),
    )  # fmt: skip
    assert _without_tables(_read(pages)) == wanted
    _legend_shows_each_bottle_with_its_eye(pages)


def _legend_shows_each_bottle_with_its_eye(pages) -> None:
    """Beside the face stands the bottle's mark; the name and the eye in words stand on the other side."""
    seen = []
    for page in pages[1:]:
        for eyes in (e for e in page.eyes if e.face):
            row = Box(0, eyes.bottom - 24, page.width, eyes.top + 14)
            (mark,) = [m for m in page.marks if row.holds(m)]
            words = page.within(Box(eyes.right, row.bottom, page.width, row.top))
            seen.append((mark.bottle, eyes.filled, words))
    assert [(mark, eyes) for mark, eyes, _ in seen] == [
        ("Nr", ("right",)), ("Sr", ("right",)), ("Al", ("left",)), ("Sl", ("left",)), ("A2l", ("left",)),
    ]  # fmt: skip
    for mark, _, words in seen:
        assert words == f"{told.NAMES[mark].partition(' ')[2]} {told.PURPOSES[mark]}"


@both
def test_every_dose_stands_under_its_days_at_its_time_and_its_bottle(pages, options):
    drawn: dict[str, dict[str, str]] = {}
    for (days, time), found in groupby(rounds_drawn(pages), key=lambda row: row[:2]):
        doses = [(bottle_of(letter, form), kind) for _, _, letter, form, kind in found]
        assert time not in drawn.setdefault(days, {})
        drawn[days][time] = " ".join(mark for mark, _ in doses)
        assert [kind for _, kind in doses] == [told.KINDS[mark] for mark, _ in doses]
    assert drawn == told.ROUNDS
    assert [list(times) for times in drawn.values()] == [list(times) for times in told.ROUNDS.values()]
    assert list(drawn) == list(told.ROUNDS)


def test_each_head_of_a_column_has_its_mark_name_and_eye(pages_in_words):
    heads = set()
    for page in pages_in_words:
        rows = [
            m for m in page.marks if not any(abs(m.y - d.y) < 14 and m.left > d.right for d in page.doses)
        ]
        for mark in rows:
            column = [d for d in page.doses if abs(d.x - mark.x) < 12 and d.top < mark.bottom]
            if column:
                walls = [s.x for s in page.shapes if s.edge and s.width < 2 and s.bottom < mark.y < s.top]
                left = max((x for x in walls if x < mark.left), default=mark.left - 48)
                right = min((x for x in walls if x > mark.right), default=mark.right + 48)
                words = page.within(Box(left, column[0].top, right, mark.top + 2))
                heads.add((mark.bottle, words))
    assert heads == {(m, n) for m, n in told.NAMES.items() if m in ("Sr", "Sl", "A2l", "T")}


@pytest.fixture
def pages_in_words(kept, formulary):
    if PLAIN not in kept:
        kept[PLAIN] = read(laid_out(two_eyes.content(formulary, options=PLAIN))[0])
    return kept[PLAIN]


def test_a_night_time_says_that_it_belongs_to_the_day_before(pages_in_words):
    text = told.flat(*(p.flat for p in pages_in_words))
    days_with_night, tables_with_night = 14, 4
    assert text.count("01:00") == text.count("01:00 (after midnight)") == days_with_night + tables_with_night


def _rows_of_the_calendar(pages) -> dict[str, tuple[str, list[str], str]]:
    """Each day of the calendar by its rules: weekday, its boxes, what happens on it."""
    found: dict[str, tuple[str, list[str], str]] = {}
    for page in (p for p in pages if "Tick here" in p.flat):
        rules = sorted(
            {round(s.y) for s in page.shapes if s.edge and s.height < 2 and s.width > 100 and s.y > 60},
            reverse=True,
        )
        edge = min(s.x for s in page.shapes if s.edge and s.width < 2 and s.height > 15 and 80 < s.x < 250)
        for top, bottom in pairwise(rules):
            name = page.within(Box(0, bottom, edge, top)).split(" ", 1)
            if len(name) == 2:
                found[name[1]] = (name[0], *_boxes_and_events(page, Box(edge, bottom, page.width, top)))
    return found


def _boxes_and_events(page: Page, cell: Box) -> tuple[list[str], str]:
    eyes = [(e, e.filled[0][0]) for e in page.eyes if cell.holds(e) and len(e.filled) == 1]
    marks = [m for m in page.marks if cell.holds(m)]
    for mark in marks:
        before = [e for e, _ in eyes if abs(e.y - mark.y) < 8 and e.right <= mark.left + 1]
        side = mark.bottle.removeprefix(mark.letter)
        if side:
            nearest = max(before, key=lambda e: e.right)
            assert (nearest.filled[0][0]) == side, "the eyes drawn before a bottle are its own"
    times = [w for w in page.words if cell.holds(w) and re.fullmatch(r"\d\d:\d\d", w.text)]
    ticks = [s for s in page.shapes if cell.holds(s) and s.segments == 23 and abs(s.width - s.height) < 0.1]
    items = [*((w, w.text) for w in times), *eyes, *((m, m.letter) for m in marks)]
    lowest = min((w.bottom for w in times), default=cell.top) - 4
    items.sort(key=lambda item: (-round(item[0].y / 8), item[0].left))
    rows: list[list] = []
    for box, text in sorted(items, key=lambda item: -item[0].y):
        if rows and abs(rows[-1][0][0].y - box.y) < 8:
            rows[-1].append((box, text))
        else:
            rows.append([(box, text)])
    words = " ".join(t for row in rows for _, t in sorted(row, key=lambda i: i[0].left))
    boxes = [part.strip() for part in re.split(r"(?=\d\d:\d\d)", words) if part.strip()]
    assert len(ticks) == len(boxes), "every time has its box to tick"
    return boxes, page.within(Box(cell.left, cell.bottom, cell.right, lowest))


def test_every_day_has_its_boxes_its_bottles_and_what_happens_on_it(pages_in_words):
    rows = _rows_of_the_calendar(pages_in_words)
    wanted = {}
    for first, last, boxes in told.TICKS:
        for number in range(first, last + 1):
            wanted[f"{number} June"] = boxes.split(" | ")
    wanted["6 July"] = []
    assert list(rows) == list(wanted)
    for day, (weekday, boxes, events) in rows.items():
        number, month = day.split()
        assert weekday == told.WEEKDAYS[date(2026, 7 if month == "July" else 6, int(number)).weekday()]
        assert boxes == wanted[day], day
        assert events == told.flat(told.EVENTS.get(day, "")), day


def test_a_day_on_which_a_number_changes_or_a_visit_falls_looks_so(pages_in_words):
    """A black edge where something is new, grey where the clinic is visited; a sign before each event."""
    new, grey = set(), set()
    for page in (p for p in pages_in_words if "Tick here" in p.flat):
        days = [w for w in page.words if w.text in ("June", "July")]
        for word in days:
            row = page.band(word)
            name = page.within(Box(0, row.bottom, word.right + 3, row.top)).split(" ", 1)[1]
            left = [
                s for s in page.shapes if s.edge and s.width < 8 and s.x < 60 and s.bottom < word.y < s.top
            ]
            new |= {name} if any(s.width > 2 for s in left) else set()
            fills = [s for s in page.shapes if s.fill == (236, 232, 226) and row.holds(s)]
            grey |= {name} if fills else set()
    changing = ("start", "from today", "today is the last day")
    assert new == {day for day, said in told.EVENTS.items() if any(word in said for word in changing)}
    assert grey == {"2 June", "8 June", "6 July"}


def test_page_one_has_its_parts_where_they_belong(pages_in_words):
    """Numbers beside their label, signs and what to do inside one frame, the code at the far end."""
    page = pages_in_words[0]
    for label, number in (("day:", "0101"), ("night:", "0177")):
        (word,) = [w for w in page.words if w.text == label]
        beside = page.within(Box(word.right, word.bottom - 2, word.right + 160, word.top))
        assert beside == f"+44 20 7946 {number}"
    frame = max(
        (s for s in page.shapes if s.edge and s.width > 400 and s.segments > 5), key=lambda s: s.height
    )
    assert page.within(frame).startswith("Come at once, even without pain, if:")
    for line in told.ALARM.strip().splitlines():
        assert line in page.within(Box(frame.left, frame.bottom, frame.right, frame.top)) or all(
            word in page.within(frame) for word in line.split()
        )
    assert page.within(frame).endswith("Nearest eye clinic: Riverside Eye Post")
    (eyes,) = page.eyes
    assert eyes.filled == ("left", "right")
    code = max((s for s in page.shapes if s.segments > 200), key=lambda s: s.width)
    assert code.left > eyes.right
    assert page.within(Box(code.left - 15, code.bottom - 32, code.right + 15, code.bottom)).endswith(
        "7KQ2-MX4D-9TA"
    )


def test_each_dose_stands_in_one_line_with_its_days(pages_in_words):
    lines = [line for page in pages_in_words for _, line in page.rows()]
    for said in told.BY_DATES.values():
        for line in (s for s in said.strip().splitlines() if re.match(r"\d times? a day", s)):
            assert line in lines


def _phone_text(page: str) -> str:
    import html

    body = page[page.index("<body>") :]
    body = re.sub(r"<(style|title)\b.*?</\1>", "", body, flags=re.DOTALL)
    body = re.sub(r"<svg\b.*?</svg>", "", body, flags=re.DOTALL)
    body = re.sub(r"</?bdi[^>]*>", "", body)
    return told.flat(html.unescape(re.sub(r"<[^>]+>", " ", body)))


def _phone_rounds() -> str:
    parts = []
    for at, (days, times) in enumerate(told.ROUNDS.items()):
        parts.append(days)
        for time, marks in times.items():
            parts.append(f"{time} (after midnight)" if time == "01:00" else time)
            parts += [told.NAMES[mark] for mark in marks.split()]
        if at == 0:
            parts.append(told.RULES)
    return " ".join(parts)


def test_the_phone_says_the_same_in_its_own_order(formulary):
    page = render_phone(two_eyes.content(formulary, options=PLAIN))
    bullets = re.compile(r"(?<!\S)(?:•|[1-7]\.)(?= )")
    clinic, day, night, name, age, face, *dated, mirror, _, _ = told.HEAD.strip().splitlines()
    signs = told.flat(told.ALARM)
    signs = signs.replace(f"{PUS} {FLASHES}", f"{FLASHES} {PUS}").replace(
        "or call us by day or night.", f"or call us by day or night. {day} {night}"
    )
    stairs = (
        "Right eye Monday 1 June 2026 – Monday 6 July 2026 The numbers are drops a day. A circle is a visit. "
        "Left eye Tuesday 2 June 2026 – Monday 6 July 2026 The numbers are drops a day. A circle is a visit."
    )
    blocks = []
    for mark, said in told.BY_DATES.items():
        title = "T Prednisolone, tablets of 5 mg By mouth" if mark == "T" else told.NAMES[mark]
        blocks += [title, told.PURPOSES[mark], said]
    wanted = told.flat(
        told.REPLACES, clinic, face, mirror, name, age, *dated, told.NEWS, signs, stairs,
        told.BEFORE_THE_DROPS, "Your drops by the clock", _phone_rounds(), told.NEXT_VISIT, told.STOPPING,
        "Each medicine by dates", *blocks, told.VISITS, told.HOW_TO, told.CARE, told.HOME, told.NEVER,
        told.ORDINARY,
        "Return code 7KQ2-MX4D-9TA", told.SQUARES, *told.FOOT,
    )  # fmt: skip
    assert _phone_text(page) == told.flat(bullets.sub(" ", wanted))
