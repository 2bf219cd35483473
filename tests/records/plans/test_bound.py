"""Signed plans and issued sheets are bound to the journal: what was changed beneath it is named."""

from __future__ import annotations

from contextlib import nullcontext

import pytest
from sqlalchemy import text
from sqlmodel import Session

from followup.errors import FollowupError
from followup.records.plans.bound import Bound, verify_all
from followup.records.plans.sheets import hand_over_sheet, issue_sheet


@pytest.fixture
def printed(ward):
    """A signed plan and its sheet."""
    plan = ward.signed()
    with ward.store.write(ward.counsellor, ward.now) as unit:
        issue_sheet(unit, plan_id=plan.id, sheet_id="0123456789", language="en", options={"size": "normal"})
    return ward


def _bound(ward) -> Bound:
    with ward.store.read() as session:
        return verify_all(session).bound


def _change(ward, statement: str) -> None:
    with ward.store.engine.begin() as connection:
        assert connection.execute(text(statement)).rowcount > 0


def test_what_was_signed_and_issued_is_verified_and_what_happens_to_it_rightly_changes_nothing(printed):
    assert _bound(printed) == Bound(plans=1, sheets=1)
    with printed.store.write(printed.counsellor, printed.now) as unit:
        hand_over_sheet(unit, sheet_id="0123456789", to="her daughter")
    patient = printed.store
    with patient.read() as session:
        number = session.connection().execute(text("SELECT id FROM patient")).scalar_one()
    printed.sign(printed.draft(number, printed.body()).id)
    assert _bound(printed) == Bound(plans=2, sheets=1)


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("UPDATE care_plan SET body = replace(body, '2027-03-08', '2027-03-09')", "plan 1 is not the one"),
        ("UPDATE care_plan SET body = 'x'", "plan 1 is not the one"),
        ("UPDATE care_plan SET signed_by = 'Dr Rao'", "plan 1 is not the one"),
        ("UPDATE record_version SET body = replace(body, '1955', '1956')", "plan 1 is not the one"),
        ("UPDATE sheet SET language = 'ar'", "sheet 1 is not the one"),
        ("UPDATE sheet_choice SET options = '{}'", "sheet 1 is not the one"),
    ],
)
def test_what_was_changed_after_it_was_signed_or_issued_is_named(printed, statement, says):
    _change(printed, statement)
    with printed.store.read() as session, pytest.raises(FollowupError) as caught:
        verify_all(session)
    assert (caught.value.code, caught.value.where) == ("journal.unlike", "K-1")
    assert says in caught.value.what


# What was signed and issued, column by column; every other column may change after that.
BOUND = {
    "care_plan": {
        "number": "7", "as_of": "'2027-03-02'", "body": "'{}'", "edits": "'[1]'", "reason": "'other'",
        "protocol_hash": "'other'", "engine": "'2'", "drafted_by": "'other'",
        "drafted_at": "'2027-03-01 08:31:00.000000'", "signed_by": "'Dr Rao'",
        "signed_at": "'2027-03-01 08:31:00.000000'",
    },
    "sheet": {
        "issue": "7", "language": "'ar'", "printed_at": "'2027-03-01 08:31:00.000000'",
        "printed_by": "'other'", "reason": "'other'",
    },
    "sheet_choice": {"options": """'{"size": "large"}'"""},
    "record_version": {"body": "replace(body, '1955', '1956')"},
}  # fmt: skip
FREE = {
    "care_plan": {"status": "'completed'", "ended_at": "'2027-04-01 08:31:00.000000'", "ended_reason": "'x'"},
    "sheet": {
        "replaced_at": "'2027-04-01 08:31:00.000000'",
        "replaced_by_plan": "1",
    },
}


@pytest.mark.parametrize(("columns", "named"), [(BOUND, True), (FREE, False)])
def test_every_column_that_was_signed_or_issued_is_bound_and_no_other(sqlite_ward, columns, named):
    plan = sqlite_ward.signed()
    with sqlite_ward.store.write(sqlite_ward.counsellor, sqlite_ward.now) as unit:
        issue_sheet(unit, plan_id=plan.id, sheet_id="0123456789", language="en", options={"size": "normal"})
    for table, each in columns.items():
        for column, value in each.items():
            with Session(sqlite_ward.store.engine) as session:
                session.connection().execute(text(f"UPDATE {table} SET {column} = {value}"))
                found = nullcontext() if not named else pytest.raises(FollowupError, match="is not the one")
                with found:
                    verify_all(session)
                    assert not named, f"{column} of {table}"
                session.rollback()


def test_a_plan_that_nobody_signed_here_is_named(printed):
    patient = printed.enter(printed.record("K-2"))
    plan = printed.draft(patient, printed.body("K-2"))
    forged = "UPDATE care_plan SET status = 'active', signed_by = 'x', signed_at = drafted_at"
    _change(printed, f"{forged} WHERE id = {plan.id}")
    with printed.store.read() as session, pytest.raises(FollowupError, match="does not know that plan 1"):
        verify_all(session)


def test_a_sheet_that_was_taken_away_is_named(printed):
    _change(printed, "DELETE FROM sheet_choice")
    _change(printed, "DELETE FROM sheet")
    with printed.store.read() as session, pytest.raises(FollowupError, match="is not there any more"):
        verify_all(session)


def test_entries_from_before_they_held_a_hash_are_counted_as_not_verified(ward, monkeypatch):
    from followup.records.store.store import Unit

    log = Unit.log

    def as_before(self, action, subject, **details):
        kept = {key: value for key, value in details.items() if key not in ("sha256", "id")}
        log(self, action, subject, **kept)

    monkeypatch.setattr(Unit, "log", as_before)
    plan = ward.signed()
    with ward.store.write(ward.counsellor, ward.now) as unit:
        issue_sheet(unit, plan_id=plan.id, sheet_id="0123456789", language="en")
    monkeypatch.undo()
    assert _bound(ward) == Bound(plans_before=1, sheets_before=1)
    ward.signed("K-2")
    assert _bound(ward) == Bound(plans=1, plans_before=1, sheets_before=1)
