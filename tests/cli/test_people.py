"""The lists and messages of a clinic with people in it, as the command line says them and changes them."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import stat
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from sqlmodel import select

from followup.cli.backup import _refuse_while_served
from followup.cli.files import write_out
from followup.cli.opening import clinic_today
from followup.cli.workplace import load_mail, ways_out, workplace
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.recall.jobs.sweep import Swept
from followup.recall.messages.channels import FolderSender, GatewaySender, MailSender
from followup.recall.messages.sending import queue_day
from followup.records.desk.attempts import set_standing
from followup.records.jobs.upkeep import release_lease, take_lease
from followup.records.people.messages import message_choice
from followup.records.people.opening import note_opening
from followup.records.people.patients import patient_by_code
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.tables import PatientRow
from followup.records.views import Actor
from followup.settings import load_settings

PHONES = [{"number": "+44 20 7946 0102"}, {"number": "+44 20 7946 0103", "whose": "carer"}]


@pytest.fixture
def people(sqlite_ward, inside):
    """K-1 with both eyes and K-2 with the left, visits on the days 1 and 7; runs commands on their clinic."""
    ward = sqlite_ward
    for code, eyes, phones in (("K-1", ("right", "left"), PHONES), ("K-2", ("left",), [])):
        first = ward.record(code, telephones=phones).model_dump(mode="json")
        operations = [{**first["operations"][0], "eye": eye, "eye_drawn": eye} for eye in eyes]
        number = ward.enter(Record.model_validate({**first, "operations": operations}))
        needs = tuple(
            ward.need(kind, on, last, eye=eye, key=f"{eye}:{kind}", tier=tier)
            for kind, on, last, tier in (("look", 1, 2, "B"), ("macula", 7, 9, "C"))
            for eye in eyes
        )
        looks = [[need for need in needs if need.kind == kind] for kind in ("look", "macula")]
        trips = (ward.visit(1, 1, *looks[0]), ward.visit(2, 7, *looks[1]))
        plan = ward.sign(ward.draft(number, ward.body(code, needs=needs, trips=trips)).id)
        with ward.store.write(ward.counsellor, ward.now) as unit:
            issue_sheet(unit, plan_id=plan.id, sheet_id=f"{plan.id:010d}", language="en")
            hand_over_sheet(unit, sheet_id=f"{plan.id:010d}", to="self")
    address = {"FOLLOWUP_DATABASE_URL": ward.store.engine.url.render_as_string(hide_password=False)}

    def call(*arguments: str) -> str:
        done = inside(*arguments, **address)
        assert (done.returncode, done.stderr) == (0, "")
        return done.stdout

    call.address = address
    return call


def test_the_days_visits_are_printed_with_eye_standing_last_day_and_telephones(people) -> None:
    assert people("due", "--on", "2027-03-02").splitlines() == [
        "Tuesday 2 March 2027: 2 visits",
        "K-1 Wanjiru Ndegwa, 71-72, both eyes: due today; visit 1 for look; last day Wednesday 3 March 2027; "
        "own: +44 20 7946 0102 and carer: +44 20 7946 0103",
        "K-2 Wanjiru Ndegwa, 71-72, left eye: due today; visit 1 for look; last day Wednesday 3 March 2027; "
        "no telephone",
    ]
    assert people("due", "--on", "2027-03-09") == "Tuesday 9 March 2027: 0 visits\n"
    lines = json.loads(people("due", "--on", "2027-03-08", "--json"))
    assert [(line["code"], line["eyes"], line["visit"], line["last_day"]) for line in lines] == [
        ("K-1", ["right", "left"], 2, "2027-03-10"),
        ("K-2", ["left"], 2, "2027-03-10"),
    ]


def test_whom_to_reach_is_printed_with_the_reason_and_what_is_next(people) -> None:
    assert people("overdue", "--on", "2027-03-03") == "Wednesday 3 March 2027: 0 people to reach\n"
    why = (
        "Overdue for 1 day: the last day for this check was Wednesday 3 March 2027. "
        "Next: call, from Thursday 4 March 2027 on. For look."
    )
    assert people("overdue", "--on", "2027-03-04").splitlines() == [
        "Thursday 4 March 2027: 2 people to reach",
        f"overdue: K-1 Wanjiru Ndegwa, 71-72, both eyes. {why} "
        "own: +44 20 7946 0102 and carer: +44 20 7946 0103.",
        f"overdue: K-2 Wanjiru Ndegwa, 71-72, left eye. {why} No telephone.",
    ]
    lines = json.loads(people("overdue", "--on", "2027-03-06", "--json"))
    assert [(line["code"], line["tier"], line["days"], line["since"]) for line in lines] == [
        ("K-1", "B", 3, "2027-03-04"),
        ("K-2", "B", 3, "2027-03-04"),
    ]


def test_a_day_that_is_asked_for_is_the_clinics_own_wherever_it_lies(people, sqlite_ward) -> None:
    sqlite_ward.in_zone("Pacific/Kiritimati")
    assert people("overdue", "--on", "2027-03-03") == "Wednesday 3 March 2027: 0 people to reach\n"
    told = people("overdue", "--on", "2027-03-04").splitlines()
    assert told[0] == "Thursday 4 March 2027: 2 people to reach"


def _choice(ward, number: int):
    with ward.store.read() as session:
        found = message_choice(session, number)
    return found and (found.wants_messages, found.reader, found.channel, found.address)


def test_who_agrees_and_who_stops_is_written_down_for_this_patient_and_number(people, sqlite_ward) -> None:
    own, carers = "+44 20 7946 0102", "+44 20 7946 0103"
    said = people("messages", "agree", "K-1", "--by", "gateway", "--to", own)
    assert said == "K-1 gets messages by gateway.\n"
    assert _choice(sqlite_ward, 1) == (True, "patient", "gateway", own)
    people("messages", "agree", "K-2", "--by", "gateway", "--to", carers, "--carer")
    assert _choice(sqlite_ward, 2) == (True, "carer", "gateway", carers)
    assert people("messages", "stop", "K-1") == "K-1 gets no more messages.\n"
    assert _choice(sqlite_ward, 1) == (False, "patient", "gateway", own)
    assert _choice(sqlite_ward, 2) == (True, "carer", "gateway", carers)


def test_the_call_list_of_a_day_holds_whoever_gets_no_message(people) -> None:
    def called(*arguments: str) -> list[tuple[str, str]]:
        table = csv.DictReader(io.StringIO(people("messages", "calls", *arguments)))
        return [(line["code"], line["telephones"]) for line in table]

    k_1 = ("K-1", "own: +44 20 7946 0102; carer: +44 20 7946 0103")
    assert called("reminder", "--on", "2027-03-01") == [k_1, ("K-2", "")]
    people("messages", "agree", "K-2", "--by", "folder")
    assert called("reminder", "--on", "2027-03-01") == [k_1]
    assert called("reminder", "--on", "2027-03-02") == []
    assert called("missed", "--on", "2027-03-03") == []
    assert called("missed", "--on", "2027-03-04") == [k_1]


def test_what_could_not_be_sent_is_printed_with_its_number_and_the_last_error(people, sqlite_ward) -> None:
    people("messages", "agree", "K-1", "--by", "gateway", "--to", "+44 20 7946 0102")
    day, now = date(2027, 3, 1), sqlite_ward.at(0)
    assert queue_day(sqlite_ward.store, "reminder", day, now, load_protocol()).new == 1
    line = "K-1: reminder for 2027-03-01, {} to +44 20 7946 0102: {}\n"
    for tries, words in ((0, "0 tries"), (1, "1 try"), (2, "2 tries")):
        with sqlite_ward.store.engine.begin() as connection:
            connection.exec_driver_sql(
                "UPDATE message SET state = 'failed', tries = ?, last_error = ?",
                (tries, "busy" if tries else ""),
            )
        told = line.format(f"failed after {words}", "busy" if tries else "not tried yet")
        assert people("messages", "unsent") == f"1 message not sent\n{told}"


def test_a_visit_that_can_not_be_read_makes_the_sweep_end_with_a_fault(people, inside, monkeypatch) -> None:
    monkeypatch.setattr("followup.cli.clinic.work", lambda *_: None)
    for failed, code, error in (((), 0, ""), ((4, 7), 1, "followup: visits that can't be read: 4 and 7\n")):
        monkeypatch.setattr("followup.cli.clinic.run_sweep", lambda *_, f=failed: Swept(1, 3, f))
        done = inside("sweep", **people.address)
        assert (done.returncode, done.stderr) == (code, error)
        assert done.stdout == "1 open visit looked at, 3 newly noted.\n"


def test_what_is_written_for_somebody_is_its_owners_alone_and_never_over_the_record(tmp_path) -> None:
    record, out = tmp_path / "record.json", tmp_path / "sheet.pdf"
    record.write_text("{}")
    before = os.umask(0)
    try:
        write_out(out, b"one", never=str(record))
        write_out(out, b"another", never=str(record))
    finally:
        os.umask(before)
    assert (stat.S_IMODE(out.stat().st_mode), out.read_bytes()) == (0o600, b"another")
    for place in (record, tmp_path):
        with pytest.raises(FollowupError, match="it is"):
            write_out(place, b"one", never=str(record))
    assert record.read_text() == "{}"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["record.json", "sheet.pdf"]


def test_a_lease_keeps_a_backup_out_while_a_living_server_can_hold_it(sqlite_ward, people) -> None:
    """Two and a half minutes a server takes it for; one that runs for more than twice that was a clock's."""
    target, now = Path(sqlite_ward.store.engine.url.database), sqlite_ward.at(3)
    tick, longest = timedelta(microseconds=1), timedelta(minutes=5)
    for left, refused in (
        (timedelta(0), False),
        (tick, True),
        (longest, True),
        (longest + tick, False),
    ):
        with sqlite_ward.store.upkeep(now) as unit:
            release_lease(unit, name="sweep", owner="a")
            assert take_lease(unit, name="sweep", owner="a", lifetime=left)
        if refused:
            with pytest.raises(FollowupError, match="is at work on this database"):
                _refuse_while_served(target, now)
        else:
            _refuse_while_served(target, now)


def test_the_journal_tells_how_many_plans_and_sheets_are_as_they_were_signed(people) -> None:
    whole, bound = people("journal", "verify").splitlines()
    assert whole.startswith("The journal is whole: ")
    assert bound == "As they were signed and issued, by their hash: 2 plans, 2 sheets"


def test_the_journal_of_a_patient_says_who_did_and_who_opened_what_and_holds_no_name(
    people, sqlite_ward, inside
) -> None:
    now = sqlite_ward.at(3)
    with sqlite_ward.store.write(Actor("mira", frozenset({"counsellor"}), "Mira"), now) as unit:
        (patient_id,) = unit.session.exec(select(PatientRow.id).where(PatientRow.code == "K-1"))
        note_opening(unit, patient_id=patient_id, day=now.date())
    told = people("journal", "show", "k-1").splitlines()
    assert told[0].split("  ")[2] == "record entered"
    assert re.fullmatch(r"2027-03-0\d \d\d:\d\d  mira  record opened", told[-1])
    with sqlite_ward.store.read() as session:
        names = session.exec(select(PatientRow.name)).all()
    assert [name for name in names for line in told if name in line] == []
    nobody = inside("journal", "show", "K-99", **people.address)
    assert (nobody.returncode, nobody.stderr) == (
        2,
        "followup: K-99: the journal tells nothing of this code - check the code\n",
    )


def test_erasing_says_first_what_goes_and_does_it_only_when_told_so(people, sqlite_ward, inside) -> None:
    followed = people("erase", "K-1")
    assert "Nothing can be erased while the patient is followed" in followed
    with sqlite_ward.store.write(sqlite_ward.reception, sqlite_ward.at(3)) as unit:
        (number,) = unit.session.exec(select(PatientRow.id).where(PatientRow.code == "K-1"))
        set_standing(unit, patient_id=number, standing="moved away", reason="far away now")
    assert people("erase") == "Nobody asked to be erased.\n"
    first, *_, last = people("erase", "k-1").splitlines()
    assert (first, last) == ("K-1 Wanjiru Ndegwa", "Nothing is erased yet: add --yes to do it.")
    with sqlite_ward.store.read() as session:
        assert len(patient_by_code(session, "K-1").telephones) == 2
    said = people("erase", "K-1", "--yes")
    assert "is kept until" in said
    assert "Backups and daily lists of before still hold it." in said
    assert "Nothing is erased yet" not in said
    with sqlite_ward.store.read() as session:
        assert patient_by_code(session, "K-1").telephones == ()
    assert people("erase").startswith("K-1: contact went on ")
    again = inside("erase", "K-1", "--yes", **people.address)
    assert (again.returncode, "erased already" in again.stderr) == (2, True)
    assert people("journal", "verify").startswith("The journal is whole")
    assert "patient erased" in people("journal", "show", "K-1")


WAYS = {
    "gateway": ("gateway", 'url = "https://gateway.example/"', GatewaySender),
    "mail": ("mail", 'host = "mail.example"\nport = 587\nsender = "clinic@example.org"', MailSender),
    "outbox": ("folder", None, FolderSender),
}


@pytest.mark.parametrize("given", WAYS)
def test_a_way_out_that_is_described_is_offered_and_used_for_its_own_messages_alone(tmp_path, given) -> None:
    way, content, kind = WAYS[given]
    path = tmp_path / given
    if content:
        path.write_text(content)
    settings = load_settings({}, {"folder": tmp_path, given: path})
    place = workplace(settings, SimpleNamespace(), SimpleNamespace())
    assert {name: type(sender) for name, sender in place.senders.items()} == {way: kind}
    assert ways_out(settings) == {"paper", way}
    assert workplace(load_settings({}, {"folder": tmp_path}), place.store, place.protocol).senders == {}
    assert ways_out(load_settings({}, {"folder": tmp_path})) == {"paper"}


def test_a_mail_server_is_spoken_to_in_cipher_unless_the_clinic_says_otherwise(tmp_path) -> None:
    (tmp_path / "mail.toml").write_text(WAYS["mail"][1])
    assert load_mail(tmp_path / "mail.toml").security == "starttls"


def test_a_command_goes_by_the_day_of_the_clinic_and_not_of_greenwich(sqlite_store):
    late = datetime(2027, 3, 1, 18, 31, tzinfo=UTC)
    assert clinic_today(sqlite_store, late) == date(2027, 3, 2)
    assert clinic_today(sqlite_store, late - timedelta(minutes=2)) == date(2027, 3, 1)
