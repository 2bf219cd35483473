"""No phrase or value of a lexicon goes or changes unnoticed; that they are right the told operations say."""

from __future__ import annotations

import tomllib

from lexicon_pins import PINS, pins


def test_every_entry_of_the_lexicons_says_what_it_said():
    was, now = tomllib.loads(PINS.read_text("utf-8")), pins()
    changed = sorted(name for name in was.keys() | now if was.get(name) != now.get(name))
    assert changed == [], "after a meant change: python tests/telling/lexicon_pins.py"
