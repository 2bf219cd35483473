"""Messages: counted, written, asked for, sent at least once under one key, and left out when obsolete."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from queue_of_messages import messages_of_day

from followup.clinical.careplan import Course, Step
from followup.errors import FollowupError
from followup.language.catalogues import offered, translator
from followup.recall.messages.calls import call_lines
from followup.recall.messages.channels import FolderSender, NotSentError
from followup.recall.messages.compose import changes_on, message_text
from followup.recall.messages.segments import segments
from followup.recall.messages.sending import BACKOFF, queue_day, send_due
from followup.recall.messages.wanted import wanted
from followup.recall.messages.wording import TEXTS
from followup.records.desk.attempts import set_standing
from followup.records.desk.trip_steps import book_trip, mark_arrived, move_trip
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.people.messages import (
    choose_messages,
    message_choice,
    stop_messages,
    try_again,
    unsent_messages,
)

pytestmark = pytest.mark.usefixtures("database_kind")

# Noon in Kolkata: outside the quiet hours.
NOON = 6.5


# Counting. 3GPP TS 23.038: 160 septets or 70 UCS-2 characters alone, 153 and 67 joined; the
# characters of the extension table take two septets.
@pytest.mark.parametrize(
    ("sent", "alphabet", "units", "count"),
    [
        ("", "GSM-7", 0, 1),
        ("a" * 160, "GSM-7", 160, 1),
        ("a" * 161, "GSM-7", 161, 2),
        ("a" * 306, "GSM-7", 306, 2),
        ("a" * 307, "GSM-7", 307, 3),
        ("€" * 80, "GSM-7", 160, 1),
        ("a" * 159 + "€", "GSM-7", 161, 2),
        # The escape pair may not be torn: one place of the first part stays empty.
        ("a" * 152 + "€" + "a" * 152, "GSM-7", 306, 3),
        ("a" * 153 + "€" + "a" * 151, "GSM-7", 306, 2),
        ("é\nñ@£", "GSM-7", 5, 1),
        ("ক" * 70, "UCS-2", 70, 1),
        ("ক" * 71, "UCS-2", 71, 2),
        ("ক" * 134, "UCS-2", 134, 2),
        ("ক" * 135, "UCS-2", 135, 3),
        ("a" * 69 + "’", "UCS-2", 70, 1),
        ("😀" * 35, "UCS-2", 70, 1),
        ("क" * 66 + "😀" + "क" * 66, "UCS-2", 134, 3),
    ],
)
def test_parts_are_counted_as_the_standard_says(sent, alphabet, units, count):
    found = segments(sent)
    assert (found.alphabet, found.units, found.count) == (alphabet, units, count)


@given(st.text(max_size=700))
def test_a_longer_text_never_takes_fewer_parts(sent):
    counts = [segments(sent[:end]).count for end in range(0, len(sent), 37)]
    assert counts == sorted(counts)


@pytest.mark.parametrize("language", [one.tag for one in offered()])
def test_every_message_is_written_in_every_language_with_day_and_telephone(store, language):
    with store.read() as session:
        clinic = get_clinic(session)
    for kind, reader in TEXTS:
        said = message_text(
            kind, reader, clinic, datetime(2027, 3, 8, tzinfo=UTC).date(), translator(language)
        )
        assert clinic.name in said
        assert said.count(clinic.phone_day) == 2
        assert "%" not in said
        if kind != "missed":
            assert "2027" in said
        assert segments(said).count <= 8


# What a day asks for


def _signed(ward, in_hand, code="K-1", **patient):
    patient_id = ward.enter(ward.record(code, **patient))
    steps = (Step(start=ward.day(1), days=6, count=6), Step(start=ward.day(7), days=7, count=4))
    course = Course(key="right:steroid", role="steroid", medicine="prednisolone-1", eye="right", steps=steps)
    plan = ward.sign(ward.draft(patient_id, ward.body(code, courses=(course,))).id)
    in_hand(ward, plan)
    return plan


def _wanted(ward, kind, day, protocol):
    with ward.store.read() as session:
        return wanted(session, kind, ward.day(day), protocol)


def test_a_reminder_goes_out_the_day_before_in_the_patients_language_without_a_name(
    ward, in_hand, agreed, protocol
):
    plan = _signed(ward, in_hand, language="fr")
    agreed(ward, plan.patient_id, reader="carer")
    (one,) = _wanted(ward, "reminder", 6, protocol)
    assert (one.language, one.channel, one.last_useful) == ("fr", "folder", ward.day(7))
    assert "la personne que vous aidez" in one.text
    assert "lundi 8 mars 2027" in one.text
    assert "Wanjiru" not in one.text
    assert _wanted(ward, "reminder", 5, protocol) == ()


@pytest.mark.parametrize(
    ("language", "when"),
    [
        ("en", "Monday 8 March 2027, at 14:30. "),
        ("fr", "lundi 8 mars 2027, à 14:30. "),
        # Hours are counted from six: half past two is half past eight of the day.
        ("sw", "8 Machi 2027, 14:30 (saa 8:30 mchana)"),
    ],
)
def test_a_reminder_names_the_hour_of_a_visit_that_has_one_and_no_other(
    ward, in_hand, agreed, protocol, language, when
):
    plan = _signed(ward, in_hand, language=language)
    agreed(ward, plan.patient_id)
    (before,) = _wanted(ward, "reminder", 6, protocol)
    assert "14:30" not in before.text
    visit = next(trip for trip in ward.trips(plan) if trip.day == ward.day(7))
    with ward.store.write(ward.reception, ward.now) as unit:
        book_trip(unit, trip_id=visit.id, hour="14:30")
    (one,) = _wanted(ward, "reminder", 6, protocol)
    assert when in one.text
    # The hour belongs to its day: on another one nothing is said of it.
    with ward.store.write(ward.reception, ward.now) as unit:
        move_trip(unit, trip_id=visit.id, day=ward.day(8))
    (moved,) = _wanted(ward, "reminder", 7, protocol)
    assert "14:30" not in moved.text


def test_nobody_is_reminded_of_a_visit_on_a_day_that_became_closed(ward, in_hand, agreed, protocol):
    plan = _signed(ward, in_hand)
    agreed(ward, plan.patient_id)
    assert len(_wanted(ward, "reminder", 6, protocol)) == 1
    with ward.store.write(ward.manager, ward.now) as unit:
        calendar = json.dumps({"holidays": [ward.day(7).isoformat()]})
        put_clinic(unit, replace(get_clinic(unit.session), calendar=calendar))
    assert _wanted(ward, "reminder", 6, protocol) == ()


def test_a_step_change_names_eye_medicine_and_count_and_only_on_the_day_before(
    ward, in_hand, agreed, protocol
):
    plan = _signed(ward, in_hand)
    agreed(ward, plan.patient_id)
    days = {day: _wanted(ward, "step change", day, protocol) for day in range(20)}
    assert [day for day, found in days.items() if found] == [6, 13]
    assert "Right eye, prednisolone-1: 4 times a day." in days[6][0].text.splitlines()
    assert "Right eye, prednisolone-1: do not use it any more." in days[13][0].text.splitlines()


def test_no_step_change_is_said_before_the_sheet_is_in_the_patients_hands(ward, protocol):
    patient_id = ward.enter()
    steps = (Step(start=ward.day(1), days=6, count=6), Step(start=ward.day(7), days=7, count=4))
    course = Course(key="right:steroid", role="steroid", medicine="prednisolone-1", eye="right", steps=steps)
    ward.sign(ward.draft(patient_id, ward.body(courses=(course,))).id)
    assert _wanted(ward, "step change", 6, protocol) == ()


@pytest.mark.parametrize("change", [{"as_needed": True}, {"state": "held"}, {"from_before": True}])
def test_a_course_that_is_not_the_plans_everyday_one_changes_nothing(ward, change):
    steps = (Step(start=ward.day(1), days=6, count=6),)
    course = Course(key="right:steroid", role="steroid", medicine="m", eye="right", steps=steps)
    assert changes_on(course, ward.day(7))
    assert not changes_on(course.model_copy(update=change), ward.day(7))


def test_who_did_not_agree_is_on_the_call_list_on_paper(ward, in_hand, agreed, protocol):
    _signed(
        ward,
        in_hand,
        "K-1",
        language="sw",
        telephones=[{"number": "+44 20 7946 0102", "whose": "own"}],
    )
    other = _signed(ward, in_hand, "K-2")
    agreed(ward, other.patient_id)
    with ward.store.read() as session:
        (line,) = call_lines(session, "reminder", ward.day(6), protocol)
    assert (line.code, line.language, line.telephones) == ("K-1", "sw", ("own: +44 20 7946 0102",))
    assert "siku yako ya kuja" in line.say


# Consent


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"channel": "pigeon"}, "messages.channel"),
        ({"reader": "everyone"}, "messages.channel"),
        ({"channel": "gateway", "address": " "}, "messages.address"),
        ({"channel": "mail", "address": "no at sign"}, "messages.address"),
    ],
)
def test_a_choice_that_can_not_be_kept_is_refused(ward, given, code):
    patient_id = ward.enter()
    with (
        pytest.raises(FollowupError) as caught,
        ward.store.write(ward.counsellor, ward.now) as unit,
    ):
        choose_messages(unit, patient_id=patient_id, consent=True, **given)
    assert caught.value.code == code
    with ward.store.read() as session:
        assert message_choice(session, patient_id) is None


# Sending


class Recorder:
    """Notes what it is given; fails as told."""

    def __init__(self, *failures: NotSentError | None) -> None:
        self.keys: list[str] = []
        self.failures = list(failures)

    def send(self, message) -> None:
        self.keys.append(message.key)
        failure = self.failures.pop(0) if self.failures else None
        if failure is not None:
            raise failure


def _queued(ward, in_hand, agreed, protocol, code="K-1"):
    plan = _signed(ward, in_hand, code)
    agreed(ward, plan.patient_id)
    assert queue_day(ward.store, "reminder", ward.day(6), ward.at(6, NOON), protocol).new == 1
    return plan


def _send(ward, protocol, sender, now, owner="a"):
    return send_due(ward.store, {"folder": sender}, protocol, owner=owner, clock=lambda: now)


def test_queueing_twice_queues_once_and_sending_twice_sends_once(ward, in_hand, agreed, protocol):
    _queued(ward, in_hand, agreed, protocol)
    assert queue_day(ward.store, "reminder", ward.day(6), ward.at(6, NOON), protocol).new == 0
    sender = Recorder()
    assert _send(ward, protocol, sender, ward.at(6, NOON)).sent == 1
    assert _send(ward, protocol, sender, ward.at(6, NOON + 1)).sent == 0
    assert len(sender.keys) == 1


def test_nothing_goes_out_in_the_quiet_hours_and_all_of_it_after_them(ward, in_hand, agreed, protocol):
    ward = ward
    plan = _signed(ward, in_hand)
    agreed(ward, plan.patient_id)
    # 23:30 at the clinic.
    queue_day(ward.store, "reminder", ward.day(6), ward.at(6, 18), protocol)
    sender = Recorder()
    assert _send(ward, protocol, sender, ward.at(6, 18)).sent == 0
    # 07:59 and 08:00 at the clinic.
    assert _send(ward, protocol, sender, ward.at(7, 2.49)).sent == 0
    assert _send(ward, protocol, sender, ward.at(7, 2.5)).sent == 1


def test_a_try_that_fails_is_made_again_later_under_the_same_key_and_at_last_listed(
    ward, in_hand, agreed, protocol
):
    ward = ward
    _queued(ward, in_hand, agreed, protocol)
    sender, now, gaps = Recorder(*[NotSentError("busy")] * 9), ward.at(6, NOON), []
    for _ in range(len(BACKOFF) + 3):
        with ward.store.read() as session:
            (message,) = messages_of_day(session, ward.day(6))
        if message.state != "waiting":
            break
        gaps.append(message.next_try - now)
        # Not a minute before its time.
        assert _send(ward, protocol, sender, message.next_try - timedelta(seconds=1)).again == 0
        now = message.next_try
        _send(ward, protocol, sender, now)
    assert [gap.total_seconds() / 60 for gap in gaps[1:]] == [1, 5, 15, 60, 240]
    assert len(set(sender.keys)) == 1
    assert len(sender.keys) == len(BACKOFF) + 1
    with ward.store.read() as session:
        (message,) = unsent_messages(session)
    assert (message.state, message.last_error) == ("failed", "busy")
    with ward.store.write(ward.manager, now) as unit:
        try_again(unit, message_id=message.id)
    assert _send(ward, protocol, Recorder(), now).sent == 1


def test_a_refusal_for_good_is_not_tried_again(ward, in_hand, agreed, protocol):
    _queued(ward, in_hand, agreed, protocol)
    sender = Recorder(NotSentError("no such number", lasting=True))
    assert _send(ward, protocol, sender, ward.at(6, NOON)).failed == 1
    assert _send(ward, protocol, sender, ward.at(6, NOON + 2)).failed == 0


def test_a_server_that_dies_after_handing_on_leaves_a_message_that_another_sends_again(
    ward, in_hand, agreed, protocol
):
    class Dies(Recorder):
        def send(self, message) -> None:
            super().send(message)
            raise KeyboardInterrupt

    ward = ward
    _queued(ward, in_hand, agreed, protocol)
    first, second, now = Dies(), Recorder(), ward.at(6, NOON)
    with pytest.raises(KeyboardInterrupt):
        _send(ward, protocol, first, now)
    assert _send(ward, protocol, second, now + timedelta(minutes=4), owner="b").sent == 0
    assert _send(ward, protocol, second, now + timedelta(minutes=5), owner="b").sent == 1
    assert first.keys == second.keys


def test_what_no_longer_makes_sense_is_left_out_and_says_why(ward, in_hand, agreed, protocol):
    ward, why = ward, {}
    plans = {code: _queued(ward, in_hand, agreed, protocol, code) for code in ("K-1", "K-2", "K-3", "K-4")}
    with ward.store.write(ward.reception, ward.at(6, NOON)) as unit:
        move_trip(unit, trip_id=ward.trips(plans["K-1"])[1].id, day=ward.day(8))
        mark_arrived(unit, trip_id=ward.trips(plans["K-2"])[1].id, nonce="n")
        stop_messages(unit, patient_id=plans["K-3"].patient_id)
        set_standing(unit, patient_id=plans["K-4"].patient_id, standing="died", reason="the son called")
    sender = Recorder()
    assert _send(ward, protocol, sender, ward.at(6, NOON)).sent == 0
    assert sender.keys == []
    with ward.store.read() as session:
        why = {one.patient_code: (one.state, one.last_error) for one in messages_of_day(session, ward.day(6))}
    assert {state for state, _ in why.values()} == {"left out"}
    assert why["K-3"][1] == "stopped by the patient"
    assert why["K-1"][1].startswith("no longer wanted")


def test_a_reminder_of_a_visit_that_has_passed_is_left_out(ward, in_hand, agreed, protocol):
    ward = ward
    plan = _signed(ward, in_hand)
    agreed(ward, plan.patient_id)
    done = queue_day(ward.store, "reminder", ward.day(6), ward.at(8, NOON), protocol)
    assert (done.new, done.too_late) == (0, 1)


def test_a_way_out_that_is_not_set_up_is_an_error_on_the_list_not_a_message_lost(
    ward, in_hand, agreed, protocol
):
    ward = ward
    plan = _signed(ward, in_hand)
    agreed(ward, plan.patient_id, channel="gateway")
    queue_day(ward.store, "reminder", ward.day(6), ward.at(6, NOON), protocol)
    assert _send(ward, protocol, Recorder(), ward.at(6, NOON)).again == 1
    with ward.store.read() as session:
        (message,) = unsent_messages(session, before=ward.at(6, NOON + 1))
    assert message.last_error == "no way out is set up for gateway"


def test_a_folder_holds_each_message_once_by_its_key(ward, in_hand, agreed, protocol, tmp_path):
    ward = ward
    _queued(ward, in_hand, agreed, protocol)
    with ward.store.read() as session:
        (message,) = messages_of_day(session, ward.day(6))
    sender = FolderSender(tmp_path / "out")
    sender.send(message)
    sender.send(replace(message, tries=3))
    (path,) = (tmp_path / "out").iterdir()
    assert json.loads(path.read_text("utf-8"))["text"] == message.text
    (tmp_path / "file").write_text("x")
    with pytest.raises(NotSentError):
        FolderSender(tmp_path / "file").send(message)
