"""One sheet from its first word to its last: in its content, on paper and on the phone.

The expectation lies in ``tests/shared/two_eyes_told.py``, written by hand. A sentence that is dropped, a
warning in another place, a bottle of another eye or another day is another sheet. Which drop stands at which
time on which days is held by the tests of the table.
"""

from __future__ import annotations

import html
import re

import pytest
import two_eyes
import two_eyes_told as told
from leaf_rows import plain
from printed import read

from followup.sheets.model import NamedBottle, SheetContent, VisitLine
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import laid_out
from followup.sheets.phone import render_phone


@pytest.fixture
def content(formulary) -> SheetContent:
    return two_eyes.content(formulary)


def _lines(text: str) -> list[str]:
    return text.strip().splitlines()


def _mark(bottle: NamedBottle) -> str:
    return bottle.letter + (bottle.side or "")[:1]


def _section(section) -> list[str]:
    return [section.heading, *section.lines] if section else []


def test_the_head_says_whose_it_is_what_it_replaces_and_what_is_new(content):
    who = content.who
    found = [content.face.words, who.name, who.age, who.code, *content.dated, content.code.grouped]
    assert [*found, content.first_line, *content.changes] == _lines(told.HEAD)


def test_the_two_boxes_say_when_to_come_at_once_and_when_to_come_again(content):
    alarm, clinic, visit = content.alarm, content.clinic, content.next_visit
    telephones = [f"{t.label} {t.number}" for t in clinic.telephones]
    found = [alarm.heading, *(sign.words for sign in alarm.signs), alarm.action, *telephones]
    assert [*found, clinic.name, clinic.address, clinic.nearest] == _lines(told.ALARM)
    again = [content.next_visit_heading, visit.day, *visit.reasons, *visit.notes, content.bring]
    assert again == _lines(told.COME_AGAIN)


def _row(row) -> str:
    new = "* " if row.new else ""
    if not isinstance(row, VisitLine):
        return new + plain(row.dates)
    handed = (f" + {given.words} {' '.join(map(_mark, given.bottles))}" for given in row.handed)
    return f"{new}{plain(row.day)}: {row.reason}{''.join(handed)}"


def test_the_table_has_its_rows_with_what_is_new_and_what_is_handed_over(content):
    assert [*map(_row, content.table.rows), *content.table.rules] == _lines(told.ROWS)


def test_under_the_table_stand_last_days_what_waits_and_what_holds_today(content):
    sections = (content.held, content.cautions, content.before_leaving)
    found = [*content.steroid_ends, *(line for section in sections for line in _section(section))]
    assert found == _lines(told.UNDER_THE_TABLE)


def _block(block) -> list[str]:
    said = f"{_mark(block.bottle)} {block.bottle.name}, {block.bottle.eye}. {block.purpose}"
    lines = [plain(" | ".join((c.number, c.opened, c.discard, c.next))).strip() for c in block.lines]
    return [said, *block.use, *([block.shake] if block.shake else []), *block.notes, *lines]


def test_each_bottle_says_its_eye_its_purpose_and_its_days(content):
    assert [line for block in content.bottles for line in _block(block)] == _lines(told.BOTTLES)


def test_the_back_says_how_what_to_do_at_home_and_what_never(content):
    back = (content.how_to, content.stopping, content.bottle_care, *content.home)
    last = (content.never, content.ordinary, content.allergies)
    assert [line for section in (*back, *last) for line in _section(section)] == _lines(told.BACK)


_SENTENCES = (told.HEAD, told.ALARM, told.COME_AGAIN, told.UNDER_THE_TABLE, told.BACK)


@pytest.mark.parametrize("pictures", [False, True])
def test_every_sentence_of_it_stands_on_paper(pictures, formulary):
    content = two_eyes.content(formulary, options=SheetOptions(pictures=pictures))
    letters = "".join("".join(page.text.split()) for page in read(laid_out(content)[0]))
    missing = [x for part in _SENTENCES for x in _lines(part) if "".join(x.split()) not in letters]
    assert missing == []


def test_every_sentence_of_it_stands_on_the_phone(content):
    page = render_phone(content)
    body = re.sub(r"<(svg|style)\b.*?</\1>", "", page[page.index("<body>") :], flags=re.DOTALL)
    letters = "".join(html.unescape(re.sub(r"<[^>]+>", "", body)).split())
    missing = [x for part in _SENTENCES for x in _lines(part) if "".join(x.split()) not in letters]
    assert missing == []
