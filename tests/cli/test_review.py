"""Findings at the command line: proposals as text and as JSON, and one line for what can't be right."""

from __future__ import annotations

import json

import pytest
from jsonschema import validate

from followup.clinical.review.proposal import Outcome

CALM = dict.fromkeys(
    ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"), "no"
)


@pytest.fixture
def findings(tmp_path):
    """Writes the findings of one look."""

    def write(**found):
        path = tmp_path / "findings.json"
        path.write_text(json.dumps({"eye": "left", "date": "2026-03-09"} | found), "utf-8")
        return path

    return write


def test_a_review_says_the_proposals_and_what_signing_them_changes(inside, record_file, findings):
    record = record_file("03-amina")
    told = inside("review", str(record), str(findings(cells="2+", pressure=18, **CALM)))
    assert (told.returncode, told.stderr) == (0, "")
    words = " ".join(told.stdout.split())
    assert "Proposal 1 Raise the steroid from 8 to 16 a day" in words
    assert (
        "If you sign: Dexamethasone 0.1% 16 a day for 3 days from 10 March 2026, then 8 for 4 days, then 6 "
        "for 7 days, then 5 for 7 days, then 4 for 14 days, then 3 for 14 days, then 2 for 14 days, then 1 "
        "for 14 days; last day 25 May 2026, 7 days later; inflammation between 11 March 2026 and 13 March"
    ) in words
    assert "then: Dexamethasone 0.1%, left eye: the last day is 25 May 2026, 7 days later." in words
    assert "Nothing changes before a surgeon signs." in words


def test_what_people_read_of_a_review_holds_no_id_and_no_key(inside, record_file, findings):
    seen = findings(cells="1+", pressure=27, **CALM)
    told = inside("review", str(record_file("03-amina")), str(seen)).stdout
    assert "may be added: Dorzolamide 2%, 3 times a day" in " ".join(told.split())
    for raw in ("left:steroid", "dorzolamide-2", "go-on", "pressure-unchanged", "; C]", "pressure-from-26"):
        assert raw not in told


def test_signs_of_infection_are_asked_before_more_steroid_is_proposed(inside, record_file, findings):
    told = inside("review", str(record_file("03-amina")), str(findings(cells="2+", pressure=18))).stdout
    assert "Asked first" in told
    assert "Is there pain?" in told
    assert "Proposal" not in told


def test_a_red_flag_is_said_and_no_proposal(inside, record_file, findings):
    told = inside("review", str(record_file("03-amina")), str(findings(hypopyon="yes", cells="2+")))
    assert told.returncode == 0
    assert "Same-day senior review: no proposal is made" in told.stdout
    assert "Proposal" not in told.stdout
    words = " ".join(told.stdout.split())
    assert "Not seen, and never counted" not in words, "nothing else is asked"
    assert "Call the senior surgeon now" in words
    assert "Until then these go on as ordered: Dexamethasone 0.1% 8 a day" in words


def test_the_json_of_a_review_keeps_to_its_own_schema(inside, record_file, findings):
    told = inside("review", str(record_file("03-amina")), str(findings(cells="1+", pressure=27)), "--json")
    body = json.loads(told.stdout)
    validate(body, json.loads(inside("schema", "proposals").stdout))
    assert Outcome.model_validate(body).proposals
    assert all(p["reasons"] for p in body["proposals"])


def test_findings_may_come_from_standard_input(inside, record_file, findings):
    path = findings(cells="2+", **CALM)
    told = inside("review", str(record_file("03-amina")), "-", stdin=path.read_text("utf-8"))
    assert "Raise the steroid from 8 to 16 a day" in told.stdout


def test_a_patient_followed_by_hand_gets_no_proposal_and_exit_code_2(inside, record_file, findings):
    told = inside("review", str(record_file("12-li")), str(findings(eye="right")))
    assert told.returncode == 2
    assert told.stderr.count("\n") == 1
    assert "followed by hand" in told.stderr


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ({"pressure": 300}, "findings.json: pressure: write the pressure in mmHg, 0 to 90"),
        ({"cells": "2.5+"}, "findings.json: cells: must be"),
        ({"date": "2026-03-01"}, "lies before the operation of 2026-03-02"),
        ({"eye": "right"}, "the right eye was not operated"),
        ({"date": "2027-03-01"}, "the follow-up of the left eye ended on"),
        ({"seen": "yes"}, "findings.json: seen"),
    ],
)
def test_findings_that_can_not_be_right_end_with_one_line(refused, record_file, findings, found, said):
    assert said in refused("review", str(record_file("03-amina")), str(findings(**found)))


def test_why_tells_the_chain_behind_one_line(inside, record_file):
    told = inside("plan", str(record_file("03-amina")), "--why", "left:steroid")
    assert (told.returncode, told.stderr) == (0, "")
    assert told.stdout.startswith("Dexamethasone 0.1%, left eye: 8 a day for 7 days")
    assert "Rule steroid-uveitis-washed" in told.stdout
    lines = json.loads(inside("plan", str(record_file("03-amina")), "--why", "left:steroid", "--json").stdout)
    assert any(line.startswith("It would change if") for line in lines)


def test_why_of_a_line_that_is_not_there_names_those_that_are(refused, record_file):
    said = refused("plan", str(record_file("03-amina")), "--why", "right:steroid")
    assert 'no line "right:steroid"' in said
    assert "left:steroid" in said


def test_a_chart_is_written_whole_and_never_over_the_record(inside, refused, record_file, tmp_path):
    record = record_file("05-lakshmi")
    chart = tmp_path / "chart.svg"
    told = inside("plan", str(record), "--chart", str(chart))
    assert told.returncode == 0
    assert chart.read_text("utf-8").count("<svg") == 3
    assert "it is the record itself" in refused("plan", str(record), "--chart", str(record))
    assert "nothing to draw" in refused("plan", str(record_file("12-li")), "--chart", str(chart))


def test_a_review_says_that_an_unapproved_protocol_is_not_approved(inside, record_file, findings):
    told = inside("review", str(record_file("03-amina")), str(findings(cells="0", **CALM))).stdout
    assert "Protocol: Sample protocol 1, not approved for patients." in told


def test_no_mark_stands_in_the_source_of_a_proposal(inside, record_file, findings):
    seen = findings(cells="0", pressure=33, **CALM)
    told = " ".join(inside("review", str(record_file("02-tom")), str(seen)).stdout.split())
    assert "common practice, no source" in told
    assert "Wills Eye Manual, 8th edition, secondary copy" in told
    assert not any(mark in told for mark in ("(P)", "(S)", "(M)", "(C)"))


def test_where_no_cells_are_expected_none_are_said_and_not_none_or_fewer(inside, record_file, findings):
    seen = findings(date="2026-04-06", cells="0", pressure=15, **CALM)
    told = " ".join(inside("review", str(record_file("02-tom")), str(seen)).stdout.split())
    assert "No cells expected on day 35;" in told
    assert "Cells 0 on day 35, none expected in an eye without uveitis." in told
    assert "0 or fewer" not in told


def test_a_low_pressure_is_not_explained_by_what_raises_one(inside, record_file, findings):
    seen = findings(date="2026-03-03", cells="1+", pressure=6, leak="slow", chamber="shallow", **CALM)
    told = " ".join(inside("review", str(record_file("10-joao")), str(seen)).stdout.split())
    assert "because 6 mmHg on day 1. A low pressure" in told
    assert "viscoelastic rather than steroid" not in told


def test_a_known_responder_is_not_to_be_written_down_again_and_a_class_is_refused_once(
    inside, record_file, findings
):
    seen = findings(eye="right", date="2026-03-16", cells="0", pressure=31, **CALM)
    told = " ".join(inside("review", str(record_file("07-grace")), str(seen)).stdout.split())
    assert "Steroid response: 31 mmHg, 12 more than before surgery." in told
    assert "Write it into the record" not in told
    first = told.split("Proposal 2")[0]
    assert first.count("not offered: carbonic anhydrase inhibitor") == 1
