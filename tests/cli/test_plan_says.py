"""The plan in text says allergies, free words and what is left out, each where it is read first."""

from __future__ import annotations

import json

import pytest

RECORD = {
    "patient": {
        "code": "T-1",
        "name": "Invented Person",
        "birth_date": "1955-01-01",
        "sex": "male",
        "language": "en",
        "allergies": [{"to": "medicine", "medicine": "ciprofloxacin-0-3", "reaction": "severe"}],
        "allergy_text": "sulfa - came out in blisters",
    },
    "operations": [
        {
            "eye": "right",
            "eye_drawn": "right",
            "date": "2026-03-02",
            "procedure": "phacoemulsification",
            "free_text": "Coughed twice.",
            "no_steroid_drop": {"why": "a depot acts inside the eye", "decided_by": "Dr Osei"},
        }
    ],
}


@pytest.fixture
def record(tmp_path):
    file = tmp_path / "record.json"
    file.write_text(json.dumps(RECORD), encoding="utf-8")
    return str(file)


def test_the_text_of_a_plan_says_every_allergy_and_every_free_word(inside, record):
    said = inside("plan", record).stdout
    assert "Ciprofloxacin 0.3%: severe reaction" in said
    assert "In words: sulfa - came out in blisters" in said
    assert "Told in words, not used for the plan\n  right eye: Coughed twice." in said


def test_the_text_of_a_plan_tells_a_course_that_is_left_out_in_one_line(inside, record):
    lines = inside("plan", record, "--why").stdout.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("  S  right eye, steroid:"))
    assert lines[at].strip() == "S  right eye, steroid: Dexamethasone 0.1% - not given"
    rest = lines[at + 1 :]
    of_it = rest[: next(i for i, line in enumerate(rest) if "  right eye, " in line)]
    assert not [line for line in of_it if " a day" in line or "drops in all" in line or "taper" in line]
    assert any("No steroid drop in this eye, decided by Dr Osei" in line for line in lines)


def test_an_answer_to_a_course_that_does_not_exist_is_one_line_and_exit_code_two(inside, tmp_path):
    data = json.loads(json.dumps(RECORD))
    answer = {"caution": "nsaid.dry-eye", "course": "left:nsaid", "decision": "give"}
    data["operations"][0]["answers"] = [answer]
    file = tmp_path / "wrong.json"
    file.write_text(json.dumps(data), encoding="utf-8")
    done = inside("plan", str(file))
    assert done.returncode == 2
    assert done.stderr.strip().count("\n") == 0
    assert 'no course "left:nsaid"' in done.stderr


def test_the_head_counts_the_questions_that_block_and_those_that_may_wait(inside, record_file):
    said = " ".join(inside("plan", str(record_file("03-amina"))).stdout.split())
    assert "draft, can't be signed yet: 8 questions open; 2 more may wait." in said
    assert "10. left eye:" in said
    assert "11. " not in said


def test_a_plan_that_can_be_signed_with_questions_is_not_called_without_any(inside, tmp_path):
    data = json.loads(json.dumps(RECORD))
    data["patient"] |= {"allergies": [], "allergy_text": None, "drops_by": {"who": "relative"}}
    data["operations"][0] = {
        key: value for key, value in data["operations"][0].items() if key != "no_steroid_drop"
    } | {"bleeding": True, "chamber": "normal", "viscoelastic": {"removed": "all"}, "pad": True}
    file = tmp_path / "waits.json"
    file.write_text(json.dumps(data), encoding="utf-8")
    said = " ".join(inside("plan", str(file)).stdout.split())
    assert "Plan as of Monday 2 March 2026: draft, can be signed; 1 question may wait." in said
