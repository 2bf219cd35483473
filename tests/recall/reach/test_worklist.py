"""Whom to reach today, in order, and why."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from sqlalchemy import event

from followup.clinical.careplan import Caution, Question
from followup.language.catalogues import translator
from followup.recall.reach.worklist import reason, worklist
from followup.records.desk.trip_steps import mark_arrived, mark_fulfilled, mark_noshow, move_trip
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.store.sites import Site, put_site
from followup.records.views import SYSTEM

pytestmark = pytest.mark.usefixtures("database_kind")

QUESTION = Question(id="q", text="Which?", eye="right", fields=("operations.0.lens",))
CHILD = Caution(id="child", text="Under 18: plan by hand.", eye=None, level="stop")


def _list(ward, now):
    with ward.store.read() as session:
        return worklist(session, now)


def _short(ward, now) -> list[tuple[str, str]]:
    return [(item.patient.code, item.kind) for item in _list(ward, now)]


def _say(item) -> str:
    return reason(item, translator("en", "desk"))


def _in_hand(ward, plan) -> None:
    """Print the sheet of a plan and give it to the patient."""
    sheet_id = f"{plan.id:010d}"
    with ward.store.write(ward.counsellor, ward.now) as unit:
        issue_sheet(unit, plan_id=plan.id, sheet_id=sheet_id, language="en")
        hand_over_sheet(unit, sheet_id=sheet_id, to="self")


def _tiered(ward, code: str, tier: str, latest: int):
    need = ward.need("look", 1, latest, tier=tier)
    plan = ward.signed(code, ward.body(code, needs=(need,), trips=(ward.visit(1, 1, need),)))
    _in_hand(ward, plan)
    return plan


def test_a_patient_with_a_signed_plan_in_hand_and_nothing_missed_is_not_on_the_list(ward):
    _in_hand(ward, ward.signed())
    assert _list(ward, ward.at(1)) == ()


def test_a_patient_is_on_the_list_from_the_midnight_after_the_last_day_of_the_window(ward):
    _in_hand(ward, ward.signed())
    # Midnight in Kolkata is 18:30 UTC.
    assert _list(ward, ward.at(1, 18.49)) == ()
    (item,) = _list(ward, ward.at(1, 18.5))
    assert (item.kind, item.since, item.days, item.due_by) == ("overdue", ward.day(2), 1, ward.day(1))
    assert item.because == ("The first-look is due.",)
    assert item.eyes == ("right",)


def test_the_reason_is_said_in_whole_sentences(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    assert _say(*_list(ward, ward.at(2))) == (
        "Overdue for 1 day: the last day for this check was Tuesday 2 March 2027."
    )
    with ward.store.write(ward.reception, ward.at(2)) as unit:
        mark_noshow(unit, trip_id=ward.trips(plan)[0].id)
    assert _say(*_list(ward, ward.at(4))) == (
        "Overdue for 3 days: the last day for this check was Tuesday 2 March 2027. "
        "The patient did not come to the visit."
    )


def test_a_late_visit_whose_window_is_open_is_not_yet_one_to_reach(ward):
    _tiered(ward, "K-1", "C", latest=9)
    assert _list(ward, ward.at(8)) == ()
    assert len(_list(ward, ward.at(10))) == 1


def test_the_overdue_come_by_tier_and_then_by_how_long(ward):
    for code, tier, latest in (
        ("K-1", "C", 2),
        ("K-2", "B", 4),
        ("K-3", "A", 5),
        ("K-4", "B", 3),
        ("K-5", "A", 6),
    ):
        _tiered(ward, code, tier, latest)
    assert [item.patient.code for item in _list(ward, ward.at(9))] == ["K-3", "K-5", "K-4", "K-2", "K-1"]


def test_a_patient_who_has_arrived_leaves_the_list(ward):
    plan = _tiered(ward, "K-1", "A", 2)
    with ward.store.write(ward.reception, ward.at(5)) as unit:
        mark_arrived(unit, trip_id=ward.trips(plan)[0].id, nonce="n")
    assert _list(ward, ward.at(5)) == ()


def test_a_plan_by_hand_stands_on_the_list_from_the_first_day_with_the_first_look(ward):
    first = ward.need("first-look", 1, 1)
    refused = ward.body(status="on-hold", refused=(CHILD,), needs=(first,), trips=())
    ward.draft(ward.enter(), refused)
    (item,) = _list(ward, ward.now)
    assert (item.kind, item.due_by, item.days) == ("plan by hand", ward.day(1), 0)
    assert _say(item) == (
        "The protocol makes no plan for this patient: the surgeon plans by hand. "
        "The first look must be by Tuesday 2 March 2027."
    )
    (item,) = _list(ward, ward.at(3))
    assert item.days == 2


def test_a_plan_by_hand_without_any_check_is_on_the_list_too(ward):
    ward.draft(ward.enter(), ward.body(status="on-hold", refused=(CHILD,), needs=(), trips=()))
    (item,) = _list(ward, ward.now)
    assert (item.kind, item.due_by) == ("plan by hand", None)


def test_a_draft_with_questions_is_on_the_list_at_once(ward):
    ward.draft(ward.enter(), ward.body(questions=(QUESTION, QUESTION)))
    (item,) = _list(ward, ward.now)
    assert (item.kind, item.questions) == ("plan incomplete", 2)
    assert _say(item).startswith("The plan waits for the surgeon's answers to 2 questions.")


def test_a_draft_that_only_a_decision_holds_up_says_so(ward):
    ward.draft(ward.enter(), ward.body(cautions=(CHILD,)))
    (item,) = _list(ward, ward.now)
    assert _say(item).startswith("The plan waits for the surgeon's decision")


def test_a_draft_without_questions_is_on_the_list_when_a_day_has_passed_without_a_signature(ward):
    ward.draft(ward.enter())
    assert _list(ward, ward.now) == ()
    (item,) = _list(ward, ward.at(1))
    assert item.kind == "plan incomplete"
    assert "signature" in _say(item)


def test_a_changed_draft_beside_a_signed_plan_is_on_the_list_only_with_questions(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    _seen(ward, plan, 0, day=1)
    ward.draft(plan.patient_id)
    assert _list(ward, ward.at(4)) == ()
    ward.draft(plan.patient_id, ward.body(questions=(QUESTION,)))
    (item,) = _list(ward, ward.at(4))
    assert (item.kind, item.due_by) == ("plan incomplete", None)


def test_a_new_version_stays_on_the_list_until_its_sheet_is_in_the_patients_hands(ward):
    old = ward.signed()
    _in_hand(ward, old)
    new = ward.sign(ward.draft(old.patient_id).id)
    (item,) = _list(ward, ward.now)
    assert (item.kind, item.plan_id, item.since) == ("new version", new.id, ward.day0)
    assert _say(item) == (
        "A plan was signed on Monday 1 March 2027 and its sheet is not in the patient's hands yet."
    )
    _in_hand(ward, new)
    assert _list(ward, ward.now) == ()


def test_the_kinds_stand_in_their_order(ward):
    ward.signed("K-1")
    ward.draft(ward.enter(ward.record("K-2")), ward.body("K-2", questions=(QUESTION,)))
    held = ward.body("K-3", status="on-hold", refused=(CHILD,), needs=(), trips=())
    ward.draft(ward.enter(ward.record("K-3")), held)
    assert _short(ward, ward.at(3)) == [
        ("K-1", "overdue"),
        ("K-3", "plan by hand"),
        ("K-2", "plan incomplete"),
    ]


def test_the_list_asks_the_database_as_often_for_one_patient_as_for_four(ward):
    counts = []
    for number in range(4):
        ward.signed(f"K-{number}")
        asked: list[str] = []

        def note(_c, _cursor, statement, *_rest, asked=asked):
            asked.append(statement)

        event.listen(ward.store.engine, "before_cursor_execute", note)
        assert len(_list(ward, ward.at(2))) == number + 1
        event.remove(ward.store.engine, "before_cursor_execute", note)
        counts.append(sum(statement.startswith("SELECT") for statement in asked))
    assert counts[0] == counts[3] > 0


@pytest.mark.parametrize("damage", ["{}", "not json"])
def test_a_plan_that_does_not_load_does_not_hide_its_overdue_patient(ward, damage):
    from sqlalchemy import text

    plan = ward.signed()
    _in_hand(ward, plan)
    with ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE care_plan SET gist = :body"), {"body": damage})
    (item,) = _list(ward, ward.at(2))
    assert (item.patient.code, item.kind, item.needs) == ("K-1", "overdue", ())


# One line a patient


def _missed(ward, plan, *numbers: int, at: int) -> None:
    for number in numbers:
        with ward.store.write(ward.reception, ward.at(at)) as unit:
            mark_noshow(unit, trip_id=ward.trips(plan)[number].id)


def test_a_patient_with_several_reasons_stands_on_one_line_that_says_them_all(ward):
    plan = ward.signed()
    _missed(ward, plan, 0, at=1)
    (item,) = _list(ward, ward.at(12))
    assert (item.kind, item.days, [other.kind for other in item.also]) == (
        "overdue",
        11,
        ["overdue", "new version"],
    )
    assert [need.kind for need in item.checks] == ["first-look", "week"]
    said = _say(item)
    assert said.startswith("Overdue for 11 days: the last day for this check was Tuesday 2 March 2027. ")
    assert "Overdue for 3 days: the last day for this check was Wednesday 10 March 2027." in said
    assert said.endswith("its sheet is not in the patient's hands yet.")


def test_the_worst_tier_leads_the_line_however_long_the_other_is_overdue(ward):
    mild, severe = ward.need("week", 1, 2), ward.need("retina", 4, 5, tier="A")
    trips = (ward.visit(1, 2, mild), ward.visit(2, 5, severe))
    _in_hand(ward, ward.signed("K-1", ward.body(needs=(mild, severe), trips=trips)))
    _tiered(ward, "K-2", "B", 3)
    first, second = _list(ward, ward.at(9))
    assert (first.patient.code, first.tier, first.days) == ("K-1", "A", 4)
    assert (second.patient.code, second.tier) == ("K-2", "B")


# Seen since


def _seen(ward, plan, number: int, day: int) -> None:
    """The patient came and what the visit was for was looked at."""
    with ward.store.write(ward.reception, ward.at(day)) as unit:
        mark_arrived(unit, trip_id=ward.trips(plan)[number].id, nonce=f"{number}")
    with ward.store.write(ward.surgeon, ward.at(day)) as unit:
        mark_fulfilled(unit, trip_id=ward.trips(plan)[number].id)


def test_who_missed_a_visit_and_came_to_the_next_is_not_overdue_but_must_be_planned_again(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    _missed(ward, plan, 0, at=1)
    assert _short(ward, ward.at(6)) == [("K-1", "overdue")]
    _seen(ward, plan, 1, day=7)
    (item,) = _list(ward, ward.at(7))
    assert (item.kind, item.seen, item.seen_in_time) == ("plan again", ward.day(7), False)
    assert _say(item) == (
        "The patient was here on Monday 8 March 2027, after a visit was missed: "
        "what was missed must be planned again."
    )


def test_who_came_inside_the_window_of_the_missed_visit_is_asked_about_by_name_of_the_day(ward):
    wide, other = ward.need("week", 5, 9), ward.need("retina", 8, 12)
    trips = (ward.visit(1, 6, wide), ward.visit(2, 8, other))
    plan = ward.signed("K-1", ward.body(needs=(wide, other), trips=trips))
    _in_hand(ward, plan)
    _missed(ward, plan, 0, at=6)
    _seen(ward, plan, 1, day=8)
    (item,) = _list(ward, ward.at(10))
    assert (item.kind, item.seen_in_time) == ("plan again", True)
    assert "here on Tuesday 9 March 2027, in time for it" in _say(item)


def test_a_visit_before_the_missed_one_does_not_excuse_it(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    _seen(ward, plan, 0, day=1)
    (item,) = _list(ward, ward.at(10))
    assert (item.kind, item.due_by) == ("overdue", ward.day(9))


def test_a_newly_signed_plan_takes_the_missed_visit_off_the_list(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    _missed(ward, plan, 0, at=1)
    _seen(ward, plan, 1, day=7)
    week = ward.need("week", 9, 14)
    again = ward.draft(plan.patient_id, ward.body(needs=(week,), trips=(ward.visit(1, 10, week),)))
    _in_hand(ward, ward.sign(again.id, now=ward.at(7)))
    assert _list(ward, ward.at(8)) == ()


# Days that have become closed


def _close(ward, *holidays: int, **more) -> None:
    with ward.store.write(ward.manager, ward.now) as unit:
        calendar = {"holidays": [ward.day(number).isoformat() for number in holidays], **more}
        put_clinic(unit, replace(get_clinic(unit.session), calendar=json.dumps(calendar)))


def test_a_visit_on_a_day_that_became_closed_is_one_to_reach_with_the_reason(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    assert _list(ward, ward.now) == ()
    _close(ward, 7)
    (item,) = _list(ward, ward.now)
    assert (item.kind, item.tier, item.since, item.trip_id) == (
        "closed day", "C", ward.day(7), ward.trips(plan)[1].id
    )  # fmt: skip
    assert _say(item) == (
        "On Monday 8 March 2027, the day of the visit, the clinic does not offer what it is for: "
        "move the visit and tell the patient."
    )
    with ward.store.write(ward.reception, ward.now) as unit:
        move_trip(unit, trip_id=item.trip_id, day=ward.day(8))
    assert _list(ward, ward.now) == ()


def test_a_visit_whose_service_is_not_offered_any_more_is_one_to_reach_too(ward):
    _in_hand(ward, ward.signed())
    _close(ward, services=[{"name": "review", "weekdays": ["tuesday"]}])
    assert [each.since for each in _list(ward, ward.now)[0].to_move] == [ward.day(7), ward.day(42)]


def test_visits_to_move_come_by_tier_and_day_after_the_overdue_and_before_the_rest(ward):
    for code, tier, day in (("K-1", "C", 9), ("K-2", "A", 9), ("K-3", "C", 5), ("K-4", "B", 1)):
        look = ward.need("look", 1, day, tier=tier)
        plan = ward.signed(code, ward.body(code, needs=(look,), trips=(ward.visit(1, day, look),)))
        _in_hand(ward, plan)
    ward.signed("K-5", ward.body("K-5", needs=(), trips=()))
    _close(ward, 5, 9)
    assert _short(ward, ward.at(2)) == [
        ("K-4", "overdue"),
        ("K-2", "closed day"),
        ("K-3", "closed day"),
        ("K-1", "closed day"),
        ("K-5", "new version"),
    ]


def test_a_closed_day_stands_beside_what_is_more_pressing(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    _close(ward, 7)
    (item,) = _list(ward, ward.at(3))
    assert item.kind == "overdue"
    assert [each.trip_id for each in item.to_move] == [ward.trips(plan)[1].id]
    assert "move the visit and tell the patient" in _say(item)


def test_each_site_has_its_own_closed_days(ward):
    plan = ward.signed()
    _in_hand(ward, plan)
    with ward.store.write(SYSTEM, ward.now) as unit:
        calendar = json.dumps({"holidays": [ward.day(7).isoformat()]})
        other = put_site(unit, Site(0, "HILL", "Hill clinic", calendar=calendar))
        unit.log("site added", "clinic", code=other.code)
    assert _list(ward, ward.now) == ()
    with ward.store.engine.begin() as connection:
        connection.exec_driver_sql(f"UPDATE patient SET site_id = {other.id} WHERE id = {plan.patient_id}")
    assert [item.kind for item in _list(ward, ward.now)] == ["closed day"]


# Damage


def _possible(damage: str, dialect: str) -> str:
    """PostgreSQL keeps out what is not JSON at all; what is no list gets in there too."""
    return damage if dialect == "sqlite" else damage.replace("'broken'", "'7'")


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE trip SET serves = 'broken' WHERE patient_id = 1",
        "UPDATE trip SET services = 'broken' WHERE patient_id = 1",
        "UPDATE patient SET telephones = 'broken' WHERE id = 1",
        "UPDATE patient SET telephones = '[{\"number\": 7}]' WHERE id = 1",
        "UPDATE care_plan SET gist = '{' WHERE patient_id = 1",
    ],
)
def test_a_damaged_entry_is_named_and_hides_nobody_else(ward, damage):
    for code in ("K-1", "K-2"):
        ward.signed(code)
    with ward.store.engine.begin() as connection:
        connection.exec_driver_sql(_possible(damage, connection.dialect.name))
    damaged, sound = _list(ward, ward.at(3))
    assert (damaged.patient.code, damaged.kind) == ("K-1", "damaged")
    assert _say(damaged).startswith("An entry of this patient is damaged and can't be read")
    assert (sound.patient.code, sound.kind) == ("K-2", "overdue")
