"""``followup read``: a told operation in, fields with their words out, or one line that says why not."""

from __future__ import annotations

import json

import pytest

NOTE = (
    "Right phaco, 2.4 mm incision. Possible tear of the posterior capsule. Tamsulosin. She brought mangoes.\n"
)


@pytest.fixture
def note(tmp_path):
    path = tmp_path / "note.txt"
    path.write_text(NOTE, encoding="utf-8")
    return str(path)


def test_a_note_is_read_with_its_words_and_what_must_be_asked(inside, note):
    found = inside("read", note, "--eye", "right")
    assert found.returncode == 0
    assert 'Incision, mm: 2.4 ("2.4 mm incision")' in found.stdout
    assert "Capsule torn: It was told as not certain. What holds?" in found.stdout
    assert "She brought mangoes" in found.stdout


def test_as_json_every_reading_has_its_place_in_the_text(inside, note):
    found = json.loads(inside("read", note, "--json").stdout)
    cut = next(one for one in found["fields"] if one["field"] == "operation.cut_mm")
    assert [NOTE[place["start"] : place["end"]] for place in cut["words"]] == ["2.4 mm incision"]
    assert cut["value"] == 2.4


def test_a_note_of_the_other_eye_is_refused_in_one_line(inside, note):
    found = inside("read", note, "--eye", "left")
    assert found.returncode == 2
    assert "the telling says the right eye, but the left eye was entered" in found.stderr
    assert found.stderr.count("\n") == 1
    assert not found.stdout
