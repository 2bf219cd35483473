"""The queue of messages: who tries which and when, what is taken back, what concerns one message alone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from queue_of_messages import messages_of_day
from sqlalchemy import text

from followup.errors import FollowupError
from followup.recall.jobs import health
from followup.recall.messages.sending import queue_day, send_due
from followup.records.desk.attempts import set_standing
from followup.records.people.messages import (
    choices_changed,
    choose_messages,
    claim_message,
    due_messages,
    finish_message,
    message_choice,
    stop_messages,
    take_back_messages_after,
    try_again,
    unsent_messages,
    unusable_choices,
    write_anew,
)
from followup.records.views import Actor

NOON = 6.5
TICK = timedelta(microseconds=1)
OWN, OTHER = "+44 20 7946 0101", "+44 20 7946 0102"
MANAGER = Actor("ada", frozenset({"manager"}), "Ada")


class Sender:
    """Hands on what it is given."""

    def __init__(self) -> None:
        self.sent = []

    def send(self, message) -> None:
        self.sent.append((message.patient_code, message.address))


def _send(ward, protocol, sender, clock):
    return send_due(ward.store, {"gateway": sender}, protocol, owner="a", clock=clock)


def _states(ward, day=6):
    with ward.store.read() as session:
        return {
            one.patient_code: (one.state, one.last_error) for one in messages_of_day(session, ward.day(day))
        }


@pytest.fixture
def waiting(sqlite_ward, patient, protocol):
    """A message that waits, due at noon of day 6."""
    patient()
    queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), sqlite_ward.at(6, NOON), protocol)
    with sqlite_ward.store.read() as session:
        (message,) = messages_of_day(session, sqlite_ward.day(6))
    return message


def _due(ward, now):
    with ward.store.read() as session:
        return len(due_messages(session, now))


def test_a_message_is_tried_from_its_time_on_and_one_put_off_by_a_wrong_clock_at_once(sqlite_ward, waiting):
    at = waiting.next_try
    assert [_due(sqlite_ward, now) for now in (at - TICK, at, at + TICK)] == [0, 1, 1]
    # Nothing is ever put off by more than a day and a half.
    assert [_due(sqlite_ward, at - timedelta(hours=36) - late) for late in (-TICK, 0 * TICK, TICK)] == [
        0,
        0,
        1,
    ]


def test_a_message_that_somebody_tries_is_tried_by_nobody_else_for_five_minutes(sqlite_ward, waiting):
    now, five = waiting.next_try, timedelta(minutes=5)

    def claims(owner, at):
        with sqlite_ward.store.upkeep(at) as unit:
            return claim_message(unit, message_id=waiting.id, owner=owner)

    assert claims("a", now)
    assert (_due(sqlite_ward, now + five - TICK), claims("b", now + five - TICK)) == (0, False)
    # Claimed further ahead than twice that: a clock that ran ahead did it.
    assert (_due(sqlite_ward, now - five), claims("b", now - five)) == (0, False)
    assert _due(sqlite_ward, now - five - TICK) == 0, "before its time"
    assert (_due(sqlite_ward, now + five), claims("b", now + five)) == (1, True)
    assert claims("c", now - TICK), "claimed more than ten minutes ahead"
    with sqlite_ward.store.read() as session:
        (message,) = messages_of_day(session, sqlite_ward.day(6))
    assert message.tries == 3


@pytest.mark.parametrize("state", ["sent", "failed", "left out"])
def test_what_does_not_wait_is_neither_tried_nor_claimed(sqlite_ward, waiting, state):
    with sqlite_ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE message SET state = :state"), {"state": state})
    assert _due(sqlite_ward, waiting.next_try) == 0
    with sqlite_ward.store.upkeep(waiting.next_try) as unit:
        assert not claim_message(unit, message_id=waiting.id, owner="a")


def test_a_message_that_waits_too_long_or_failed_is_named_and_no_other(sqlite_ward, waiting):
    def unsent(before=None):
        with sqlite_ward.store.read() as session:
            return len(unsent_messages(session, before=before))

    at = waiting.next_try
    assert [unsent(), unsent(at - TICK), unsent(at), unsent(at + TICK)] == [0, 0, 1, 1]
    for state, found in (("sent", 0), ("left out", 0), ("failed", 1)):
        with sqlite_ward.store.engine.begin() as connection:
            connection.execute(text("UPDATE message SET state = :state"), {"state": state})
        assert [unsent(), unsent(at)] == [found, found], state


def test_a_message_that_waits_for_twelve_hours_is_found_by_the_checks(sqlite_ward, waiting):
    due = waiting.next_try + timedelta(hours=12)
    for now, found in ((due - TICK, []), (due, ["W08"]), (due + TICK, ["W08"])):
        with sqlite_ward.store.read() as session:
            assert [one.code for one in health._messages(session, now)] == found


def test_messages_of_days_that_have_not_come_are_taken_back_and_those_of_today_are_not(sqlite_ward, waiting):
    for day, left in ((6, ["r-"]), (5, [])):
        with sqlite_ward.store.write(sqlite_ward.reception, sqlite_ward.now) as unit:
            take_back_messages_after(unit, sqlite_ward.day(day))
            unit.log("looked at", "clinic")
        with sqlite_ward.store.read() as session:
            assert [one.key[:2] for one in messages_of_day(session, sqlite_ward.day(6))] == left


def test_one_that_went_out_ahead_of_its_day_leaves_its_key_to_the_one_in_time(sqlite_ward, waiting, protocol):
    now, sender = waiting.next_try, Sender()
    _send(sqlite_ward, protocol, sender, lambda: now)
    for _ in range(2):
        with sqlite_ward.store.write(sqlite_ward.reception, sqlite_ward.now) as unit:
            take_back_messages_after(unit, sqlite_ward.day(5))
            unit.log("looked at", "clinic")
        with sqlite_ward.store.read() as session:
            (message,) = messages_of_day(session, sqlite_ward.day(6))
        assert (message.key, message.state) == (f"{waiting.key}~{waiting.id}", "sent")
    assert queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), now, protocol).new == 1


def test_stopping_leaves_out_what_waits_for_this_patient_alone(sqlite_ward, patient, protocol):
    plans = [patient(code) for code in ("K-1", "K-2")]
    now = sqlite_ward.at(6, NOON)
    queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), now, protocol)
    queue_day(sqlite_ward.store, "missed", sqlite_ward.day(6), now, protocol)
    with sqlite_ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE message SET state = 'sent' WHERE kind = 'missed'"))
    with sqlite_ward.store.write(sqlite_ward.reception, now) as unit:
        stop_messages(unit, patient_id=plans[0].patient_id)
    with sqlite_ward.store.read() as session:
        assert [bool(message_choice(session, plan.patient_id).stopped_at) for plan in plans] == [True, False]
        found = {
            (one.patient_code, one.kind): one.state for one in messages_of_day(session, sqlite_ward.day(6))
        }
    assert found == {
        ("K-1", "reminder"): "left out", ("K-1", "missed"): "sent",
        ("K-2", "reminder"): "waiting", ("K-2", "missed"): "sent",
    }  # fmt: skip


def test_who_agreed_or_is_followed_again_since_an_instant_is_noticed_until_now(sqlite_ward, patient):
    number = patient().patient_id
    said = sqlite_ward.at(6)

    def changed(since, until):
        with sqlite_ward.store.read() as session:
            return choices_changed(session, since, until)

    assert not changed(said - timedelta(hours=1), said + timedelta(hours=1))
    for word, noticed in (("died", False), ("followed", True)):
        with sqlite_ward.store.write(sqlite_ward.reception, said) as unit:
            set_standing(unit, patient_id=number, standing=word, reason="said so")
        assert changed(said, said) is noticed
        assert not changed(said - 2 * TICK, said - TICK)
        assert not changed(said + TICK, said + 2 * TICK)
    later = said + timedelta(hours=2)
    with sqlite_ward.store.write(sqlite_ward.reception, later) as unit:
        choose_messages(unit, patient_id=number, consent=True, channel="gateway", address=OTHER)
    assert changed(later, later)
    assert not changed(later - 2 * TICK, later - TICK)
    assert not changed(later + TICK, later + 2 * TICK)


def test_a_message_left_out_waits_again_once_it_is_asked_for_again_and_counts_as_new(
    sqlite_ward, waiting, protocol
):
    now = waiting.next_try

    def queued():
        return queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), now, protocol).new

    for state, new in (("waiting", 0), ("sent", 0), ("failed", 0), ("left out", 1)):
        with sqlite_ward.store.engine.begin() as connection:
            connection.execute(text("UPDATE message SET state = :state, tries = 4"), {"state": state})
        assert (queued(), _states(sqlite_ward)["K-1"][0]) == (new, "waiting" if new else state), state
    with sqlite_ward.store.read() as session:
        (message,) = messages_of_day(session, sqlite_ward.day(6))
    assert (message.tries, message.key, message.created_at) == (0, waiting.key, waiting.created_at)


@pytest.fixture
def two_tried(sqlite_ward, patient, protocol):
    """Two messages that one server tries at noon of day 6."""
    for code in ("K-1", "K-2"):
        patient(code)
    now = sqlite_ward.at(6, NOON)
    queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), now, protocol)
    with sqlite_ward.store.read() as session:
        messages = {one.patient_code: one for one in messages_of_day(session, sqlite_ward.day(6))}
    with sqlite_ward.store.upkeep(now) as unit:
        claimed = [claim_message(unit, message_id=one.id, owner="a") for one in messages.values()]
    assert claimed == [True, True]
    return messages


def test_what_came_of_a_try_is_said_of_this_message_alone_and_by_whoever_tries_it(sqlite_ward, two_tried):
    now, first = sqlite_ward.at(6, NOON), two_tried["K-1"]

    def finish(owner, state):
        with sqlite_ward.store.write(sqlite_ward.reception, now) as unit:
            unit.log("looked at", "clinic")
            return finish_message(unit, first, owner=owner, state=state, error="")

    assert not finish("b", "failed"), "the claim of b had run out"
    assert _states(sqlite_ward) == {"K-1": ("waiting", ""), "K-2": ("waiting", "")}
    assert finish("a", "sent")
    assert not finish("a", "failed"), "it went out already"
    assert _states(sqlite_ward) == {"K-1": ("sent", ""), "K-2": ("waiting", "")}


def test_only_the_message_that_is_tried_is_written_anew_and_by_whoever_tries_it(sqlite_ward, two_tried):
    now, first = sqlite_ward.at(6, NOON), two_tried["K-1"]

    def addresses(owner, address):
        with sqlite_ward.store.write(sqlite_ward.reception, now) as unit:
            write_anew(unit, first, owner=owner, address=address)
        with sqlite_ward.store.read() as session:
            found = messages_of_day(session, sqlite_ward.day(6))
        return {one.patient_code: (one.address, one.tries) for one in found}

    assert addresses("b", OTHER) == {"K-1": (OWN, 1), "K-2": (OWN, 1)}
    assert addresses("a", OTHER) == {"K-1": (OTHER, 0), "K-2": (OWN, 1)}
    assert _due(sqlite_ward, now) == 1, "it is free again at once, the other is not"
    with sqlite_ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE message SET state = 'sent'"))
    assert addresses("a", OWN)["K-1"] == (OTHER, 0), "what went out stays as it was written"


def test_a_person_has_a_message_tried_again_that_failed_and_no_other(sqlite_ward, two_tried):
    now, numbers = sqlite_ward.at(6, NOON), {code: one.id for code, one in two_tried.items()}
    for state in ("waiting", "sent", "left out"):
        with sqlite_ward.store.engine.begin() as connection:
            connection.execute(text("UPDATE message SET state = :state"), {"state": state})
        with pytest.raises(FollowupError) as caught, sqlite_ward.store.write(MANAGER, now) as unit:
            try_again(unit, message_id=numbers["K-1"])
        assert caught.value.code == "message.unknown"
    with sqlite_ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE message SET state = 'failed', last_error = 'busy'"))
    with sqlite_ward.store.write(MANAGER, now) as unit:
        try_again(unit, message_id=numbers["K-1"])
    assert {code: state for code, (state, _) in _states(sqlite_ward).items()} == {
        "K-1": "waiting",
        "K-2": "failed",
    }
    with sqlite_ward.store.read() as session:
        (message,) = due_messages(session, now)
    assert (message.patient_code, message.tries) == ("K-1", 0)


def test_who_agreed_to_an_address_that_is_none_is_named_and_whoever_wants_nothing_is_not(
    sqlite_ward, patient
):
    numbers = {code: patient(code).patient_id for code in ("K-4", "K-3", "K-2", "K-1")}
    with sqlite_ward.store.engine.begin() as connection:
        bad = "UPDATE message_choice SET address = '5----' WHERE patient_id <> :right"
        connection.execute(text(bad), {"right": numbers["K-4"]})
        connection.execute(
            text("UPDATE message_choice SET consent = :no WHERE patient_id = :who"),
            {"no": False, "who": numbers["K-3"]},
        )
    with sqlite_ward.store.read() as session:
        assert unusable_choices(session) == ("K-1", "K-2")
    with sqlite_ward.store.write(sqlite_ward.reception, sqlite_ward.now) as unit:
        stop_messages(unit, patient_id=numbers["K-2"])
    with sqlite_ward.store.read() as session:
        assert unusable_choices(session) == ("K-1",)


def test_the_longest_waiting_go_first_and_so_many_at_once(sqlite_ward, patient, protocol):
    for number, code in enumerate(("K-3", "K-1", "K-2")):
        patient(code)
        at = sqlite_ward.at(6, NOON) + timedelta(minutes=number)
        queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), at, protocol)
    now = sqlite_ward.at(6, NOON + 1)
    with sqlite_ward.store.read() as session:
        assert [one.patient_code for one in due_messages(session, now)] == ["K-3", "K-1", "K-2"]
        assert [one.patient_code for one in due_messages(session, now, limit=2)] == ["K-3", "K-1"]
