"""Whose work each use case is: written from the roles' days in README.md, with how it is asked."""

from __future__ import annotations

from dataclasses import dataclass

from followup.records.desk.alerts import close_alert, open_alert
from followup.records.desk.attempts import note_attempt, set_standing
from followup.records.desk.erasing import erase
from followup.records.desk.handing import GivenBottle, note_given
from followup.records.desk.leaving import close_by_findings, mark_left, mark_unseen
from followup.records.desk.leaving_checks import note_leaving
from followup.records.desk.promises import book_promised
from followup.records.desk.taking_back import take_back
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled, mark_noshow, move_trip
from followup.records.desk.walkins import note_walk_in
from followup.records.house.asked_roles import decide_role
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.list_imports import begin_list_import, take_up
from followup.records.house.mappings import put_mapping
from followup.records.house.second_factor import take_off_second_factor
from followup.records.house.staff import (
    add_staff,
    bind_staff,
    change_staff,
    make_manager,
    unlock,
)
from followup.records.jobs.refilling import note_handed_over
from followup.records.people.messages import choose_messages, stop_messages, try_again
from followup.records.people.oplist import ListLine, put_operation_list
from followup.records.people.patients import correct_record, enter_record, newest_record
from followup.records.people.tellings import keep_telling
from followup.records.plans.completing import complete_plan
from followup.records.plans.desk_notes import count_stock, note_teach_back
from followup.records.plans.plans import end_plan, sign_plan, store_draft, store_first_drafts
from followup.records.plans.protocols import sign_protocol
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.store.sites import Site, put_site

ROLES = ("counsellor", "reception", "surgeon", "pharmacy", "manager", "program")
EDIT = {"course": "right:steroid", "steps": ((8, 7),), "reason": "more cells", "by": "Dr Sen"}
ANSWER = {"caution": "diabetes", "course": "right:steroid", "decision": "give"}


@dataclass(frozen=True)
class UseCase:
    """``call`` gets the unit and what there is; ``who`` may; ``found``: it looks for what is at the hill."""

    name: str
    who: str
    call: object
    found: bool = True

    def __str__(self) -> str:
        return self.name


def record_of(there, code="K-3", **decided):
    """A record; ``decided``: what only a surgeon decides of its operation."""
    record = there.ward.record(code)
    operations = tuple(one.model_validate(one.model_dump() | decided) for one in record.operations)
    return record.model_copy(update={"operations": operations})


def _decided(there, code):
    """A record with a decided look."""
    look = {"need": "right:first-look", "day": there.ward.day(2), "why": "closed on day 1"}
    record = there.ward.record(code)
    return type(record).model_validate(record.model_dump() | {"decisions": [look]})


def correct(unit, there, record):
    return correct_record(unit, patient_id=there.patient, record=record, seen=1)


def _told(unit, there):
    version = newest_record(unit.session, there.patient)
    return keep_telling(unit, version, eye="left", day=there.ward.day0, language="en", text="Phaco.")


def _draft(unit, there, *edits):
    body = there.ward.body("K-2")
    return store_draft(unit, patient_id=there.patient, record_number=1, body=body, edits=edits)


def _standing(word):
    return lambda u, h: set_standing(u, patient_id=h.patient, standing=word, reason="said so")


def _attempt(unit, there):
    told = {"rung": 0, "way": "call", "outcome": "no answer", "nonce": "n"}
    return note_attempt(unit, patient_id=there.patient, **told)


def _choice(unit, there):
    return choose_messages(unit, patient_id=there.patient, consent=True)


def _look_closed(unit, there):
    given = {"record": there.record, "protocol": None, "day": there.ward.day0}
    return close_by_findings(unit, patient_id=there.patient, **given)


def _alert(unit, there):
    return open_alert(unit, patient_id=there.patient, kind="walk-in", day=there.ward.day0, signs=["pain"])


def _own_clinic(unit, _there):
    return put_clinic(unit, get_clinic(unit.session))


USE_CASES = [
    # The counsellor enters what was told; what only a surgeon decides is the surgeon's to store.
    UseCase(
        "a record", "counsellor surgeon program", lambda u, h: enter_record(u, record=record_of(h)), False
    ),
    UseCase(
        "first drafts of many", "counsellor surgeon program", lambda u, _: store_first_drafts(u, ()), False
    ),
    *(
        UseCase(
            f"a record with {name}",
            "surgeon program",
            lambda u, h, name=name, said=said: enter_record(u, record=record_of(h, **{name: said})),
            False,
        )
        for name, said in {
            "answers": (ANSWER,),
            "products": ({"role": "steroid", "medicine": "prednisolone-1"},),
            "choices": {"cycloplegic": "do not give"},
            "no_steroid_drop": {"why": "a depot was given", "decided_by": "Dr Sen"},
            "released": ({"course": "nsaid", "on": "2027-03-02"},),
        }.items()
    ),
    UseCase(
        "a record with a decided look",
        "surgeon program",
        lambda u, h: enter_record(u, record=_decided(h, "K-4")),
        False,
    ),
    UseCase(
        "a correction",
        "counsellor surgeon program",
        lambda u, h: correct(u, h, h.ward.record("K-2", name="Asha")),
    ),
    UseCase(
        "a caution answered", "surgeon", lambda u, h: correct(u, h, record_of(h, "K-2", answers=(ANSWER,)))
    ),
    UseCase("an operation told", "counsellor surgeon", lambda u, h: _told(u, h)),
    UseCase("a look decided", "surgeon", lambda u, h: correct(u, h, _decided(h, "K-2"))),
    UseCase("an operation list", "counsellor surgeon program", lambda u, h: _list(u, h), False),
    UseCase(
        "a check before leaving",
        "counsellor surgeon",
        lambda u, h: note_leaving(u, patient_id=h.patient, key="right:pressure", mmhg=20.0, why=""),
    ),
    # Plans: drafted by whoever enters, changed and signed by the surgeon, completed by the program.
    UseCase("a plan made again", "counsellor surgeon program", lambda u, h: _draft(u, h, h.edit)),
    UseCase(
        "other steps", "surgeon", lambda u, h: _draft(u, h, h.edit.model_copy(update={"steps": ((4, 7),)}))
    ),
    UseCase("a change taken back", "surgeon", lambda u, h: _draft(u, h)),
    UseCase("a plan signed", "surgeon", lambda u, h: sign_plan(u, plan_id=h.draft)),
    UseCase(
        "a plan ended", "surgeon", lambda u, h: end_plan(u, plan_id=h.plan, completed=True, reason="healed")
    ),
    UseCase(
        "a plan completed",
        "program",
        lambda u, h: complete_plan(u, plan_id=h.plan, today=h.ward.day(99)),
        False,
    ),
    UseCase(
        "the protocol signed",
        "surgeon",
        lambda u, h: sign_protocol(u, hash="cd" * 32, name="own", version="1"),
        False,
    ),
    # The sheet
    UseCase(
        "a sheet printed",
        "counsellor reception surgeon program",
        lambda u, h: issue_sheet(u, plan_id=h.plan, sheet_id="ABCDEFGHJK", language="en", reason="lost"),
    ),
    UseCase(
        "a sheet handed over",
        "counsellor reception surgeon",
        lambda u, h: hand_over_sheet(u, sheet_id=h.sheet, to="her son"),
    ),
    UseCase(
        "what was shown back",
        "counsellor reception surgeon",
        lambda u, h: note_teach_back(u, sheet_id=h.sheet, shown=[0], asked=3),
    ),
    UseCase(
        "bottles given",
        "pharmacy manager",
        lambda u, h: note_given(
            u, patient_id=h.patient, plan_id=h.plan, bottles=[GivenBottle("right:steroid", "x", "right", 1)]
        ),
    ),
    # Visits: reception alone says who is here and who did not come.
    UseCase("an arrival", "reception", lambda u, h: mark_arrived(u, trip_id=h.first, nonce="n")),
    UseCase("who did not come", "reception", lambda u, h: mark_noshow(u, trip_id=h.first)),
    UseCase(
        "a visit moved",
        "counsellor reception surgeon",
        lambda u, h: move_trip(u, trip_id=h.week, day=h.ward.day(8)),
    ),
    UseCase("a visit booked", "counsellor reception surgeon", lambda u, h: book_trip(u, trip_id=h.week)),
    UseCase(
        "a promised day",
        "counsellor reception surgeon",
        lambda u, h: book_promised(u, trip_id=h.week, day=h.ward.day(9)),
    ),
    UseCase("who has left", "counsellor reception surgeon", lambda u, h: mark_left(u, trip_id=h.first)),
    UseCase("what was looked at", "counsellor surgeon", lambda u, h: mark_fulfilled(u, trip_id=h.first)),
    UseCase("nothing looked at", "counsellor surgeon", lambda u, h: mark_unseen(u, trip_id=h.first)),
    UseCase("what findings close", "counsellor surgeon", _look_closed),
    UseCase(
        "who comes without a visit",
        "counsellor reception surgeon",
        lambda u, h: note_walk_in(u, patient_id=h.patient, reason="red", nonce="w"),
    ),
    UseCase("an eye in danger", "counsellor reception surgeon", _alert),
    UseCase(
        "an eye out of danger",
        "counsellor surgeon",
        lambda u, h: close_alert(u, patient_id=h.patient, alert_id=h.alert, word="seen"),
    ),
    UseCase(
        "a slip taken back",
        "counsellor reception surgeon",
        lambda u, h: take_back(u, patient_id=h.patient, entry=h.entry),
    ),
    # Reaching patients
    UseCase("an attempt to reach", "counsellor reception surgeon", _attempt),
    UseCase("died", "counsellor reception surgeon", _standing("died")),
    UseCase("moved away", "counsellor reception surgeon", _standing("moved away")),
    UseCase("refused", "surgeon", _standing("refused")),
    UseCase("lost to follow-up", "surgeon", _standing("lost to follow-up")),
    UseCase("messages agreed to", "counsellor reception program", _choice),
    UseCase(
        "messages stopped",
        "counsellor reception program",
        lambda u, h: stop_messages(u, patient_id=h.patient),
    ),
    UseCase(
        "how lists are read",
        "counsellor surgeon program",
        lambda u, h: put_mapping(u, name="x", body="{}"),
        False,
    ),
    UseCase(
        "a table sent in",
        "counsellor surgeon",
        lambda u, h: begin_list_import(u, name="x", content=b"x"),
        False,
    ),
    UseCase("a table taken up", "counsellor surgeon", lambda u, h: _taken_up(u), False),
    UseCase("a message once more", "manager", lambda u, h: try_again(u, message_id=h.message)),
    # The house
    UseCase("a count of the shelf", "pharmacy manager", lambda u, h: count_stock(u, counts={"x": 1}), False),
    UseCase(
        "somebody new",
        "manager program",
        lambda u, h: add_staff(u, login="new", name="N", roles=["surgeon"], password_hash="-"),
        False,
    ),
    UseCase(
        "somebody's roles", "manager program", lambda u, h: change_staff(u, login="lee", roles=["manager"])
    ),
    UseCase("somebody else's password", "manager program", lambda u, h: _new_password(u)),
    UseCase("a patient erased", "manager program", lambda u, h: erase(u, code="K-2")),
    UseCase("the clinic's data", "manager program", _own_clinic, False),
    UseCase("a site", "program", lambda u, h: put_site(u, Site(0, "VALE", "Vale room")), False),
    UseCase("who works where", "program", lambda u, h: bind_staff(u, login="lee", site=None)),
    UseCase("a manager made", "program", lambda u, h: make_manager(u, login="lee", password_hash="x")),
    UseCase("a log-in unlocked", "program", lambda u, h: unlock(u, login="lee")),
    UseCase("the clinic handed on", "program", lambda u, h: note_handed_over(u, "clinic exported"), False),
    UseCase("a second factor off", "program", lambda u, h: take_off_second_factor(u, login="lee")),
    UseCase("a role granted", "manager surgeon", lambda u, h: decide_role(u, asked=h.asked, grant=True)),
]


def _list(unit, there):
    return put_operation_list(unit, day=there.ward.day0, lines=[ListLine("K-9", "Asha", "left")])


def _taken_up(unit):
    return take_up(unit, begin_list_import(unit, name="x", content=b"x"), state="looking")


def _manager(unit):
    return change_staff(unit, login="lee", roles=["manager"])


def _new_password(unit):
    return change_staff(unit, login="lee", roles=["manager"], active=True, password_hash="x")
