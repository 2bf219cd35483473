"""The store itself: transactions, instants, and every table there and back."""

from __future__ import annotations

import sqlite3
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, SQLModel, select

from followup.errors import FollowupError
from followup.records import tables as t
from followup.records.store.store import Store
from followup.records.views import SYSTEM, Actor

NOW = datetime(2027, 3, 1, 8, 30, 15, 123456, tzinfo=UTC)
DAY = date(2028, 2, 29)
NAME = "আমিনা بنت يوسف — Ngũgĩ 'O\"Hara'; DROP TABLE"


def _rows() -> list[SQLModel]:
    """A row of every table with every column filled, parents first."""
    return [
        t.SiteRow(id=2, code="B", name=NAME, phone_day="1", phone_night="2", address=NAME, calendar="{}"),
        t.ClinicRow(
            name=NAME,
            code="RBE",
            phone_day="1",
            phone_night="2",
            nearest_eye_clinic=NAME,
            address=NAME,
            zone="Asia/Kolkata",
            sheet_languages=["en", "bn"],
            staff_language="fr",
            is_sample=True,
            calendar='{"holidays": []}',
            cap_colours=True,
            days_to_tick=True,
            keep_years=12,
        ),
        t.StaffRow(
            id=1,
            login="sen",
            name=NAME,
            registration="R-1",
            roles=["surgeon"],
            password_hash="$argon2id$",
            active=False,
            second_key="s-1",
            second_since=NOW,
            second_step=61,
            created_at=NOW,
            site_id=2,
            language="bn",
            password_own=False,
            reset_by="ines",
            reset_at=NOW,
        ),
        t.AskedRoleRow(
            id=1,
            staff_id=1,
            roles=["counsellor"],
            asked_by="ines",
            asked_at=NOW,
            state="refused",
            decided_by="omar",
            decided_at=NOW,
        ),
        t.LoginSessionRow(
            id="a" * 64,
            staff_id=1,
            created_at=NOW,
            last_seen=NOW,
            expires_at=NOW,
            revoked_at=NOW,
            reauthenticated_at=NOW,
            browser="Phone",
            origin="192.0.2.1",
            wrong_passwords=2,
        ),
        t.PatientRow(
            id=1,
            code="K-1",
            code_key="k-1",
            name=NAME,
            search_name=NAME,
            birth_date=DAY,
            birth_year=2028,
            sex="other",
            language="bn",
            telephones=[{"number": "1", "whose": "own"}],
            record_number=1,
            entered_at=NOW,
        ),
        t.RecordVersionRow(id=1, patient_id=1, number=1, body="{}", entered_by="sen", entered_at=NOW),
        t.OperationRow(id=1, patient_id=1, eye="left", day=DAY, surgeon=NAME),
        t.TellingRow(
            id=1,
            patient_id=1,
            record_number=1,
            eye="left",
            day=DAY,
            language="en",
            text=NAME,
            asked=["operation.lens"],
            told_by="sen",
            told_at=NOW,
        ),
        t.OperationListRow(
            id=1, day=DAY, patient_code="K-1", code_key="k-1", name=NAME, eye="left", position=4
        ),
        t.CarePlanRow(
            id=1,
            patient_id=1,
            number=1,
            status="active",
            record_number=1,
            as_of=DAY,
            body="{}",
            edits="[]",
            reason=NAME,
            protocol_hash="b" * 64,
            engine="1",
            drafted_by="sen",
            drafted_at=NOW,
            signed_by=NAME,
            signed_at=NOW,
            ended_at=NOW,
            ended_reason=NAME,
            replaced_by=1,
            gist="{}",
        ),
        t.HandOutDayRow(plan_id=1, day=DAY),
        t.PatientKeyRow(key=NAME, patient_id=1),
        t.NamePartRow(part=NAME, word=NAME),
        t.TripRow(
            id=1,
            patient_id=1,
            care_plan_id=1,
            number=1,
            day=DAY,
            given=True,
            place=NAME,
            opens="09:00",
            closes="13:00",
            hour="14:30",
            window_start=DAY,
            window_end=DAY,
            status="fulfilled",
            serves=["left:week"],
            services=["review"],
            overbooked=["review"],
            tier="A",
            cannot_move=True,
            holds_places=True,
            arrived_at=NOW,
            arrival_nonce="n",
            seen_on=DAY,
            fulfilled_at=NOW,
            served=["left:week"],
            ended_reason=NAME,
            left_at=NOW,
            ended_at=NOW,
        ),
        t.PlaceRow(service=NAME, day=DAY, capacity=3, taken=2),
        t.SheetRow(
            id="0123456789",
            patient_id=1,
            care_plan_id=1,
            issue=1,
            language="ar",
            printed_at=NOW,
            printed_by="mira",
            reason=NAME,
            handed_over_at=NOW,
            handed_over_by="mira",
            handed_to=NAME,
            how="telephone",
            replaced_at=NOW,
            replaced_by_plan=1,
        ),
        t.TripTransitionRow(id=1, trip_id=1, kind="late", became_at=NOW, noticed_at=NOW),
        t.JournalRow(
            number=900,
            at=NOW,
            actor=NAME,
            action="x",
            subject="y",
            details="{}",
            previous="c" * 64,
            hash="d" * 64,
        ),
        t.ProtocolSignatureRow(
            hash="e" * 64, name=NAME, version="1", signer=NAME, registration="R", signed_by="s", signed_at=NOW
        ),
        t.WrongLoginRow(who="5a" * 32, origin="192.0.2.1", wrong=2, last_at=NOW),
        t.HeartbeatRow(name="sweep", at=NOW, ok=False, rows=7, message=NAME),
        t.LeaseRow(name="sweep", owner=NAME, expires_at=NOW),
        t.DailyRunRow(id=1, job="check", day=DAY, claimed_at=NOW, finished_at=NOW, outcome=NAME),
        t.SheetChoiceRow(sheet_id="0123456789", options={"size": "a5", "twin": True, "second": None}),
        t.OpeningRow(login="mira", patient_id=1, day=DAY),
        t.ErasedRow(
            code_key="k1",
            code="K-1",
            site_id=2,
            asked_at=NOW,
            asked_by="omar",
            kept_until=DAY,
            gone_at=NOW,
            sheets=["0123456789"],
        ),
        t.TeachBackRow(sheet_id="0123456789", shown=[0, 2], asked=4, by="mira", at=NOW),
        t.AlertRow(
            id=1,
            patient_id=1,
            kind="senior review",
            eye="left",
            day=DAY,
            trip_id=1,
            signs=["Pain.", NAME],
            words=NAME,
            opened_at=NOW,
            opened_by="omar",
            closed_at=NOW,
            closed_by="sen",
            closed_word=NAME,
        ),
        t.LeavingCheckRow(
            id=1,
            patient_id=1,
            key="left:before-leaving-pressure",
            day=DAY,
            mmhg=17.5,
            why=NAME,
            by="mira",
            at=NOW,
        ),
        t.ListMappingRow(site_id=2, name=NAME, body="{}", by="mira", at=NOW),
        t.ListImportRow(
            id="7f",
            site_id=2,
            by="mira",
            at=NOW,
            name="april.csv",
            content=b"x",
            mapping=NAME,
            body="{}",
            state="looked",
            way="good",
            touched_at=NOW,
            result="{}",
            refused=b"y",
        ),
        t.StockCountRow(site_id=2, medicine=NAME, bottles=7, by="ishaan", at=NOW),
        t.HandingRow(
            id=1,
            patient_id=1,
            plan_id=1,
            bottles=[{"course": "right:steroid", "medicine": NAME, "eye": "right", "number": 1}],
            day=DAY,
            by="lina",
            at=NOW,
            taken_back_at=NOW,
        ),
        t.ContactAttemptRow(
            id=1,
            patient_id=1,
            at=NOW,
            day=DAY,
            by="omar",
            rung=2,
            way="second contact",
            outcome="will come",
            promised=DAY,
            note=NAME,
            nonce="n",
            taken_back_at=NOW,
        ),
        t.StandingRow(patient_id=1, standing="moved away", since=NOW, by="omar", reason=NAME),
        t.MessageChoiceRow(
            patient_id=1,
            consent=True,
            reader="carer",
            channel="gateway",
            address="+44 20 7946 0101",
            changed_by="mira",
            changed_at=NOW,
            stopped_at=NOW,
        ),
        t.MessageRow(
            id=1,
            key="k",
            patient_id=1,
            kind="reminder",
            day=DAY,
            last_useful=DAY,
            language="ar",
            reader="carer",
            channel="mail",
            address="a@example.org",
            text=NAME,
            segments=2,
            state="failed",
            created_at=NOW,
            next_try=NOW,
            tries=3,
            claimed_by="x",
            claimed_until=NOW,
            sent_at=NOW,
            last_error=NAME,
        ),
    ]


def test_the_round_trip_below_covers_every_table_and_every_column():
    assert {type(row).__tablename__ for row in _rows()} == set(t.metadata.tables)
    for row in _rows():
        assert all(value is not None for value in row.model_dump().values()), type(row)


def test_every_table_gives_back_what_was_stored(address, open_store):
    store = open_store(address)
    for row in _rows():
        with Session(store.engine) as session:
            session.add(row)
            session.commit()
    for row in _rows():
        with store.read() as session:
            found = [other.model_dump() for other in session.exec(select(type(row)))]
        assert row.model_dump() in found


def test_an_instant_comes_back_in_utc_whatever_zone_it_was_given_in(store):
    kolkata = timezone(timedelta(hours=5, minutes=30))
    with store.upkeep(NOW) as unit:
        given = datetime(2027, 3, 1, 14, 0, tzinfo=kolkata)
        unit.session.add(t.HeartbeatRow(name="x", at=given, ok=True, rows=0))
    with store.read() as session:
        back = session.get(t.HeartbeatRow, "x").at
    assert back == given
    assert back.utcoffset() == timedelta(0)


def test_an_instant_without_a_zone_is_refused(store):
    with pytest.raises(ValueError, match="time zone"), store.write(SYSTEM, datetime(2027, 3, 1)):  # noqa: DTZ001
        pass


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE patient SET birth_year = NULL, birth_date = NULL",
        "UPDATE patient SET sex = 'unknown'",
        "UPDATE care_plan SET status = 'signed'",
        "UPDATE care_plan SET status = 'active', signed_by = NULL",
        "UPDATE care_plan SET record_number = 99",
        "UPDATE trip SET status = 'late'",
        "UPDATE trip SET tier = 'D'",
        "UPDATE trip SET window_start = '2030-01-01'",
        "UPDATE trip SET status = 'arrived'",
        "UPDATE trip SET patient_id = 99",
        "UPDATE operation SET eye = 'both'",
        "UPDATE clinic SET code = 'rbe'",
    ],
)
def test_the_database_itself_refuses_what_may_not_be(ward, statement):
    ward.signed()
    with ward.store.engine.connect() as connection, pytest.raises(IntegrityError):
        connection.execute(text(statement))


def test_at_most_one_plan_of_a_patient_is_in_force_whatever_the_program_does(ward):
    ward.signed()
    patient_id = 1
    ward.draft(patient_id)
    with ward.store.engine.connect() as connection, pytest.raises(IntegrityError):
        connection.execute(
            text("UPDATE care_plan SET status = 'active', signed_by = 'x', signed_at = drafted_at")
        )


def test_a_reader_sees_one_state_while_others_write(ward):
    with ward.store.read() as session:
        before = session.exec(select(t.PatientRow)).all()
        ward.enter()
        assert session.exec(select(t.PatientRow)).all() == before == []
    with ward.store.read() as session:
        assert len(session.exec(select(t.PatientRow)).all()) == 1


def test_a_conflict_in_the_database_is_told_in_one_line(store):
    with pytest.raises(FollowupError) as caught, store.write(SYSTEM, NOW) as unit:
        unit.session.add(
            t.LoginSessionRow(id="a" * 64, staff_id=99, created_at=NOW, last_seen=NOW, expires_at=NOW)
        )
    assert caught.value.code == "store.conflict"
    assert "\n" not in caught.value.line


def test_a_database_that_stays_locked_is_told_in_one_line(sqlite_store, sqlite_address, monkeypatch):
    monkeypatch.setattr("followup.records.store.engine.BUSY_MILLISECONDS", 50)
    impatient = Store.open(sqlite_address)
    blocker = sqlite3.connect(sqlite_store.engine.url.database, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    try:
        with pytest.raises(FollowupError) as caught, impatient.write(Actor("x"), NOW):
            pass
    finally:
        blocker.close()
        impatient.close()
    assert caught.value.code == "store.busy"


def test_reading_goes_on_while_a_writer_holds_the_database(sqlite_store):
    with sqlite_store.write(SYSTEM, NOW), sqlite_store.read() as session:
        assert session.get(t.ClinicRow, 1) is not None


def test_no_update_is_lost_when_many_count_at_once(store):
    with store.upkeep(NOW) as unit:
        unit.session.add(t.HeartbeatRow(name="count", at=NOW, ok=True, rows=0))
    barrier = threading.Barrier(4)

    def count(_: int) -> None:
        barrier.wait()
        for _ in range(10):
            with store.upkeep(NOW) as unit:
                statement = select(t.HeartbeatRow).where(t.HeartbeatRow.name == "count").with_for_update()
                row = unit.session.exec(statement).one()
                row.rows += 1
                unit.session.add(row)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(count, range(4)))
    with store.read() as session:
        assert session.get(t.HeartbeatRow, "count").rows == 40


def test_a_plain_postgresql_address_uses_the_driver_that_comes_with_the_program(postgres_address):
    store = Store.open(postgres_address.replace("postgresql+psycopg://", "postgresql://"))
    with store.read() as session:
        assert session.exec(select(t.ClinicRow)).all() == []
    store.close()


def test_closing_twice_does_no_harm(sqlite_address):
    store = Store.open(sqlite_address)
    store.close()
    store.close()


@pytest.mark.parametrize("elsewhere", [False, True], ids=["this server", "another one"])
def test_whoever_has_no_patience_is_refused_at_once_and_the_next_writer_waits_again(store, elsewhere):
    other = Store.open(store.engine.url.render_as_string(hide_password=False)) if elsewhere else store
    begun = time.monotonic()
    with store.upkeep(NOW), pytest.raises(FollowupError) as caught, other.upkeep(NOW, patience=0):
        pass
    assert caught.value.code == "store.busy"
    assert time.monotonic() - begun < 10
    with other.upkeep(NOW, patience=0):
        pass
    with other.upkeep(NOW) as unit:
        asked = "PRAGMA busy_timeout" if other.engine.dialect.name == "sqlite" else "SHOW lock_timeout"
        assert unit.session.execute(text(asked)).scalar_one() in (30_000, "30s")
    other.close()
