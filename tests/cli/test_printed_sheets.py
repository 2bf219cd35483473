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
from followup.sheets.paper.batch import Batch

EVERYBODY = Actor("all", frozenset({"counsellor", "reception", "surgeon"}), "Dr All", "R-1003")
DAY, THEN = date(2026, 3, 2), datetime(2026, 3, 2, 8, 30, tzinfo=UTC)
DRAFT, SIGNED = "a draft, not for the patient.", "signed; mark it handed over when the patient has it."


@pytest.fixture
def wanjiru():
    """What is told of her, to be changed before it is ``entered``."""
    data = case_data("01-wanjiru")
    data["patient"]["language"] = "en"
    return data


@pytest.fixture
def entered(store, wanjiru):
    """Wanjiru, operated on 2 March 2026, with the draft of her plan; signs it."""
    data = wanjiru
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


@pytest.fixture
def unread(wanjiru):
    """She can not read; her helper reads Bengali."""
    wanjiru["patient"] |= {"can_read": False, "second_language": "bn"}


@pytest.fixture
def contents(monkeypatch):
    """What would be set, in place of setting it."""
    found = []

    def batch(sheets, **_):
        found.extend(sheet.make() for sheet in sheets)
        return Batch((b"%PDF-",), tuple(sheet.name for sheet in sheets), ())

    monkeypatch.setattr("followup.cli.sheet.render_phone", lambda content: found.append(content) or "page")
    monkeypatch.setattr("followup.cli.printer.render_batch", batch)
    return found


WAYS = {
    "one": ("--plan", "C-0001", "--html", "--out", "out"),
    "a day's one by one": ("--day", "2026-03-02", "--html", "--out", "."),
    "a day's together": ("--day", "2026-03-02", "--together", "--out", "out"),
}


@pytest.mark.parametrize("way", WAYS)
def test_whoever_can_not_read_gets_pictures_from_the_command(unread, entered, contents, inside, way) -> None:
    def printed(*more: str):
        with time_machine.travel(THEN, tick=False):
            done = inside("sheet", *WAYS[way], *more)
        assert (done.returncode, done.stderr) == (0, "")
        one = contents.pop()
        return one.watermark is not None, one.pictures, one.twin and one.twin.language, bool(one.calendar)

    assert printed() == (True, True, "bn", False)
    assert printed("--no-pictures", "--twin", "", "--calendar") == (True, False, None, True)
    entered()
    assert printed() == (False, True, "bn", False)
    assert printed("--twin", "hi", "--calendar") == (False, True, "hi", True), "as printed but for the choice"
    assert printed() == (False, True, "bn", False), "what was chosen for once is not kept"


def test_whoever_can_not_read_gets_pictures_from_a_record(record_file, contents, inside) -> None:
    needs = {"patient__can_read": False, "patient__language": "en", "patient__second_language": "bn"}
    done = inside("sheet", str(record_file(**needs)), "--html", "--out", "out")
    assert (done.returncode, done.stderr) == (0, "")
    (one,) = contents
    assert (one.pictures, one.twin.language, one.calendar) == (True, "bn", None)


def test_the_clinic_says_whether_sheets_have_days_to_tick_and_the_command_wins(
    entered, contents, inside
) -> None:
    def ticked(*more: str) -> bool:
        with time_machine.travel(THEN, tick=False):
            done = inside("sheet", *WAYS["one"], *more)
        assert (done.returncode, done.stderr) == (0, "")
        return bool(contents.pop().calendar)

    assert not ticked()
    assert inside("init", "--again", "--days-to-tick").returncode == 0
    assert ticked()
    assert not ticked("--no-calendar")
    entered()
    assert ticked()
    assert inside("init", "--again", "--no-days-to-tick").returncode == 0
    assert ticked(), "what is printed stays"
