"""What the lists say of each person: which eye, how old, which day, whom to ring, which clinic, what next."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from queue_of_messages import messages_of_day
from sqlalchemy import text

from followup.clinical.careplan import CheckGap, Question
from followup.clinical.protocol.protocol import LookKind
from followup.clinical.record import Record
from followup.language.catalogues import translator
from followup.recall.jobs.lists import due_lines, reach_lines
from followup.recall.messages.calls import call_lines
from followup.recall.messages.sending import queue_day, send_due
from followup.recall.messages.wanted import wanted
from followup.recall.reach.ladder import CAUSES
from followup.recall.reach.next_attempt import NextAttempt
from followup.recall.reach.reasons import reason
from followup.recall.reach.worklist import worklist
from followup.records.desk.trip_steps import mark_arrived, mark_noshow
from followup.records.store.sites import Site, put_site
from followup.records.views import SYSTEM

NOON = 6.5
WORDS = translator("en", "desk")
KINDS = {
    "look": LookKind(text="first look after surgery", service="review"),
    "pressure": LookKind(text="pressure check", service="review"),
    "macula": LookKind(text="scan of the macula", service="review"),
}
RIGHT, LEFT, BOTH = ("right",), ("left",), ("right", "left")


def _person(ward, code: str = "K-1", eyes=BOTH, **patient) -> int:
    """Somebody operated on these eyes on day 0, entered into the clinic."""
    first = ward.record(code, eye=eyes[0], **patient).model_dump(mode="json")
    operations = [{**first["operations"][0], "eye": eye, "eye_drawn": eye} for eye in eyes]
    return ward.enter(Record.model_validate({**first, "operations": operations}))


def _plan(
    ward, number: int, code: str, *looks: tuple[str, str | None, int, int], in_hand=None, tier="C", **more
):
    """A signed plan; each look is (kind, eye, the day of its visit, its last day)."""
    needs = tuple(
        ward.need(kind, on, last, eye=eye, key=f"{eye}:{kind}", tier=tier) for kind, eye, on, last in looks
    )
    trips = tuple(ward.visit(i, looks[i - 1][2], need) for i, need in enumerate(needs, 1))
    body = ward.body(code, needs=needs, trips=trips, **more)
    plan = ward.sign(ward.draft(number, body).id)
    if in_hand is not None:
        in_hand(ward, plan)
    return plan


# Which eye


@pytest.mark.parametrize(
    ("eye", "shown"), [("right", RIGHT), ("left", LEFT), (None, BOTH)], ids=["right", "left", "both"]
)
def test_of_somebody_operated_on_both_eyes_the_lists_name_the_eye_that_is_to_be_looked_at(
    sqlite_ward, in_hand, eye, shown
):
    ward, kind = sqlite_ward, "look"
    _plan(ward, _person(ward), "K-1", (kind, eye, 1, 2), in_hand=in_hand)
    with ward.store.read() as session:
        (due,) = due_lines(session, ward.day(1), ward.at(1), KINDS)
        (line,) = reach_lines(session, ward.at(3), WORDS, KINDS)
        (item,) = worklist(session, ward.at(3))
    assert (due.eyes, line.eyes, item.eyes) == (shown, shown, shown)
    assert (due.for_what, line.for_what) == (("first look after surgery",),) * 2


def test_every_reason_of_one_person_adds_its_eye_and_its_check(sqlite_ward, in_hand):
    ward = sqlite_ward
    looks = (("look", "left", 1, 2), ("macula", "right", 3, 4))
    _plan(ward, _person(ward), "K-1", *looks, in_hand=in_hand)
    for day, eyes, checks in (
        (3, LEFT, ("first look after surgery",)),
        (5, BOTH, ("first look after surgery", "scan of the macula")),
    ):
        with ward.store.read() as session:
            (line,) = reach_lines(session, ward.at(day), WORDS, KINDS)
        assert (line.eyes, line.for_what) == (eyes, checks), f"on day {day}"


# The whole line


def test_a_line_of_the_days_list_says_who_how_old_on_that_day_and_until_when(sqlite_ward, in_hand):
    ward = sqlite_ward
    phones = [{"number": "+44 20 7946 0102"}, {"number": "+44 20 7946 0103", "whose": "carer"}]
    # Seventy on the day of the visit, and not yet when the list is printed the day before.
    number = _person(ward, eyes=LEFT, telephones=phones, birth_year=None, birth_date="1957-03-02")
    _plan(ward, number, "K-1", ("look", "left", 1, 4), in_hand=in_hand)
    with ward.store.read() as session:
        (line,) = due_lines(session, ward.day(1), ward.at(0), KINDS)
    assert (line.code, line.name, line.age, line.visit) == ("K-1", "Wanjiru Ndegwa", "70", 1)
    assert (line.day, line.last_day, line.standing) == (ward.day(1), ward.day(4), "upcoming")
    assert (line.services, line.telephones) == (
        ("review",),
        ("own: +44 20 7946 0102", "carer: +44 20 7946 0103"),
    )


def test_a_visit_for_no_check_of_its_own_says_what_it_keeps_from_being_late(sqlite_ward, in_hand):
    """And nothing where somebody came without a visit: then no service is asked for."""
    ward = sqlite_ward
    gap = CheckGap(key="right:pressure-gap-4", eye="right", kind="pressure", limit=14, from_count=4)
    visit = ward.visit(1, 5, ward.need("look", 1, 9)).model_copy(update={"serves": ()})
    for code, services, told in (("K-1", ("review",), ("pressure check",)), ("K-2", (), ())):
        trips = (visit.model_copy(update={"services": services}),)
        body = ward.body(code, needs=(), trips=trips, gaps=(gap,))
        in_hand(ward, ward.sign(ward.draft(_person(ward, code), body).id))
        with ward.store.read() as session:
            lines = due_lines(session, ward.day(5), ward.at(5), KINDS)
        assert {line.code: line.for_what for line in lines}[code] == told


def test_a_line_to_reach_says_the_last_day_and_since_when_it_is_over(sqlite_ward, in_hand):
    ward = sqlite_ward
    phones = [{"number": "+44 20 7946 0102"}, {"number": "+44 20 7946 0103", "whose": "neighbour"}]
    number = _person(ward, eyes=LEFT, telephones=phones, birth_year=None, birth_date="1957-03-06")
    _plan(ward, number, "K-1", ("look", "left", 1, 2), in_hand=in_hand)
    with ward.store.read() as session:
        (line,) = reach_lines(session, ward.at(5), WORDS, KINDS)
    assert (line.kind, line.code, line.tier, line.age) == ("overdue", "K-1", "C", "70")
    assert (line.last_day, line.since, line.days) == (ward.day(2), ward.day(3), 3)
    assert line.telephones == ("own: +44 20 7946 0102", "neighbour: +44 20 7946 0103")


# Why


@pytest.mark.parametrize("missed", [False, True])
def test_only_of_a_visit_marked_as_missed_it_is_said_that_nobody_came(sqlite_ward, in_hand, missed):
    ward = sqlite_ward
    plan = _plan(ward, _person(ward), "K-1", ("look", "left", 1, 1), in_hand=in_hand)
    if missed:
        with ward.store.write(ward.reception, ward.at(1)) as unit:
            mark_noshow(unit, trip_id=ward.trips(plan)[0].id)
    with ward.store.read() as session:
        (line,) = worklist(session, ward.at(3))
    assert (line.missed, "did not come" in reason(line, WORDS)) == (missed, missed)


def test_who_left_without_findings_is_named_by_the_day_here_and_by_what_is_still_open(sqlite_ward, in_hand):
    """Both eyes were to be looked at, and of one it is written down."""
    ward = sqlite_ward
    needs = tuple(ward.need("look", 1, 9, eye=eye, key=f"{eye}:look", tier="B") for eye in BOTH)
    body = ward.body("K-1", needs=needs, trips=(ward.visit(1, 5, *needs),))
    plan = ward.sign(ward.draft(_person(ward), body).id)
    in_hand(ward, plan)
    trip = ward.trips(plan)[0].id
    with ward.store.write(ward.reception, ward.at(7)) as unit:
        mark_arrived(unit, trip_id=trip, nonce="n")
    with ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE trip SET served = :done"), {"done": json.dumps(["left:look"])})
    with ward.store.read() as session:
        (line,) = worklist(session, ward.at(8))
    assert (line.kind, line.tier, line.since, line.due_by) == ("left unseen", "B", ward.day(7), ward.day(9))
    assert [need.key for need in line.needs] == ["right:look"]
    assert (line.eyes, line.days) == (RIGHT, 0)
    with ward.store.read() as session:
        assert worklist(session, ward.at(11))[0].days == 2
    assert reason(line, WORDS) == (
        "The patient was here on Monday 8 March 2027 and left without findings: say what was looked at, "
        "or have the patient come again. The last day for this check is Wednesday 10 March 2027."
    )


def test_who_left_a_visit_that_was_for_no_check_has_no_last_day(sqlite_ward, in_hand):
    ward = sqlite_ward
    visit = ward.visit(1, 5, ward.need("look", 1, 9)).model_copy(update={"serves": ()})
    plan = ward.sign(ward.draft(_person(ward), ward.body("K-1", needs=(), trips=(visit,))).id)
    in_hand(ward, plan)
    with ward.store.write(ward.reception, ward.at(5)) as unit:
        mark_arrived(unit, trip_id=ward.trips(plan)[0].id, nonce="n")
    with ward.store.read() as session:
        (line,) = worklist(session, ward.at(6))
    assert (line.kind, line.due_by, line.needs) == ("left unseen", None, ())
    assert reason(line, WORDS).endswith("say what was looked at, or have the patient come again.")


QUESTION = Question(id="q", text="Which?", eye="right", fields=("operations.0.lens",))
ASIDE = QUESTION.model_copy(update={"id": "aside", "blocks": False})


@pytest.mark.parametrize(
    ("questions", "said"),
    [
        ((QUESTION, ASIDE), "The plan waits for the surgeon's answer to 1 question."),
        ((QUESTION, QUESTION, ASIDE), "The plan waits for the surgeon's answers to 2 questions."),
    ],
)
def test_a_draft_is_said_to_wait_for_the_answers_without_which_it_can_not_be_signed(
    sqlite_ward, questions, said
):
    sqlite_ward.draft(_person(sqlite_ward), sqlite_ward.body(questions=questions, needs=(), trips=()))
    with sqlite_ward.store.read() as session:
        (line,) = worklist(session, sqlite_ward.at(2))
    assert (reason(line, WORDS), line.tier) == (said, "C")


def test_the_first_look_of_an_unsigned_plan_is_the_soonest_that_is_not_done_and_its_risk_the_worst(
    sqlite_ward,
):
    ward = sqlite_ward
    needs = (
        ward.need("done", 1, 1, state="served", tier="A"),
        ward.need("look", 1, 3),
        ward.need("macula", 1, 3, eye="left", key="left:macula"),
        ward.need("later", 5, 9, tier="A"),
    )
    for code, tiers, tier in (("K-1", {}, "C"), ("K-2", {"right": "B"}, "B")):
        body = ward.body(code, needs=needs, trips=(), questions=(QUESTION,), tiers=tiers)
        ward.draft(_person(ward, code), body)
        with ward.store.read() as session:
            (line,) = [one for one in worklist(session, ward.at(5)) if one.patient.code == code]
        assert [need.kind for need in line.needs] == ["look", "macula"]
        assert (line.due_by, line.days, line.tier) == (ward.day(3), 2, tier)


# What next, and what the surgeon reads


@pytest.mark.parametrize(
    ("way", "said"),
    [
        ("call", "Next: call, from Thursday 4 March 2027 on."),
        ("second contact", "Next: call the second contact, from Thursday 4 March 2027 on."),
        ("community worker", "Next: send the community worker, from Thursday 4 March 2027 on."),
        ("surgeon", "Next: tell the surgeon, from Thursday 4 March 2027 on."),
    ],
)
def test_the_next_try_is_said_by_its_way_and_its_day(sqlite_ward, in_hand, way, said):
    _plan(sqlite_ward, _person(sqlite_ward), "K-1", ("look", "left", 1, 1), in_hand=in_hand)
    with sqlite_ward.store.read() as session:
        (line,) = worklist(session, sqlite_ward.at(2))
    asked = replace(line, next=NextAttempt(way=way, rung=0, on=sqlite_ward.day(3)))
    assert reason(asked, WORDS).endswith(f"Tuesday 2 March 2027. {said}")


def test_the_surgeon_reads_of_each_cause_what_it_is_and_what_is_asked():
    assert CAUSES == {
        "unreachable": "Nobody could be reached by any way. Decide what is to be done.",
        "refused": "The patient does not want to come. Speak with the patient, or accept it.",
        "ladder ended": "Every way was tried and the patient has not come. Decide what is to be done.",
        "wait for the surgeon": "The surgeon was told and has not decided yet.",
    }


# The clinic that is named


@pytest.fixture
def hill(sqlite_ward, in_hand, agreed):
    """Two people with the same plan, K-2 of a site that has its own name, number and closed day."""
    ward = sqlite_ward
    plans = {}
    for code in ("K-2", "K-1"):
        plans[code] = _plan(ward, _person(ward, code), code, ("look", "left", 7, 9), in_hand=in_hand)
        agreed(ward, plans[code].patient_id, "gateway")

    def move(**site) -> None:
        with ward.store.write(SYSTEM, ward.now) as unit:
            other = put_site(unit, Site(0, "HILL", "Hill clinic", **site))
            unit.log("site added", "clinic", code=other.code)
        with ward.store.engine.begin() as connection:
            given = {"site": other.id, "patient": plans["K-2"].patient_id}
            connection.execute(text("UPDATE patient SET site_id = :site WHERE id = :patient"), given)

    return move


def _texts(ward, protocol, kind: str, day: int) -> dict[str, str]:
    with ward.store.read() as session:
        return {one.patient.code: one.text for one in wanted(session, kind, ward.day(day), protocol)}


def test_a_message_names_the_clinic_of_its_patient_and_that_clinics_number(sqlite_ward, hill, protocol):
    hill(phone_day="+44 20 7946 0110")
    texts = _texts(sqlite_ward, protocol, "reminder", 6)
    for code, name, number in (
        ("K-1", "Riverbend Eye Clinic", "+44 20 7946 0100"),
        ("K-2", "Hill clinic", "+44 20 7946 0110"),
    ):
        assert texts[code] == (
            f"{name}: your visit is on Monday 8 March 2027. Bring your sheet and all bottles. "
            f"If you cannot come, call {number}.\nTo stop these messages, tell us: {number}."
        )


def test_a_visit_is_reminded_of_where_the_patients_own_site_is_open(sqlite_ward, hill, protocol):
    assert sorted(_texts(sqlite_ward, protocol, "reminder", 6)) == ["K-1", "K-2"]
    hill(calendar=json.dumps({"holidays": ["2027-03-08"]}))
    assert sorted(_texts(sqlite_ward, protocol, "reminder", 6)) == ["K-1"]


# What a person reads out


def test_the_call_list_says_whom_to_ring_at_every_number_and_nothing_about_stopping(
    sqlite_ward, in_hand, protocol
):
    ward = sqlite_ward
    phones = [{"number": "+44 20 7946 0102", "whose": "carer"}, {"number": "+44 20 7946 0103"}]
    for code in ("K-2", "K-1"):
        number, tier = _person(ward, code, telephones=phones), "A" if code == "K-2" else "C"
        _plan(ward, number, code, ("look", "left", 7, 9), in_hand=in_hand, tier=tier)
    with ward.store.read() as session:
        lines = call_lines(session, "reminder", ward.day(6), protocol)
        missed = call_lines(session, "missed", ward.day(10), protocol)
    # By code, as the lists on paper are; whom to reach first says another list.
    assert [[line.code for line in one] for one in (lines, missed)] == [["K-1", "K-2"]] * 2
    assert {line.telephones for line in lines} == {("carer: +44 20 7946 0102", "own: +44 20 7946 0103")}
    assert {line.say for line in lines} == {
        "Riverbend Eye Clinic: your visit is on Monday 8 March 2027. Bring your sheet and all bottles. "
        "If you cannot come, call +44 20 7946 0100."
    }


# Too late, by the clock of the clinic


class Sender:
    def __init__(self) -> None:
        self.sent = []

    def send(self, message) -> None:
        self.sent.append(message.key)


TOO_LATE = [
    # 09:00 at the clinic on the day of the visit and on the day after it, in hours UTC of day 7.
    ("Pacific/Kiritimati", -5, 19),
    ("Pacific/Pago_Pago", 20, 44),
]


@pytest.mark.parametrize(("zone", "in_time", "too_late"), TOO_LATE)
def test_a_reminder_goes_out_on_the_visits_own_day_and_not_the_day_after_by_the_clinics_clock(
    sqlite_ward, patient, protocol, zone, in_time, too_late
):
    ward, sender = sqlite_ward, Sender()
    ward.in_zone(zone)
    patient()
    day, late = ward.day(6), ward.at(7, too_late)
    assert queue_day(ward.store, "reminder", day, late, protocol).too_late == 1
    assert queue_day(ward.store, "reminder", day, ward.at(7, in_time), protocol).new == 1
    send_due(ward.store, {"gateway": sender}, protocol, owner="a", clock=lambda: late)
    with ward.store.read() as session:
        (message,) = messages_of_day(session, day)
    assert (sender.sent, message.state, message.last_error) == ([], "left out", "too late to be of use")


@pytest.mark.parametrize(("zone", "in_time", "too_late"), TOO_LATE)
def test_a_reminder_of_today_is_still_sent(sqlite_ward, patient, protocol, zone, in_time, too_late):
    ward, sender, now = sqlite_ward, Sender(), sqlite_ward.at(7, in_time)
    ward.in_zone(zone)
    patient()
    assert queue_day(ward.store, "reminder", ward.day(6), now, protocol).new == 1
    send_due(ward.store, {"gateway": sender}, protocol, owner="a", clock=lambda: now)
    assert len(sender.sent) == 1
