"""Care plans: drafted, signed by one surgeon only, replaced, ended."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from followup.clinical.adjustments import CourseEdit
from followup.clinical.careplan import Caution, Impossible, Question
from followup.errors import FollowupError
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_noshow
from followup.records.people.oplist import ListLine, put_operation_list
from followup.records.people.patients import correct_record
from followup.records.plans.listed import drafts_waiting, plans_by_hand, plans_not_handed_over
from followup.records.plans.plans import (
    active_plan,
    end_plan,
    open_draft,
    plan,
    plans_of,
)
from followup.records.plans.protocols import protocol_signature, sign_protocol
from followup.records.plans.sheets import find_sheet, hand_over_sheet, issue_sheet
from followup.records.trips.trips import trips_of

QUESTION = Question(id="q", text="Which?", eye="right", fields=("operations.0.lens",))
CHILD = Caution(id="child", text="Under 18: plan by hand.", eye=None, level="stop")


def _states(ward, patient_id: int) -> list[tuple[int, str]]:
    with ward.store.read() as session:
        return [(p.number, p.status) for p in plans_of(session, patient_id)]


def _refused(ward, plan_id: int, code: str, *, by=None) -> FollowupError:
    with pytest.raises(FollowupError) as caught:
        ward.sign(plan_id, by=by)
    assert caught.value.code == code
    assert "\n" not in caught.value.line
    return caught.value


def test_a_draft_comes_back_as_it_was_built(ward):
    edit = CourseEdit(
        course="right:steroid", starts=ward.day(7), steps=((4, 7), (2, 7)), reason="r", by="sen"
    )
    draft = ward.draft(ward.enter(), edits=(edit,), reason="first")
    with ward.store.read() as session:
        found = plan(session, draft.id)
    assert found == draft
    assert (found.body, found.edits, found.reason) == (ward.body(), (edit,), "first")
    assert (found.number, found.status, found.drafted_by, found.signed_by) == (1, "draft", "sen", None)


def test_a_signed_plan_is_in_force_with_its_signature_and_its_visits(ward):
    signed = ward.signed()
    assert (signed.status, signed.signed_by, signed.signed_at) == ("active", "Dr Sen", ward.now)
    assert signed.body.status == "active"
    assert signed.body.approved
    assert [(t.day, t.status, t.window_end) for t in ward.trips(signed)] == [
        (ward.day(1), "proposed", ward.day(1)),
        (ward.day(7), "proposed", ward.day(9)),
        (ward.day(42), "proposed", ward.day(56)),
    ]
    with ward.store.read() as session:
        assert active_plan(session, signed.patient_id) == signed
        assert drafts_waiting(session) == ()


def test_nobody_but_a_surgeon_signs(ward):
    draft = ward.draft(ward.enter())
    for actor in (ward.counsellor, ward.reception):
        _refused(ward, draft.id, "role.missing", by=actor)
    assert _states(ward, draft.patient_id) == [(1, "draft")]


@pytest.mark.parametrize(
    "held",
    [
        {"questions": (QUESTION,)},
        {"cautions": (CHILD,)},
        {"impossible": (Impossible(need="right:week", text="closed", before=None, after=None),)},
    ],
)
def test_a_plan_with_anything_open_is_not_signed(ward, held):
    draft = ward.draft(ward.enter(), ward.body(**held))
    _refused(ward, draft.id, "plan.blocked")
    assert ward.trips(draft) == ()


def test_a_plan_of_a_protocol_that_nobody_approved_is_not_signed(ward):
    draft = ward.draft(ward.enter(), ward.body(protocol_hash="cd" * 32))
    _refused(ward, draft.id, "plan.protocol")


def test_a_protocol_is_signed_once_by_a_surgeon_with_a_registration(ward):
    def sign(by, digest="cd" * 32):
        with ward.store.write(by, ward.now) as unit:
            return sign_protocol(unit, hash=digest, name="own", version="2")

    unregistered = type(ward.surgeon)("new", frozenset({"surgeon"}), "Dr New")
    for by, code in ((ward.counsellor, "role.missing"), (unregistered, "protocol.registration")):
        with pytest.raises(FollowupError) as caught:
            sign(by)
        assert caught.value.code == code
    sign(ward.other_surgeon)
    with pytest.raises(FollowupError) as caught:
        sign(ward.surgeon)
    assert caught.value.code == "protocol.signed"
    with ward.store.read() as session:
        found = protocol_signature(session, "cd" * 32)
        assert (found.signer, found.registration) == ("Dr Rao", "R-1002")
        assert protocol_signature(session, "ce" * 32) is None
        assert protocol_signature(session, "ab" * 32) is not None


def test_a_plan_of_an_older_record_is_neither_stored_nor_signed(ward):
    draft = ward.draft(ward.enter())
    with ward.store.write(ward.counsellor, ward.now) as unit:
        correct_record(unit, patient_id=draft.patient_id, record=ward.record(can_read=False), seen=1)
    _refused(ward, draft.id, "plan.stale")
    with pytest.raises(FollowupError) as caught:
        ward.draft(draft.patient_id)
    assert caught.value.code == "plan.stale"
    again = ward.draft(draft.patient_id, record_number=2)
    assert ward.sign(again.id).status == "active"


def test_an_eye_that_the_operation_list_contradicts_is_caught_at_signing(ward):
    draft = ward.draft(ward.enter())
    with ward.store.write(ward.counsellor, ward.now) as unit:
        put_operation_list(unit, day=ward.day0, lines=[ListLine("K-1", "W", "left")])
    _refused(ward, draft.id, "record.eye")


def test_a_new_draft_replaces_the_draft_before_it_and_the_signed_plan_stays(ward):
    signed = ward.signed()
    second = ward.draft(signed.patient_id)
    third = ward.draft(signed.patient_id)
    assert _states(ward, signed.patient_id) == [(3, "draft"), (2, "revoked"), (1, "active")]
    error = _refused(ward, second.id, "plan.replaced")
    assert "plan 3" in error.what
    with ward.store.read() as session:
        assert plan(session, second.id).replaced_by == third.id
        assert open_draft(session, signed.patient_id).id == third.id


def test_who_drafts_from_an_older_view_is_told(ward):
    draft = ward.draft(ward.enter(), seen=0)
    with pytest.raises(FollowupError) as caught:
        ward.draft(draft.patient_id, seen=0)
    assert caught.value.code == "plan.changed"
    assert "mira made plan 1" in caught.value.what
    assert ward.draft(draft.patient_id, seen=1).number == 2


def test_a_signed_plan_is_not_signed_twice(ward):
    signed = ward.signed()
    error = _refused(ward, signed.id, "plan.signed", by=ward.other_surgeon)
    assert "Dr Sen" in error.what


def test_of_two_surgeons_who_sign_at_once_one_wins_and_the_other_is_told(ward):
    draft = ward.draft(ward.enter())
    barrier = threading.Barrier(2)

    def sign(actor):
        barrier.wait()
        try:
            return ward.sign(draft.id, by=actor).signed_by
        except FollowupError as error:
            return error.code

    with ThreadPoolExecutor(2) as pool:
        results = list(pool.map(sign, (ward.surgeon, ward.other_surgeon)))
    assert results.count("plan.signed") == 1
    (winner,) = set(results) - {"plan.signed"}
    with ward.store.read() as session:
        assert active_plan(session, draft.patient_id).signed_by == winner
        assert len(trips_of(session, draft.patient_id)) == 3


def test_a_new_signed_version_revokes_the_old_one_and_proposes_its_own_visits(ward):
    old = ward.signed()
    week = ward.need("week", 5, 12)
    body = ward.body(needs=(week,), trips=(ward.visit(1, 10, week),))
    new = ward.sign(ward.draft(old.patient_id, body).id, now=ward.at(2))
    assert _states(ward, old.patient_id) == [(2, "active"), (1, "revoked")]
    with ward.store.read() as session:
        ended = plan(session, old.id)
    assert (ended.replaced_by, ended.ended_at, ended.body.status) == (new.id, ward.at(2), "revoked")
    assert [t.status for t in ward.trips(old)] == ["cancelled"] * 3
    assert [(t.day, t.status) for t in ward.trips(new)] == [(ward.day(10), "proposed")]


def test_a_booked_visit_on_the_same_day_keeps_its_booking_and_a_missed_one_is_closed(ward):
    old = ward.signed()
    first, week, _ = ward.trips(old)
    with ward.store.write(ward.reception, ward.at(2)) as unit:
        mark_noshow(unit, trip_id=first.id)
        book_trip(unit, trip_id=week.id)
    new = ward.sign(ward.draft(old.patient_id).id, now=ward.at(3))
    assert [(t.day, t.status) for t in ward.trips(new)] == [
        (ward.day(1), "proposed"),
        (ward.day(7), "booked"),
        (ward.day(42), "proposed"),
    ]
    assert [t.status for t in ward.trips(old)] == ["cancelled"] * 3


def test_a_patient_who_is_in_the_clinic_stays_so_when_a_new_plan_is_signed(ward):
    old = ward.signed()
    first = ward.trips(old)[0]
    with ward.store.write(ward.reception, ward.at(1)) as unit:
        mark_arrived(unit, trip_id=first.id, nonce="n")
    new = ward.sign(ward.draft(old.patient_id).id, now=ward.at(1))
    assert [t.status for t in ward.trips(old)] == ["cancelled"] * 3
    # Here for the visit of the new plan, once.
    assert [t.status for t in ward.trips(new)] == ["arrived", "proposed", "proposed"]
    assert ward.trips(new)[0].arrived_at == ward.at(1)


def test_whoever_is_here_for_a_visit_that_the_new_plan_drops_is_still_here(ward):
    old = ward.signed()
    with ward.store.write(ward.reception, ward.at(1)) as unit:
        mark_arrived(unit, trip_id=ward.trips(old)[0].id, nonce="n")
    week = ward.need("week", 5, 9)
    ward.sign(
        ward.draft(old.patient_id, ward.body(needs=(week,), trips=(ward.visit(1, 7, week),))).id,
        now=ward.at(1),
    )
    here = ward.trips(old)[0]
    assert (here.status, here.serves) == ("arrived", ())


def test_a_visit_of_an_earlier_day_at_which_nothing_was_looked_at_goes_when_its_checks_are_planned_again(
    ward,
):
    old = ward.signed()
    with ward.store.write(ward.reception, ward.at(1)) as unit:
        mark_arrived(unit, trip_id=ward.trips(old)[0].id, nonce="n")
    ward.sign(ward.draft(old.patient_id).id, now=ward.at(3))
    assert [t.status for t in ward.trips(old)] == ["cancelled"] * 3


def test_a_visit_that_the_record_names_as_done_is_not_proposed_again(ward):
    first, week = ward.need("first-look", 1, 1), ward.need("week", 5, 9)
    done = ward.visit(1, 1, first, status="fulfilled")
    signed = ward.signed(body=ward.body(trips=(done, ward.visit(2, 7, week))))
    assert [t.day for t in ward.trips(signed)] == [ward.day(7)]


def test_a_plan_that_must_be_made_by_hand_is_kept_on_hold_and_can_not_be_signed(ward):
    first = ward.need("first-look", 1, 1)
    refused = ward.body(status="on-hold", refused=(CHILD,), needs=(first,), trips=())
    held = ward.draft(ward.enter(), refused)
    assert held.status == "on-hold"
    _refused(ward, held.id, "plan.replaced")
    with ward.store.read() as session:
        assert [p.id for p in plans_by_hand(session)] == [held.id]
        assert drafts_waiting(session) == ()
    with ward.store.write(ward.surgeon, ward.at(2)) as unit:
        end_plan(unit, plan_id=held.id, completed=True, reason="planned on paper")
    with ward.store.read() as session:
        assert plans_by_hand(session) == ()
    assert _states(ward, held.patient_id) == [(1, "completed")]


def test_ending_a_plan_needs_a_surgeon_and_a_reason_and_cancels_its_visits(ward):
    signed = ward.signed()
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.reception, ward.now) as unit:
        end_plan(unit, plan_id=signed.id, completed=False, reason="moved")
    assert caught.value.code == "role.missing"
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.surgeon, ward.now) as unit:
        end_plan(unit, plan_id=signed.id, completed=False, reason="  ")
    assert caught.value.code == "plan.reason"
    with ward.store.write(ward.surgeon, ward.now) as unit:
        ended = end_plan(unit, plan_id=signed.id, completed=False, reason="moved away")
    assert (ended.status, ended.ended_reason) == ("revoked", "moved away")
    assert [t.status for t in ward.trips(signed)] == ["cancelled"] * 3
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.surgeon, ward.now) as unit:
        end_plan(unit, plan_id=signed.id, completed=True, reason="again")
    assert caught.value.code == "plan.ended"


def test_signing_that_fails_at_a_full_day_leaves_everything_as_it_was(ward):
    """A booked day that now needs another service too, which is full. Nothing of the signature stays."""
    calendar = '{"services": [{"name": "macula", "capacity": 1}]}'
    ward.in_zone("Asia/Kolkata", calendar=calendar)
    week, macula = ward.need("week", 5, 9), ward.need("macula", 5, 9, service="macula")
    other = ward.signed("K-2", ward.body("K-2", needs=(macula,), trips=(ward.visit(1, 7, macula),)))
    old = ward.signed("K-1")
    for booked in (ward.trips(other)[0], ward.trips(old)[1]):
        with ward.store.write(ward.reception, ward.now) as unit:
            book_trip(unit, trip_id=booked.id)
    body = ward.body(needs=(week, macula), trips=(ward.visit(1, 7, week, macula),))
    draft = ward.draft(old.patient_id, body)
    _refused(ward, draft.id, "place.full")
    assert _states(ward, old.patient_id) == [(2, "draft"), (1, "active")]
    assert [t.status for t in ward.trips(old)] == ["proposed", "booked", "proposed"]
    assert ward.trips(draft) == ()
    ward.in_zone("Asia/Kolkata", calendar=calendar.replace("1", "2"))
    assert [t.status for t in ward.trips(ward.sign(draft.id))] == ["booked"]


def test_a_plan_that_does_not_exist_is_not_signed(ward):
    old = ward.signed()
    _refused(ward, old.id + 100, "plan.unknown")
    assert _states(ward, old.patient_id) == [(1, "active")]


# Sheets of the plan in force


def _issue(ward, plan_id: int, sheet_id: str, reason: str = ""):
    with ward.store.write(ward.counsellor, ward.now) as unit:
        return issue_sheet(unit, plan_id=plan_id, sheet_id=sheet_id, language="en", reason=reason)


def _hand_over(ward, sheet_id: str, to: str = "daughter"):
    with ward.store.write(ward.counsellor, ward.now) as unit:
        return hand_over_sheet(unit, sheet_id=sheet_id, to=to)


def _code(action) -> str:
    with pytest.raises(FollowupError) as caught:
        action()
    return caught.value.code


def test_a_sheet_is_printed_handed_over_and_found_by_its_id(ward):
    signed = ward.signed()
    sheet = _issue(ward, signed.id, "A" * 10)
    assert (sheet.issue, sheet.plan_number, sheet.handed_over_at) == (1, 1, None)
    with ward.store.read() as session:
        assert [p.id for p in plans_not_handed_over(session)] == [signed.id]
    handed = _hand_over(ward, sheet.id)
    assert (handed.handed_to, handed.how, handed.handed_over_by) == ("daughter", "paper", "mira")
    with ward.store.read() as session:
        assert plans_not_handed_over(session) == ()
        found = find_sheet(session, "A" * 10)
        assert find_sheet(session, "B" * 10) is None
    assert (found.sheet, found.current, found.in_force, found.give_instead) == (handed, True, signed.id, None)
    assert found.patient.code == "K-1"


def test_a_second_print_needs_a_reason_and_both_sheets_are_current(ward):
    signed = ward.signed()
    _issue(ward, signed.id, "A" * 10)
    assert _code(lambda: _issue(ward, signed.id, "B" * 10)) == "sheet.reason"
    again = _issue(ward, signed.id, "B" * 10, reason="lost")
    assert (again.issue, again.reason) == (2, "lost")
    with ward.store.read() as session:
        assert find_sheet(session, "A" * 10).current
        assert find_sheet(session, "B" * 10).current


def test_a_draft_has_no_sheet_with_a_code(ward):
    draft = ward.draft(ward.enter())
    assert _code(lambda: _issue(ward, draft.id, "A" * 10)) == "sheet.plan"


def test_a_code_that_is_in_use_is_refused(ward):
    _issue(ward, ward.signed().id, "A" * 10)
    other = ward.signed("K-2")
    assert _code(lambda: _issue(ward, other.id, "A" * 10)) == "sheet.taken"


def test_the_sheet_of_a_replaced_plan_says_which_one_to_give_instead(ward):
    old = ward.signed()
    _issue(ward, old.id, "A" * 10)
    _hand_over(ward, "A" * 10)
    new = ward.sign(ward.draft(old.patient_id).id)
    with ward.store.read() as session:
        found = find_sheet(session, "A" * 10)
        assert (found.current, found.in_force, found.give_instead) == (False, new.id, None)
        assert (found.sheet.replaced_by_plan, found.sheet.replaced_at) == (new.id, ward.now)
        assert [p.id for p in plans_not_handed_over(session)] == [new.id]
    printed = _issue(ward, new.id, "B" * 10)
    assert printed.issue == 2
    with ward.store.read() as session:
        assert find_sheet(session, "A" * 10).give_instead == printed
    assert _code(lambda: _issue(ward, old.id, "C" * 10)) == "sheet.plan"


def test_a_sheet_is_handed_over_once_to_someone_and_never_when_replaced(ward):
    old = ward.signed()
    _issue(ward, old.id, "A" * 10)
    assert _code(lambda: _hand_over(ward, "A" * 10, to=" ")) == "sheet.to"
    assert _code(lambda: _hand_over(ward, "B" * 10)) == "sheet.unknown"
    _hand_over(ward, "A" * 10)
    assert _code(lambda: _hand_over(ward, "A" * 10)) == "sheet.handed_over"
    _issue(ward, old.id, "B" * 10, reason="lost")
    ward.sign(ward.draft(old.patient_id).id)
    assert _code(lambda: _hand_over(ward, "B" * 10)) == "sheet.replaced"


def test_the_sheet_of_an_ended_plan_is_not_current(ward):
    signed = ward.signed()
    _issue(ward, signed.id, "A" * 10)
    with ward.store.write(ward.surgeon, ward.now) as unit:
        end_plan(unit, plan_id=signed.id, completed=True, reason="done")
    with ward.store.read() as session:
        found = find_sheet(session, "A" * 10)
    assert (found.current, found.in_force, found.give_instead) == (False, None, None)
