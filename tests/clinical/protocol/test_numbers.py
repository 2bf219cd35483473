"""A number stands in one place: sentences of the data point to it, and follow it when it changes."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from followup.clinical.protocol import numbers
from followup.clinical.protocol.facts import FactDef
from followup.clinical.protocol.load import SAMPLE, load_protocol
from followup.clinical.protocol.numbers import SENTENCES, fill_numbers
from followup.errors import FollowupError

FILES = sorted(SAMPLE.glob("*.toml"))
# What a publication found, or a name: figures that no rule of ours sets.
FOUND = (
    *("28 mmHg", "39 times", "50 against 14 percent", "80.9 percent", "0.1%", "CYP3A4"),
    *("after 40 days", "median of day 6", "hours 12 to 48", "4 to 7 hours", "30 mmHg in 20 percent"),
    *("within 48 hours", "within 24 hours", "42 times", "3 months", "day 44", "from day 10 on"),
    *("at least 6 weeks",),
)


def _raw(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text("utf-8"))


def _tables(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from _tables(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _tables(inner)


def _sentences(data: dict[str, Any]) -> list[str]:
    keys = SENTENCES - {"source"}
    return [
        text for table in _tables(data) for k, text in table.items() if k in keys and isinstance(text, str)
    ]


def _put(data: Any, path: list[str], number: Any) -> bool:
    """Set what ``path`` leads to; False where it does not lead anywhere here."""
    for step in path[:-1]:
        data = numbers._at(data, [step])
    holder: Any = data
    last = int(path[-1]) if isinstance(holder, list) and path[-1].isdecimal() else path[-1]
    if holder is None or numbers._at(holder, [path[-1]]) is None:
        return False
    holder[last] = number
    return True


POINTERS = [
    (path.name, i, name)
    for path in FILES
    for i, table in enumerate(_tables(_raw(path)))
    for name in table.get("numbers", {})
]


@pytest.mark.parametrize(("file", "index", "name"), POINTERS)
def test_a_changed_number_changes_every_sentence_that_points_to_it(monkeypatch, file, index, name):
    raw = _raw(SAMPLE / file)
    pointer = list(_tables(raw))[index]["numbers"][name]
    path, _, way = pointer.partition(" ")
    changed = copy.deepcopy(raw)
    table = list(_tables(changed))[index]
    whole = copy.deepcopy(numbers._whole(SAMPLE, *numbers.stamps_of(SAMPLE)))
    new: Any = [[9, 377]] if way == "steps" and not path.split(".")[-1].isdecimal() else 377
    new = [9, 377] if way == "steps" and path.split(".")[-1].isdecimal() else new
    assert _put(table, path.split("."), new) or _put(whole, path.split("."), new)
    monkeypatch.setattr(numbers, "_whole", lambda *_: whole)
    assert fill_numbers(changed, SAMPLE) == []
    monkeypatch.undo()
    assert fill_numbers(raw, SAMPLE) == []
    before, after = _sentences(raw), _sentences(changed)
    different = [new for old, new in zip(before, after, strict=True) if old != new]
    assert different
    assert all("377" in text for text in different)


@pytest.mark.parametrize(
    "path", [path for path in FILES if path.name not in ("review.toml", "cautions.toml")]
)
def test_no_sentence_holds_a_figure_that_is_data(path):
    left = []
    for text in _sentences(_raw(path)):
        bare = re.sub(r"\{\w+\}", "", text)
        for found in FOUND:
            bare = bare.replace(found, "")
        if re.search(r"\d", bare):
            left.append(text)
    assert left == []


def test_every_sentence_of_the_loaded_protocol_is_filled():
    protocol = load_protocol()
    texts = [rule.because for rule in protocol.rules] + [fact.about for fact in protocol.facts]
    texts += [rule.ask.text for rule in protocol.rules if rule.ask]
    assert [text for text in texts if "{" in text] == []


def test_a_sentence_that_points_nowhere_is_refused_by_file_and_line(tmp_path):
    for path in FILES:
        text = path.read_text("utf-8").replace('"course.days days"', '"course.dais days"')
        (tmp_path / path.name).write_text(text, "utf-8")
    with pytest.raises(FollowupError) as caught:
        load_protocol(tmp_path)
    assert caught.value.code == "protocol.number"
    assert '"course.dais" is no number' in caught.value.line
    assert caught.value.where.startswith("rules-1-courses.toml line ")


def test_a_fact_that_is_told_with_values_names_each_of_them():
    with pytest.raises(ValueError, match="said and values"):
        FactDef(name="x", about="x", field="eye.axial_length_mm", present=True, said="{mm} mm")
