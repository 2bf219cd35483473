"""A patient asks to be erased: what goes at once, what is kept until when, and that the rest stays whole."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from followup.clinical.day_plan import Bottle
from followup.errors import FollowupError
from followup.records.desk.alerts import open_alert
from followup.records.desk.attempts import note_attempt, set_standing
from followup.records.desk.erasing import contact_erased, erase, erased_sheet, erasing_of
from followup.records.desk.handing import GivenBottle, note_given
from followup.records.desk.leaving_checks import note_leaving
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.people.keeping import keeping_rule, kept_until
from followup.records.people.messages import choose_messages, message_choice, queue_message
from followup.records.people.opening import note_opening
from followup.records.people.oplist import ListLine, put_operation_list
from followup.records.people.patients import newest_record, patient_by_code
from followup.records.people.tellings import keep_telling
from followup.records.plans.bound import Bound, verify_all
from followup.records.plans.desk_notes import note_teach_back
from followup.records.plans.sheets import find_sheet, hand_over_sheet, issue_sheet
from followup.records.store.copying import carry
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.records.tables import metadata
from followup.records.views import SYSTEM

SHEET = "0123456789"
TURNED = "trip_id, kind, became_at, noticed_at"
PHONE = {"number": "+44 20 7946 0111", "whose": "carer"}
# Whatever of the person must be nowhere afterwards, in no table and no file.
CALLED = "rang his uncle"
TOLD = "Her aunt held her hand"
CONTACT = ("7946 0111", "11106497", "Tomasz Brook", CALLED, "hello@example.org", "come tomorrow")


@pytest.fixture
def person(ward):
    """K-1, of whom every table that speaks of patients holds something, not followed any more; and K-2."""
    helper = {"who": "relative", "name": "Tomasz Brook"}
    number = ward.enter(ward.record(telephones=[PHONE], drops_by=helper))
    day = ward.day0
    bottle = Bottle(course="right:steroid", number=1, opened=day, discard=day, drops=4, handed_over=day)
    plan = ward.sign(ward.draft(number, ward.body(supply=(bottle,))).id)
    ward.signed("K-2")
    trip = ward.trips(plan)[0]
    with ward.store.write(SYSTEM, ward.now) as unit:
        put_operation_list(unit, day=ward.day0, lines=[ListLine("K-1", "Wanjiru Ndegwa", "right")])
    with ward.store.write(ward.everybody, ward.now) as unit:
        issue_sheet(unit, plan_id=plan.id, sheet_id=SHEET, language="en", options={"size": "normal"})
        hand_over_sheet(unit, sheet_id=SHEET, to="her sister")
        note_teach_back(unit, sheet_id=SHEET, shown=[0], asked=2)
        choose_messages(unit, patient_id=number, consent=True, channel="mail", address="hello@example.org")
        note_attempt(
            unit,
            patient_id=number,
            rung=0,
            way="call",
            outcome="no answer",
            nonce="n" * 20,
            note=CALLED,
            number=PHONE["number"],
        )
        open_alert(
            unit, patient_id=number, kind="senior review", day=ward.day0, signs=["pus"], trip_id=trip.id
        )
        note_leaving(unit, patient_id=number, key="right:pressure", mmhg=18.0, why="")
        note_opening(unit, patient_id=number, day=ward.day0)
        version = newest_record(unit.session, number)
        keep_telling(unit, version, eye="right", day=ward.day0, language="en", text=f"Phaco. {TOLD}.")
        set_standing(unit, patient_id=number, standing="moved away", reason="lives elsewhere now")
    with ward.store.write(ward.pharmacy, ward.now) as unit:
        bottle = GivenBottle("right:steroid", "prednisolone", "right", 1)
        note_given(unit, patient_id=number, plan_id=plan.id, bottles=[bottle])
    with ward.store.write(SYSTEM, ward.now) as unit:
        queue_message(
            unit,
            patient_code="K-1",
            patient_id=number,
            kind="reminder",
            day=ward.day0,
            last_useful=ward.day0,
            next_try=unit.now,
            language="en",
            reader="patient",
            channel="mail",
            address="hello@example.org",
            text="come tomorrow",
            segments=1,
            key="k",
        )
        unit.session.execute(
            text(f"INSERT INTO trip_transition ({TURNED}) VALUES (:t, :k, :n, :n)"),
            {"t": trip.id, "k": "late", "n": "2027-03-03 00:00:00.000000"},
        )
        unit.log("done", "clinic")
    return ward


def _stored(store: Store, tables=None) -> dict[str, str]:
    """Every row as text, by table; the journal apart, which nobody may change."""
    with store.read() as session:
        return {
            name: repr(session.execute(text(f'SELECT * FROM "{name}"')).all())
            for name in metadata.tables
            if name not in ("journal", "erased")
        }


def _of_patients() -> set[str]:
    """The tables whose rows belong to a patient, however far away."""
    found = {"patient", "operation_list"}
    while True:
        more = {
            name
            for name, table in metadata.tables.items()
            if any(key.column.table.name in found - {"operation_list"} for key in table.foreign_keys)
        }
        if more <= found:
            return found
        found |= more


def _erase(ward, now, code: str = "k-1"):
    with ward.store.write(SYSTEM, now) as unit:
        return erase(unit, code=code)


def _whole(ward) -> Bound:
    with ward.store.read() as session:
        return verify_all(session).bound


def test_what_is_not_the_record_goes_at_once_and_the_record_is_kept_and_verified(person):
    before, whole = _stored(person.store), _whole(person)
    assert all(any(word in rows for rows in before.values()) for word in CONTACT)
    done = _erase(person, person.at(3))
    assert (done.code, done.gone_at, done.kept_until) == ("K-1", None, date(2037, 3, 1))
    after = _stored(person.store)
    assert [word for word in CONTACT for rows in after.values() if word in rows] == []
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {
        "patient",
        "patient_key",
        "record_version",
        "message",
        "message_choice",
        "contact_attempt",
    }
    assert _whole(person) == whole
    with person.store.read() as session:
        found = find_sheet(session, SHEET)
        assert (found.patient.name, found.patient.telephones) == ("Wanjiru Ndegwa", ())
        assert message_choice(session, found.patient.id) is None
        assert contact_erased(session, found.patient.id).kept_until == date(2037, 3, 1)
        (entry,) = session.execute(text("SELECT details FROM journal WHERE action = 'patient erased'")).all()
    assert json.loads(entry[0])["what"] == "contact"


def test_what_is_changed_after_the_erasing_is_named_as_before(person):
    _erase(person, person.at(3))
    with person.store.engine.begin() as connection:
        connection.execute(text("UPDATE record_version SET body = replace(body, '1955', '1956')"))
    with person.store.read() as session, pytest.raises(FollowupError, match="plan 1 is not the one"):
        verify_all(session)


def test_after_the_years_of_the_record_nothing_of_the_person_is_left_but_the_code(person, tmp_path):
    day_after = person.at(3) + timedelta(days=3653)
    assert {name for name in _of_patients() if _stored(person.store)[name] == "[]"} == set()
    rows = _whole(person)
    done = _erase(person, day_after)
    assert (done.record_goes, done.gone_at) == (True, day_after)
    after = _stored(person.store)
    mine = [name for name in after if "K-1" in after[name] or "k1" in after[name]]
    assert mine == [], "a table still names the code"
    gone = (*CONTACT, "lives elsewhere", TOLD)
    assert [word for word in gone for kept in after.values() if word in kept] == []
    # K-2 bears the same invented name, and nothing of hers is touched.
    assert {name: after[name].count("Wanjiru Ndegwa") for name in after if "Wanjiru" in after[name]} == {
        "patient": 1,
        "record_version": 1,
    }
    assert _whole(person) == replace(rows, plans=rows.plans - 1, sheets=rows.sheets - 1)
    with person.store.read() as session:
        assert patient_by_code(session, "K-1") is None
        assert find_sheet(session, SHEET) is None
        assert erased_sheet(session, SHEET) == day_after
        assert erased_sheet(session, "9876543210") is None
        assert erasing_of(session, "K-1", day_after).gone_at == day_after


def test_the_file_itself_holds_nothing_of_the_person_any_more(sqlite_ward):
    ward = sqlite_ward
    ward.enter(ward.record(name="Zephyrine Quillfeather", telephones=[PHONE]))
    ward.enter(ward.record("K-2"))
    path = Path(ward.store.engine.url.database)
    ward.store.settle()
    assert b"Quillfeather" in path.read_bytes()
    _erase(ward, ward.at(3) + timedelta(days=3660))
    ward.store.settle()
    left = b"".join(one.read_bytes() for one in path.parent.glob(f"{path.name}*"))
    assert b"Quillfeather" not in left
    assert b"7946 0111" not in left
    # What it was compared with is there: this is the file.
    assert b"Ndegwa" in left


def test_a_gone_plan_that_no_erasing_speaks_of_is_still_missed(person):
    _erase(person, person.at(3))
    with person.store.engine.begin() as connection:
        connection.execute(text("UPDATE sheet SET care_plan_id = care_plan_id"))
        for table in ("handing", "hand_out_day", "trip_transition", "alert", "trip"):
            connection.execute(text(f"DELETE FROM {table}"))
        for table in ("teach_back", "sheet_choice", "sheet", "care_plan"):
            connection.execute(text(f"DELETE FROM {table}"))
    with person.store.read() as session, pytest.raises(FollowupError, match="is not there any more"):
        verify_all(session)


def test_whoever_is_followed_is_not_erased_and_a_code_that_is_gone_is_given_to_nobody_else(person):
    with person.store.read() as session:
        assert erasing_of(session, "K-2", person.at(3)).followed
        assert not erasing_of(session, "K-1", person.at(3)).followed
    assert person.would(person.at(3), erase, by=SYSTEM, code="K-2") == "erase.followed"
    late = person.at(3) + timedelta(days=3660)
    _erase(person, late)
    assert person.would(late, erase, by=SYSTEM, code="K-1") == "erase.gone"
    assert person.would(late, erase, by=SYSTEM, code="K-9") == "patient.unknown"
    with pytest.raises(FollowupError) as caught:
        person.enter(person.record("k-1"))
    assert caught.value.code == "record.exists"


@pytest.mark.parametrize("status", ["draft", "on-hold"])
def test_whoever_waits_for_a_plan_or_is_followed_by_hand_is_not_erased(ward, status):
    number = ward.enter(ward.record(telephones=[PHONE]))
    ward.draft(number)
    with ward.store.engine.begin() as connection:
        connection.execute(text(f"UPDATE care_plan SET status = '{status}'"))
    assert ward.would(ward.now, erase, by=SYSTEM, code="K-1") == "erase.followed"
    with ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE care_plan SET status = 'revoked'"))
    assert not ward.would(ward.now, erase, by=SYSTEM, code="K-1").followed


def test_what_is_erased_is_not_erased_twice_but_a_number_that_was_written_down_again_is(person):
    _erase(person, person.at(3))
    assert person.would(person.at(3), erase, by=SYSTEM, code="K-1") == "erase.gone"
    with person.store.write(person.reception, person.at(4)) as unit:
        number = patient_by_code(unit.session, "K-1").id
        choose_messages(unit, patient_id=number, consent=True, channel="mail", address="hello@example.org")
    assert _erase(person, person.at(5)).asked_at == person.at(3)
    assert "hello@" not in "".join(_stored(person.store).values())


@pytest.mark.parametrize("again", [{"note": CALLED}, {"number": PHONE["number"]}])
def test_a_call_that_was_written_down_again_can_be_erased_again(person, again):
    _erase(person, person.at(3))
    with person.store.engine.begin() as connection:
        for column, value in again.items():
            connection.execute(text(f"UPDATE contact_attempt SET {column} = :value"), {"value": value})
    _erase(person, person.at(4))
    assert [
        word for word in (CALLED, PHONE["number"]) if word in "".join(_stored(person.store).values())
    ] == []


def test_the_last_visit_is_a_day_of_the_clinic_and_names_stay_as_they_were_written(ward):
    number = ward.enter(ward.record(name="Zoë Ndegwa", telephones=[PHONE]))
    with ward.store.engine.begin() as connection:
        # Ten in the evening in Greenwich is the next morning in Kolkata.
        late = {"at": "2027-03-04 22:00:00.000000", "id": number}
        connection.execute(text("UPDATE record_version SET entered_at = :at WHERE patient_id = :id"), late)
    with ward.store.read() as session:
        assert erasing_of(session, "K-1", ward.at(9)).last_seen == date(2027, 3, 5)
    _erase(ward, ward.at(9))
    assert "Zoë Ndegwa" in _stored(ward.store)["record_version"]


def test_asked_before_the_years_are_over_and_again_after_them_both_are_done(person):
    asked = person.at(3)
    _erase(person, asked)
    done = _erase(person, person.at(3) + timedelta(days=3660))
    assert (done.asked_at, done.gone_at) == (asked, person.at(3) + timedelta(days=3660))
    assert _whole(person) == Bound(plans=1)


@pytest.mark.parametrize(
    ("seen", "born", "birth_year", "years", "until"),
    [
        # The last visit and ten years: common practice, from memory; the clinic's own law goes before it.
        ([date(2027, 3, 1), date(2027, 4, 12)], date(1955, 5, 5), None, None, date(2037, 4, 12)),
        ([date(2027, 3, 1)], None, 1955, None, date(2037, 3, 1)),
        ([date(2027, 3, 1)], None, 1955, 3, date(2030, 3, 1)),
        ([date(2027, 3, 1)], None, 1955, 30, date(2057, 3, 1)),
        # A child: from the eighteenth birthday; where only the year is known from the end of that year.
        ([date(2027, 3, 1)], date(2017, 6, 9), None, None, date(2045, 6, 9)),
        ([date(2027, 3, 1)], None, 2017, None, date(2045, 12, 31)),
        # Seen last after that birthday: from the last visit.
        ([date(2027, 3, 1)], date(2009, 2, 28), None, None, date(2037, 3, 1)),
        ([date(2028, 2, 29)], None, 1955, None, date(2038, 2, 28)),
        ([date(2027, 3, 1)], date(2016, 2, 29), None, None, date(2044, 2, 28)),
    ],
)
def test_a_record_is_kept_for_years_after_the_last_visit_and_a_childs_after_majority(
    seen, born, birth_year, years, until
):
    assert kept_until(seen, born=born, birth_year=birth_year, years=years) == until


def test_the_rule_says_what_it_rests_on_and_that_the_law_of_the_place_goes_before_it():
    rule = keeping_rule()
    assert (rule.years, rule.majority, rule.mark) == (10, 18, "C")
    assert "law" in rule.source
    assert rule.because


def test_the_clinics_own_years_decide_and_a_later_visit_puts_the_end_off(person):
    with person.store.write(SYSTEM, person.now) as unit:
        put_clinic(unit, replace(get_clinic(unit.session), keep_years=3))
    with person.store.engine.begin() as connection:
        connection.execute(text("UPDATE trip SET seen_on = '2028-02-29' WHERE number = 2"))
    with person.store.read() as session:
        # Of the future nothing counts: that clock was wrong.
        assert erasing_of(session, "K-1", person.at(3)).kept_until == date(2030, 3, 1)
        found = erasing_of(session, "K-1", person.at(400))
        assert (found.last_seen, found.kept_until) == (date(2028, 2, 29), date(2031, 2, 28))
        assert not erasing_of(session, "K-1", person.at(3) + timedelta(days=365 * 4 - 5)).record_goes
    for years in (0, 101):
        assert (
            person.would(person.now, put_clinic, by=SYSTEM, clinic=replace(_clinic(person), keep_years=years))
            == "clinic.years"
        )


def _clinic(ward):
    with ward.store.read() as session:
        return get_clinic(session)


def test_a_store_that_was_moved_or_put_back_knows_who_was_erased(person, tmp_path, open_store):
    _erase(person, person.at(3) + timedelta(days=3660))
    target = open_store(sqlite_url(tmp_path / "new.db"))
    carry(person.store.engine, target.engine)
    with target.read() as session:
        assert erased_sheet(session, SHEET) is not None
        assert verify_all(session).bound == Bound(plans=1)
