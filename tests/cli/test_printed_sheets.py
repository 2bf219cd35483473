"""``followup sheet`` of stored plans: a draft is told from what was signed, and one code is given once."""

from __future__ import annotations

import os
import stat
from datetime import UTC, date, datetime

import pytest
import time_machine

from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record
from followup.demo.cast import case_data
from followup.records.people.patients import enter_record, patient_by_code
from followup.records.plans.plans import sign_plan, store_draft
from followup.records.plans.protocols import sign_protocol
from followup.records.plans.sheets import sheets_of
from followup.records.views import Actor

EVERYBODY = Actor("all", frozenset({"counsellor", "reception", "surgeon"}), "Dr All", "R-1003")
DAY, THEN = date(2026, 3, 2), datetime(2026, 3, 2, 8, 30, tzinfo=UTC)
DRAFT, SIGNED = "a draft, not for the patient.", "signed; mark it handed over when the patient has it."


@pytest.fixture
def entered(store):
    """Wanjiru, operated on 2 March 2026, with the draft of her plan; signs it."""
    data = case_data("01-wanjiru")
    data["patient"]["language"] = "en"
    record, protocol = parse_record(data), load_protocol()
    body = build_plan(record, protocol, as_of=DAY)
    with store.write(EVERYBODY, THEN) as unit:
        who = enter_record(unit, record=record).patient_id
        draft = store_draft(unit, patient_id=who, record_number=1, body=body)

    def sign() -> None:
        with store.write(EVERYBODY, THEN) as unit:
            sign_protocol(unit, hash=protocol.hash, name="sample", version="1")
        with store.write(EVERYBODY, THEN) as unit:
            sign_plan(unit, plan_id=draft.id)

    return sign


def _sheets(store) -> list[str]:
    with store.read() as session:
        return [one.language for one in sheets_of(session, patient_by_code(session, "C-0001").id)]


def test_a_sheet_is_a_draft_until_the_plan_is_signed_and_then_has_one_code(
    entered, store, inside, tmp_path
) -> None:
    def printed(*more: str, out: str = "a.html"):
        done = inside("sheet", "--plan", "C-0001", "--html", "--out", out, *more)
        return done.returncode, done.stdout.strip(), done.stderr

    assert printed() == (0, f"a.html: {DRAFT}", "")
    assert "Not for the patient" in (tmp_path / "a.html").read_text("utf-8")
    assert _sheets(store) == []
    entered()
    for out in ("b.html", "c.html"):
        assert printed(out=out) == (0, f"{out}: {SIGNED}", "")
        assert "Not for the patient" not in (tmp_path / out).read_text("utf-8")
    assert len(_sheets(store)) == 1
    first = (tmp_path / "b.html").read_bytes()
    assert (tmp_path / "c.html").read_bytes() == first
    code, out, error = printed("--language", "hi", out="d.html")
    assert (code, out) == (2, "")
    assert "the sheet of C-0001 was printed in en" in error
    assert len(_sheets(store)) == 1
    assert not (tmp_path / "d.html").exists()


def test_the_sheets_of_a_day_lie_in_a_folder_that_nobody_else_reads(entered, inside, tmp_path) -> None:
    before = os.umask(0)
    try:
        done = inside("sheet", "--day", "2026-03-02", "--html")
    finally:
        os.umask(before)
    folder = tmp_path / "sheets-2026-03-02"
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"sheets-2026-03-02/sheet-C-0001.html: {DRAFT}\n"
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert [(path.name, stat.S_IMODE(path.stat().st_mode)) for path in folder.iterdir()] == [
        ("sheet-C-0001.html", 0o600)
    ]
    nobody = inside("sheet", "--day", "2026-03-03", "--html")
    assert (nobody.returncode, "nobody with a record was operated on 2026-03-03" in nobody.stderr) == (
        2,
        True,
    )


@pytest.mark.parametrize(("hour", "day"), [(18, "Sunday 1 March 2026"), (19, "Monday 2 March 2026")])
def test_a_draft_is_printed_on_the_clinics_day(entered, inside, tmp_path, hour, day) -> None:
    """The clinic's midnight lies at 18:30 UTC."""
    with time_machine.travel(datetime(2026, 3, 1, hour, tzinfo=UTC), tick=False):
        done = inside("sheet", "--plan", "C-0001", "--html", "--out", "a.html")
    assert (done.returncode, done.stderr) == (0, "")
    assert f"Printed on {day}" in (tmp_path / "a.html").read_text("utf-8")
