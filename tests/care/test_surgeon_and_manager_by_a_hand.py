"""What surgeon and manager do, done by a hand alone: no page, no program, no request."""

from __future__ import annotations

import pytest

from followup.care.house import staff as house_staff
from followup.care.house.calendars import NewCalendar, replace_calendar, seen_mark
from followup.care.house.shelf import Counts, shelf, store_counts
from followup.care.house.staff import NewStaff, StaffChange, add_person, change_person
from followup.care.looks.choosing import Choice, OtherSteps, StepSent, plans_of_choice, store_choice
from followup.care.looks.eye_case import eye_case
from followup.care.looks.looks import Looked, Refusal, outcome_of_today, refuse_all, store_findings
from followup.care.plans.answers import Answers, give_answers
from followup.care.plans.plan_view import load
from followup.care.plans.plans import Ending, TakeBack, end_one, make_again, without_change
from followup.care.plans.steps import StepOut, StepsChange, plans_of_steps, store_steps
from followup.care.reach.standing import Standing, say_standing
from followup.care.records.recording import NewRecord, enter
from followup.clinical.record import Findings
from followup.records.desk.attempts import standing_of
from followup.records.plans.plans import plans_of, sign_plan
from followup.timing.calendar import Calendar

PASSWORD = "a long enough password"
SIGNS = dict.fromkeys(
    ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"), "no"
)


@pytest.fixture
def asked(ward, by):
    """A draft that asks one thing before it can be signed, as its surgeon sees it."""
    made = enter(by(ward.counsellor), NewRecord(record=ward.record()))
    return load(by(ward.surgeon), made)


@pytest.fixture
def plan(ward, by, asked):
    """A plan in force that the protocol has made."""
    answers = Answers(seen=1, answers={"operations.0.viscoelastic.removed": ["all"]})
    made = give_answers(by(ward.surgeon), asked, answers)
    with ward.store.write(ward.surgeon, ward.at(0)) as unit:
        return sign_plan(unit, plan_id=made.id)


def test_an_answer_that_nothing_asks_for_or_of_an_older_record_changes_nothing(ward, by, asked, refused):
    surgeon = by(ward.surgeon)
    strange = Answers(seen=1, answers={"patient.name": ["Another"]})
    assert refused(give_answers, surgeon, asked, strange) == "answers.field"
    answers = Answers(seen=1, answers={"operations.0.viscoelastic.removed": ["all"]})
    made = give_answers(surgeon, asked, answers)
    assert (made.record_number, made.body.questions) == (2, ())
    assert refused(give_answers, surgeon, asked, answers) == "record.changed"


def test_other_steps_are_a_draft_against_the_plan_that_was_seen_and_taken_back(ward, by, plan, refused):
    surgeon = by(ward.surgeon)
    view = load(surgeon, plan.id)
    course = next(one for one in view.plan.courses if view.changeable(one) and one.state == "active")
    steps = [StepOut(times_a_day=8, days=3)]
    change = StepsChange(course=course.key, starts=ward.day(2), steps=steps, reason="more cells")
    before, after = plans_of_steps(surgeon, view, change)
    assert (
        before.course(course.key).count_on(ward.day(3)),
        after.course(course.key).count_on(ward.day(3)),
    ) == (
        course.count_on(ward.day(3)),
        8,
    )
    past = change.model_copy(update={"starts": ward.day(-1)})
    assert refused(store_steps, surgeon, view, past) == "steps.day"
    assert refused(store_steps, by(ward.counsellor), view, change) == "role.missing"
    made = store_steps(surgeon, view, change)
    assert (made.status, [edit.by for edit in made.edits]) == ("draft", [surgeon.by])
    assert refused(store_steps, surgeon, view, change) == "plan.changed"
    assert refused(without_change, surgeon, load(surgeon, made.id), TakeBack(change=2)) == "change.unknown"
    assert without_change(surgeon, load(surgeon, made.id), TakeBack(change=1)).edits == ()


def test_a_look_leads_to_a_choice_with_other_steps_or_to_a_word_why_not(ward, by, plan, refused):
    surgeon = by(ward.surgeon, 7)
    look = Findings(eye="right", date=ward.day(7), cells="2+", flare="2+", pressure=18.0, **SIGNS)
    other = look.model_copy(update={"eye": "left"})
    case = eye_case(surgeon, "K-1", "right")
    assert refused(store_findings, surgeon, case, Looked(seen=1, look=other)) == "findings.eye"
    nothing = Findings(eye="right", date=ward.day(7))
    assert refused(store_findings, surgeon, case, Looked(seen=1, look=nothing)) == "findings.empty"
    store_findings(surgeon, case, Looked(seen=2, look=look))
    case = eye_case(surgeon, "K-1", "right")
    outcome = outcome_of_today(surgeon, case, case.looks[0])
    assert refused(outcome_of_today, by(ward.surgeon, 8), case, case.looks[0]) == "look.over"
    proposal = next(one for one in outcome.proposals if one.adjustments and not one.treats)
    chosen = Choice(
        take=[proposal.id],
        reason="inflamed",
        seen=case.plans[0].number,
        steps=(OtherSteps(proposal=proposal.id, adjustment=0, steps=[StepSent(times_a_day=9, days=5)]),),
    )
    before, after = plans_of_choice(surgeon, case, outcome, chosen)
    assert before != after
    assert (
        refused(store_choice, surgeon, case, outcome, chosen.model_copy(update={"take": ["no"]}))
        == "look.none"
    )
    (edit, *_) = load(surgeon, store_choice(surgeon, case, outcome, chosen)).version.edits
    assert edit.steps == ((9, 5),)
    for _ in range(2):
        refuse_all(surgeon, case, outcome, Refusal(reason="she feels well"))
    words = [entry.details["reason"] for entry in eye_case(surgeon, "K-1", "right").decided]
    assert words == ["she feels well", "inflamed"]


def test_a_plan_is_made_again_once_and_ends_once(ward, by, plan, refused):
    surgeon = by(ward.surgeon, 1)
    again = [make_again(surgeon, plan.id).id for _ in range(2)]
    assert again[0] == again[1] != plan.id
    assert refused(end_one, surgeon, load(surgeon, again[0]), Ending(reason="healed")) == "plan.state"
    for _ in range(2):
        end_one(surgeon, load(surgeon, plan.id), Ending(reason="healed"))
    with ward.store.read() as session:
        ended = next(one for one in plans_of(session, plan.patient_id) if one.id == plan.id)
    assert (ended.status, ended.ended_reason) == ("completed", "healed")


def test_nobody_is_lost_before_the_rule_allows_it(ward, by, plan, refused):
    lost = Standing(standing="lost to follow-up", reason="never came")
    assert refused(say_standing, by(ward.surgeon), "K-1", lost) == "standing.word"
    say_standing(by(ward.surgeon), "K-1", Standing(standing="refused", reason="told us so"))
    with ward.store.read() as session:
        assert standing_of(session, plan.patient_id).standing == "refused"


def test_the_house_is_changed_from_what_was_seen_of_it(ward, by, refused, monkeypatch):
    # Whose password it is, is asked at the desks, where somebody is logged in.
    monkeypatch.setattr(house_staff, "must_match", lambda _hand, _password: None)
    manager = by(ward.manager)
    new = NewCalendar(calendar=Calendar(open_weekdays=("monday", "tuesday")), seen=seen_mark(manager.clinic))
    assert refused(replace_calendar, by(ward.counsellor), new) == "role.missing"
    assert replace_calendar(manager, new) == ()
    assert by(ward.manager).calendar == new.calendar
    assert refused(replace_calendar, manager, new) == "store.conflict"
    person = add_person(
        manager,
        NewStaff(login="new", name="Nila Sen", roles=["reception"], new_password=PASSWORD, password=PASSWORD),
    )
    change = StaffChange(roles=["reception", "pharmacy"], active=True, password=PASSWORD, seen=person.mark)
    assert change_person(manager, "new", change).roles == {"reception", "pharmacy"}
    assert refused(change_person, manager, "new", change) == "staff.changed"
    assert refused(change_person, manager, "dev", change) == "staff.self"


def test_bottles_that_no_formulary_knows_are_not_counted(ward, by, refused):
    manager = by(ward.manager)
    key = next(iter(manager.protocol.formulary))
    assert refused(store_counts, manager, Counts(counts={key: 3, "no-such-drop": 1})) == "stock.none"
    store_counts(manager, Counts(counts={key: 3}))
    assert [(line.medicine, line.left) for line in shelf(manager).lines] == [(key, 3)]
