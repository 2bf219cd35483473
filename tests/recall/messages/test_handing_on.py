"""One message's fault or slowness holds up no other, neither the sweep nor the end of the program."""

from __future__ import annotations

import threading
import time

import pytest
from queue_of_messages import messages_of_day
from sqlalchemy import text

from followup.errors import FollowupError
from followup.recall.jobs import scheduler
from followup.recall.jobs.daily import run_due
from followup.recall.jobs.health import findings
from followup.recall.jobs.scheduler import running, send
from followup.recall.messages import handing_on
from followup.recall.messages.channels import MailSender, MailSettings
from followup.recall.messages.sending import send_due
from followup.records.people.addresses import is_mail, is_phone
from followup.records.people.messages import choose_messages, unsent_messages
from followup.records.people.patients import correct_record, newest_record

NOON = 6.5


class Out:
    """A way out that notes what it was given."""

    def __init__(self) -> None:
        self.sent: list[str] = []

    def send(self, message) -> None:
        self.sent.append(message.address)


class Hangs:
    """A gateway that takes the connection and says nothing until it is let go."""

    def __init__(self) -> None:
        self.let_go, self.begun = threading.Event(), 0

    def send(self, _message) -> None:
        self.begun += 1
        self.let_go.wait(60)


@pytest.fixture
def quick(monkeypatch):
    """Time limits of a test."""
    monkeypatch.setattr(handing_on, "LONGEST_TRY", 0.3)
    monkeypatch.setattr(handing_on, "LONGEST_PASS", 1.0)
    monkeypatch.setattr(handing_on, "SOON", 0.1)


@pytest.fixture
def hangs():
    way = Hangs()
    yield way
    way.let_go.set()


@pytest.fixture
def queued(ward, in_hand, agreed, place_of):
    """Makes patients with these ways and addresses, reminded today of their visits of tomorrow."""

    def make(*ways: tuple[str, str], senders) -> object:
        for number, (channel, address) in enumerate(ways):
            plan = ward.signed(f"K-{number}")
            in_hand(ward, plan)
            agreed(
                ward, plan.patient_id, channel, "+44 20 7946 0101" if channel == "gateway" else "a@b.example"
            )
            with ward.store.engine.begin() as connection:
                connection.execute(
                    text("UPDATE message_choice SET address = :a WHERE patient_id = :p"),
                    {"a": address, "p": plan.patient_id},
                )
        place = place_of(ward, senders=senders)
        assert run_due(place, ward.at(0, NOON)) == ()
        return place

    return make


def test_one_half_typed_address_ends_nobody_elses_message(ward, queued):
    """From before addresses were looked at when they were typed; six of them stopped all sending for good."""
    out = Out()
    given = [("mail", "anna@")] * 6 + [("mail", f"p{i}@clinic.example") for i in range(3)]
    place = queued(*given, senders={"mail": out})
    sent = send_due(ward.store, place.senders, place.protocol, owner="a", clock=lambda: ward.at(0, NOON))
    assert (sent.sent, sent.failed, sorted(out.sent)) == (3, 6, [f"p{i}@clinic.example" for i in range(3)])
    with ward.store.read() as session:
        failed = unsent_messages(session)
    assert {one.last_error for one in failed} == {"anna@ is none that a message can go to"}
    found = {one.code: one.what for one in findings(place, place.folder / "keys", ward.at(0, NOON))}
    assert "anna@" in found["W08"]
    assert "K-0, K-1, K-2, K-3, K-4 and others" in found["W17"]


@pytest.mark.parametrize("fault", [RuntimeError, OSError, KeyError, ValueError])
def test_whatever_a_way_out_raises_keeps_back_no_other(ward, queued, fault):
    out = Out()

    class Faulty(Out):
        def send(self, message) -> None:
            if message.address.startswith("p0"):
                raise fault("whatever")
            super().send(message)

    out = Faulty()
    place = queued(*[("mail", f"p{i}@clinic.example") for i in range(3)], senders={"mail": out})
    sent = send_due(ward.store, place.senders, place.protocol, owner="a", clock=lambda: ward.at(0, NOON))
    assert (sent.sent, sent.again, len(out.sent)) == (2, 1, 2)


def test_a_mail_that_can_not_be_written_is_given_up_and_named(ward, queued):
    given = MailSettings(host="127.0.0.1", port=9, sender="clinic@", security="none")
    place = queued(("mail", "p0@clinic.example"), senders={"mail": MailSender(given)})
    sent = send_due(ward.store, place.senders, place.protocol, owner="a", clock=lambda: ward.at(0, NOON))
    assert sent.again + sent.failed == 1


def test_a_gateway_that_hangs_holds_up_no_mail_and_is_named(ward, queued, quick, hangs):
    out = Out()
    given = [("gateway", "+44 20 7946 0101")] * 8 + [("mail", "p0@clinic.example")]
    place = queued(*given, senders={"gateway": hangs, "mail": out})
    begun = time.monotonic()
    sent = send(place, "a", lambda: ward.at(0, NOON))
    assert time.monotonic() - begun < 20
    assert (out.sent, sent.silent, sent.again) == (["p0@clinic.example"], ("gateway",), 4)
    # No more than a few hang; the others wait and are not given up.
    assert hangs.begun == handing_on.MOST_AT_ONCE
    send(place, "a", lambda: ward.at(0, NOON + 0.1))
    assert hangs.begun == handing_on.MOST_AT_ONCE
    with ward.store.read() as session:
        states = {one.state for one in messages_of_day(session, ward.day(0)) if one.channel == "gateway"}
    assert states == {"waiting"}
    found = {one.code: one.what for one in findings(place, place.folder / "keys", ward.at(0, NOON))}
    assert "gateway: no answer" in found["E18"]


def test_a_hanging_gateway_holds_up_neither_the_sweep_nor_the_end_of_the_program(
    ward, queued, hangs, monkeypatch
):
    """With the time limits of every day."""
    place = queued(*[("gateway", "+44 20 7946 0101")] * 5, senders={"gateway": hangs})
    swept = threading.Event()
    monkeypatch.setattr(scheduler, "run_due", lambda *_: swept.set() or ())
    with running(ward.store, clock=lambda: ward.at(0, NOON), place=place):
        end = time.monotonic() + 60
        while not hangs.begun and time.monotonic() < end:
            time.sleep(0.01)
        assert swept.wait(60)
        begun = time.monotonic()
    assert hangs.begun
    assert time.monotonic() - begun < 15


def test_a_message_under_way_when_the_program_ended_is_tried_again_under_its_key(ward, queued, hangs):
    place = queued(("gateway", "+44 20 7946 0101"), senders={"gateway": hangs})
    send(place, "a", lambda: ward.at(0, NOON), lambda: bool(hangs.begun))
    assert hangs.begun == 1
    hangs.let_go.set()
    out = Out()
    sent = send_due(
        ward.store, {"gateway": out}, place.protocol, owner="b", clock=lambda: ward.at(0, NOON + 0.2)
    )
    assert (sent.sent, len(out.sent)) == (1, 1)


@pytest.mark.parametrize(
    "typed",
    [
        "anna@",
        "@clinic.example",
        "anna",
        "anna@clinic",
        "anna b@clinic.example",
        "anna@clinic..example",
        "anna@.example",
        "anna@clinic.example,b@c.example",
        "Anna <anna@clinic.example>",
        ".a@clinic.example",
        "anna@clinic.example\nBcc: b@c.example",
        "anna@-clinic.example",
        "x" * 65 + "@clinic.example",
        "anna@कि.example",
    ],
)
def test_half_a_mail_address_is_refused_where_it_is_typed(ward, typed):
    assert not is_mail(typed)
    patient = ward.enter()
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.counsellor, ward.now) as unit:
        choose_messages(unit, patient_id=patient, consent=True, channel="mail", address=typed)
    assert (caught.value.code, caught.value.where) == ("messages.address", "address")


@pytest.mark.parametrize("typed", ["a@b.example", "o'neil+eye@mail.clinic.example", "a.b-c_d@x1.example"])
def test_a_whole_mail_address_is_taken(typed):
    assert is_mail(typed)


@pytest.mark.parametrize(
    ("number", "whole"),
    [
        ("+44 20 7946 0101", True),
        ("020 7946 0101", True),
        ("(020) 7946-0101", True),
        ("০১৭১২ ৩৪৫৬৭৮", True),
        ("12345", True),
        ("1234", False),
        ("+44", False),
        ("", False),
        ("5----", False),
        ("0171 234 x", False),
        ("1" * 16, False),
        ("anna@clinic.example", False),
    ],
)
def test_a_number_that_can_not_be_dialled_is_told_from_one_that_can(number, whole):
    assert is_phone(number) is whole


def test_a_half_typed_telephone_is_refused_and_one_from_before_does_not_hold_up_a_correction(ward):
    with pytest.raises(FollowupError) as caught:
        ward.enter(ward.record("K-1", telephones=[{"number": "5----"}]))
    assert (caught.value.code, caught.value.where) == ("record.telephone", "patient.telephones.0.number")
    patient = ward.enter(ward.record("K-1", telephones=[{"number": "+44 20 7946 0101"}]))
    with ward.store.engine.begin() as connection:
        connection.execute(
            text("UPDATE record_version SET body = replace(body, '+44 20 7946 0101', '5----')")
        )
    with ward.store.read() as session:
        old = newest_record(session, patient).record
    assert old.patient.telephones[0].number == "5----"
    named = old.model_copy(update={"patient": old.patient.model_copy(update={"name": "Wanjiru Otieno"})})
    with ward.store.write(ward.counsellor, ward.now) as unit:
        assert correct_record(unit, patient_id=patient, record=named, seen=1).number == 2


def test_digits_of_another_script_are_dialled_as_digits(ward):
    patient = ward.enter()
    with ward.store.write(ward.counsellor, ward.now) as unit:
        chosen = choose_messages(
            unit, patient_id=patient, consent=True, channel="gateway", address="+৮৮০ ১৭১২ ৩৪৫৬৭৮"
        )
    assert chosen.address == "+880 1712 345678"
