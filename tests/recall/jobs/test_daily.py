"""The day's work: once a day by one server, made up after a pause, and what makes no sense left out."""

from __future__ import annotations

import csv
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
from queue_of_messages import messages_of_day
from sqlalchemy import text

from followup.errors import FollowupError
from followup.recall.codes.codes import create_keyring
from followup.recall.jobs import daily
from followup.recall.jobs.daily import JOBS, keep_seal, kept_seal, run_due
from followup.recall.jobs.health import findings, pulse
from followup.recall.jobs.scheduler import LEASE, sweep_if_ours, work
from followup.recall.jobs.sweep import sweep
from followup.records.jobs.backup import backups
from followup.records.jobs.upkeep import daily_runs, note_heartbeat, transitions
from followup.records.people.messages import choose_messages
from followup.records.store.journal import verify_journal

NOON = 6.5


def _runs(place, since) -> dict[tuple[str, int], str]:
    with place.store.read() as session:
        return {(run.job, (run.day - since).days): run.outcome for run in daily_runs(session, since=since)}


@pytest.fixture
def ready(ward, in_hand, agreed, place_of):
    """A patient with visits on the days 1, 7 and 42 who gets messages, and the workplace."""
    plan = ward.signed()
    in_hand(ward, plan)
    agreed(ward, plan.patient_id)
    return ward, place_of(ward)


def test_each_job_runs_once_a_day_however_often_the_sweep_comes(ready):
    ward, place = ready
    for hours in (NOON, NOON + 0.1, NOON + 5):
        assert run_due(place, ward.at(6, hours)) == ()
    assert {job for job, _ in _runs(place, ward.day0)} == {job.name for job in JOBS}
    assert len(backups(place.backups)) == 1
    with (place.lists / "2027-03-07-to-reach.csv").open() as file:
        (line,) = csv.DictReader(file)
    assert (line["code"], line["kind"]) == ("K-1", "overdue")


def test_a_job_waits_for_its_hour_at_the_clinic(ready):
    ward, place = ready
    run_due(place, ward.at(6, NOON))
    # 00:45, 01:15 and 07:30 of the next day in Kolkata.
    done = []
    for hours in (19.25, 19.75, 26):
        run_due(place, ward.at(6, hours))
        done.append({job for job, day in _runs(place, ward.day0) if day == 7})
    assert done[:2] == [set(), {"integrity check"}]
    assert done[2] == {
        "integrity check",
        "nightly backup",
        "plans that are over",
        "morning list",
        "pharmacy list",
    }


def test_four_days_switched_off_are_made_up_once_in_order_and_what_makes_no_sense_is_left_out(ready):
    ward, place = ready
    run_due(place, ward.at(3, NOON))
    run_due(place, ward.at(7, NOON))
    run_due(place, ward.at(7, NOON + 1))
    runs = _runs(place, ward.day0)
    assert [day for job, day in runs if job == "day-before reminders"] == [3, 4, 5, 6, 7]
    # The reminder of day 6 about the visit of day 7 still tells the patient to come today.
    assert runs["day-before reminders", 6] == "1 queued, 0 on the call list"
    for day in (4, 5, 6):
        assert runs["morning list", day].startswith("left out: the computer was off")
    assert runs["morning list", 7] == "1 due, 1 to reach"
    assert len(backups(place.backups)) == 2


def test_a_reminder_made_up_too_late_is_left_out_and_said_so(ready):
    ward, place = ready
    run_due(place, ward.at(3, NOON))
    run_due(place, ward.at(9, NOON))
    assert _runs(place, ward.day0)["day-before reminders", 6] == (
        "0 queued, 0 on the call list, 1 left out: too late to be of use"
    )


def test_whoever_agrees_after_the_days_messages_were_written_is_told_the_same_day_and_once(
    sqlite_ward, in_hand, place_of, monkeypatch
):
    ward, reminders = sqlite_ward, [job for job in JOBS if job.name == "day-before reminders"]
    monkeypatch.setattr(daily, "JOBS", tuple(reminders))
    plan = ward.signed()
    in_hand(ward, plan)
    place, said = place_of(ward), []
    for hours in (NOON, NOON + 1, NOON + 2, NOON + 3):
        if hours == NOON + 1:
            with ward.store.write(ward.reception, ward.at(6, NOON + 0.5)) as unit:
                choose_messages(unit, patient_id=plan.patient_id, consent=True, channel="folder")
        assert run_due(place, ward.at(6, hours)) == ()
        said.append(_runs(place, ward.day0)["day-before reminders", 6])
    since = "; asked again since somebody agreed: 1 queued, 0 on the call list"
    assert said == ["0 queued, 1 on the call list", *[f"0 queued, 1 on the call list{since}"] * 3]
    with ward.store.read() as session:
        assert len(messages_of_day(session, ward.day(6))) == 1


def test_two_servers_at_once_do_the_days_work_once(ward, in_hand, agreed, place_of, open_store):
    plan = ward.signed()
    in_hand(ward, plan)
    agreed(ward, plan.patient_id)
    place = place_of(ward)
    other = replace(place, store=open_store(ward.store.engine.url.render_as_string(hide_password=False)))
    with ThreadPoolExecutor(4) as pool:
        failed = list(pool.map(lambda one: run_due(one, ward.at(6, NOON)), (place, other, place, other)))
    assert failed == [()] * 4
    assert len(backups(place.backups)) == 1
    with ward.store.read() as session:
        assert len(messages_of_day(session, ward.day(6))) == 2


def test_a_run_whose_server_died_is_taken_over_after_half_an_hour(ready, monkeypatch):
    ward, place = ready

    def dies(*_):
        raise SystemExit

    job = replace(JOBS[0], run=dies)
    monkeypatch.setattr(daily, "JOBS", (job,))
    monkeypatch.setattr(daily, "reclaim_daily_run", lambda *_, **__: False)
    with pytest.raises(SystemExit):
        run_due(place, ward.at(6, NOON))
    monkeypatch.undo()
    run_due(place, ward.at(6, NOON + 0.4))
    assert _runs(place, ward.day0)["integrity check", 6] == ""
    run_due(place, ward.at(6, NOON + 0.5))
    assert _runs(place, ward.day0)["integrity check", 6].startswith("the journal is whole")


def test_a_job_that_fails_is_named_tried_again_and_keeps_back_no_other(ready, monkeypatch):
    ward, place = ready
    monkeypatch.setattr(
        daily, "take_backup", lambda *_, **__: (_ for _ in ()).throw(FollowupError("x", "disk full"))
    )
    work(place, "a", lambda: ward.at(6, NOON))
    assert run_due(place, ward.at(6, NOON + 0.1)) == ("nightly backup: disk full",)
    assert ("morning list", 6) in _runs(place, ward.day0)
    with ward.store.read() as session:
        from followup.records.jobs.upkeep import heartbeat

        assert heartbeat(session, "daily work").message == "nightly backup: disk full"
    monkeypatch.undo()
    assert run_due(place, ward.at(6, NOON + 0.2)) == ()
    assert len(backups(place.backups)) == 1


# Clocks


@pytest.mark.usefixtures("database_kind")
def test_a_clock_that_ran_four_days_ahead_and_came_back_loses_and_doubles_nothing(ready):
    ward, place = ready
    now, ahead = ward.at(3, NOON), ward.at(7, NOON)
    for moment in (now, ahead, now + timedelta(minutes=2)):
        assert sweep_if_ours(ward.store, f"server {moment}", moment, place=place) is not None
    with ward.store.read() as session:
        assert [one.became_at for one in transitions(session)] == [ward.at(1, 18.5)]
    # Day by day as if the clock had never been wrong.
    for day in range(4, 10):
        sweep_if_ours(ward.store, "b", ward.at(day, NOON), place=place)
    with ward.store.read() as session:
        verify_journal(session)
        kinds = [(one.kind, one.became_at) for one in transitions(session)]
        sent = [one.key for day in range(10) for one in messages_of_day(session, ward.day(day))]
    assert kinds == sorted(set(kinds), key=lambda one: one[1])
    assert [kind for kind, _ in kinds] == ["overdue", "late"]
    assert len(sent) == len(set(sent))
    runs = _runs(place, ward.day0)
    assert [day for job, day in runs if job == "integrity check"] == [3, 4, 5, 6, 7, 8, 9]


def test_a_lease_taken_by_a_clock_that_ran_ahead_is_no_lease(ward):
    assert sweep_if_ours(ward.store, "a", ward.at(9)) is not None
    assert sweep_if_ours(ward.store, "b", ward.at(5)) is not None
    assert sweep_if_ours(ward.store, "c", ward.at(5) + LEASE - timedelta(seconds=1)) is None


# Cut-off tail, pulse and findings


def test_entries_cut_off_at_the_end_show_against_the_seal_kept_outside(ready, unguard_journal):
    ward, place = ready
    with ward.store.read() as session:
        keep_seal(place.seal, session)
    with ward.store.engine.begin() as connection:
        unguard_journal(connection)
        connection.execute(text("DELETE FROM journal WHERE number > 4"))
    with ward.store.read() as session:
        assert verify_journal(session).entries == 4
        with pytest.raises(FollowupError, match=r"entry 5 and all up to \d+ were cut off"):
            verify_journal(session, at_least=kept_seal(place.seal))
    assert "cut off" in run_due(place, ward.at(6, NOON))[0]
    codes = {one.code for one in findings(place, place.folder / "keys.json", ward.at(6, NOON))}
    assert "E06" in codes


def test_a_journal_written_anew_from_the_start_shows_against_the_seal(ready):
    ward, place = ready
    with ward.store.read() as session:
        seal = keep_seal(place.seal, session)
        with pytest.raises(FollowupError, match="sealed elsewhere"):
            verify_journal(session, at_least=replace(seal, hash="f" * 64))


@pytest.mark.parametrize(
    ("minutes", "ok", "state"),
    [
        (None, True, "the sweep has never run"),
        (3, True, "ok"),
        (3.1, True, "the sweep is not running"),
        (0, False, "the sweep fails"),
        (-6, True, "the last sweep lies in the future: a clock is wrong"),
    ],
)
def test_a_dead_sweeper_is_told_from_a_live_one(store, minutes, ok, state):
    from datetime import UTC, datetime

    now = datetime(2027, 3, 1, tzinfo=UTC)
    if minutes is not None:
        with store.upkeep(now - timedelta(minutes=minutes)) as unit:
            note_heartbeat(unit, name="sweep", ok=ok, rows=0)
    with store.read() as session:
        assert pulse(session, now).state == state


def test_a_clinic_where_all_is_well_has_no_errors(ready):
    ward, place = ready
    keys = place.folder / "keys.json"
    place.folder.mkdir()
    create_keyring(keys)
    now = ward.at(6, NOON)
    ward.log_in(ward.at(6, 4))
    sweep(ward.store, now)
    work(place, "a", lambda: now)
    assert [one for one in findings(place, keys, now) if one.is_error] == []


def test_every_trouble_has_its_number_and_what_to_do(ready):
    ward, place = ready
    place.folder.mkdir()
    now = ward.at(6, NOON)
    with ward.store.write(ward.counsellor, now + timedelta(hours=5)) as unit:
        unit.log("written by a clock that ran ahead", "clinic")
    found = {one.code: one for one in findings(place, place.folder / "keys.json", now)}
    assert {"E01", "E05", "W07", "E11", "E12"} <= set(found)
    assert all(one.fix for one in found.values())
    assert list(found) == sorted(found, key=lambda code: code[1:])
