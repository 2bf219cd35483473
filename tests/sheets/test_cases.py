"""Sheets of the twelve operations, from the record through the rules onto paper."""

from __future__ import annotations

from importlib.resources import files

import pytest
from leaf_rows import plain, rows_of_days, rows_of_visits, times

from followup.clinical.plan.build import build_plan
from followup.clinical.plan.course_table import course_table
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_json_object, parse_record
from followup.errors import FollowupError
from followup.sheets.content import build_content
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import render_pdf
from followup.sheets.phone import render_phone
from followup.sheets.wording import ADVICE, REASONS

CASES = sorted(p.name for p in (files("followup") / "demo" / "cases").iterdir() if p.name.endswith(".json"))
PROTOCOL = load_protocol()


def _draft(name: str, clinic, language: str | None = None, options: SheetOptions | None = None):
    text = (files("followup") / "demo" / "cases" / name).read_text("utf-8")
    record = parse_record(parse_json_object(text, name), name)
    plan = build_plan(record, PROTOCOL, as_of=record.last_operation_day)
    day = record.last_operation_day
    return plan, build_content(
        plan, record, PROTOCOL.formulary, clinic, language=language, printed_on=day, options=options
    )


def test_there_are_twelve_cases():
    assert len(CASES) == 12


@pytest.mark.parametrize("name", [n for n in CASES if not n.startswith("12")])
@pytest.mark.parametrize("language", ["en", "ta"])
def test_every_case_prints_on_paper_and_phone(name, language, clinic):
    plan, content = _draft(name, clinic, language)
    assert render_pdf(content)[:5] == b"%PDF-"
    assert "</html>" in render_phone(content)
    assert len(rows_of_visits(content)) == len(plan.trips)
    assert all(visit.reason for visit in rows_of_visits(content))
    assert len(rows_of_days(content)) == len(course_table(plan).days)
    held = [c for c in plan.courses if c.state == "held"]
    assert len(content.held.lines if content.held else ()) == len(held)


def test_the_child_is_refused_a_sheet(clinic):
    with pytest.raises(FollowupError, match="no sheet for a refused plan"):
        _draft(next(n for n in CASES if n.startswith("12")), clinic)


def test_two_eyes_stand_on_one_sheet_each_bottle_with_its_eye(clinic):
    _, content = _draft(next(n for n in CASES if n.startswith("05")), clinic, "en")
    assert content.face.words == "Both eyes"
    first = rows_of_days(content)[0]
    eyes = [m.bottle.eye for m in first.marks]
    assert set(eyes) == {"Right eye", "Left eye"}
    assert eyes == sorted(eyes, reverse=True), "right eye before left, never mixed"
    assert "Between one eye and the other you need not wait." in content.table.rules
    assert len(content.stairs) == 2
    assert all(reason.startswith(("Left eye: ", "Right eye: ")) for reason in content.next_visit.reasons)


def test_the_night_worker_has_his_drops_after_rising_in_the_afternoon(clinic):
    _, content = _draft(
        next(n for n in CASES if n.startswith("08")), clinic, "en", SheetOptions(calendar=True)
    )
    columns = times(content)
    assert columns[0] == "16:00"
    late = [time for time in columns if time < "16:00"]
    assert columns[-len(late) :] == late, "what belongs to the night comes after the evening"
    assert [plain(rule).split()[0] for rule in content.table.rules[: len(late)]] == late
    assert all("(after midnight)" in r or "(next morning)" in r for r in content.table.rules[: len(late)])


@pytest.mark.parametrize(("language", "pictures"), [("ur", True), ("ta", True), ("sw", False), ("fr", False)])
def test_times_of_the_night_find_room_on_the_small_paper_and_on_the_staff_s_copy(clinic, language, pictures):
    name = next(n for n in CASES if n.startswith("08"))
    options = SheetOptions(paper="A5", twin="en", pictures=pictures)
    _, content = _draft(name, clinic, language, options)
    assert render_pdf(content)[:5] == b"%PDF-"


def test_every_kind_of_review_and_every_sentence_of_the_sample_protocol_has_words():
    assert set(PROTOCOL.kinds) <= set(REASONS)
    assert {advice.id for advice in PROTOCOL.aftercare.advice} == set(ADVICE)
