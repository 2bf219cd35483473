"""Whose work it is, behind every door: each use case asked directly by each role, and from another site.

The table is written from the roles' days in README.md. The program has a role of its own: it stores, drafts,
prints and completes; it never signs, answers, looks, marks an arrival or hands over.
"""

from __future__ import annotations

import ast
import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from sqlalchemy import text
from use_cases import ANSWER, EDIT, ROLES, USE_CASES, correct, record_of

from followup import records
from followup.clinical.adjustments import CourseEdit
from followup.errors import FollowupError
from followup.records.desk.alerts import open_alert, open_alerts
from followup.records.desk.trip_steps import book_trip
from followup.records.house.asked_roles import asked_roles
from followup.records.house.staff import (
    add_staff,
    all_staff,
    bind_staff,
    change_staff,
    find_session,
    open_session,
    staff_by_login,
)
from followup.records.people.messages import queue_message
from followup.records.people.patients import correct_record, enter_record, newest_record, patient_by_code
from followup.records.plans.sheets import issue_sheet
from followup.records.store.sites import Site, put_site
from followup.records.store.store import Store, Unit
from followup.records.views import SYSTEM, Actor


@pytest.fixture(scope="module")
def hill(shared_ward):
    """A second site with a patient of its own: in force, printed, booked, in danger, a message."""
    ward = shared_ward
    with ward.store.write(SYSTEM, ward.now) as unit:
        site = put_site(unit, Site(0, "HILL", "Hill room"))
        unit.log("site added", "site:HILL")
    there = replace(ward, store=ward.store.for_site(site.id))
    plan = there.signed("K-2")
    first, week, late = there.trips(plan)
    edit = CourseEdit(starts=ward.day(7), **EDIT)
    draft = there.draft(plan.patient_id, ward.body("K-2"), edits=(edit,))
    with there.store.write(ward.counsellor, ward.now) as unit:
        issue_sheet(unit, plan_id=plan.id, sheet_id="0123456789", language="en")
        open_alert(unit, patient_id=plan.patient_id, kind="senior review", day=ward.day0, signs=["pus"])
    with there.store.write(ward.reception, ward.now) as unit:
        book_trip(unit, trip_id=late.id)
    with ward.store.read() as session:
        alert = open_alerts(session)[0].id
        record = newest_record(session, plan.patient_id).record
        entry = session.execute(text("SELECT max(number) FROM journal")).scalar_one()
    with ward.store.write(SYSTEM, ward.now) as unit:
        words = {"language": "en", "reader": "patient", "channel": "mail", "address": "x@example.org"}
        days = {"day": ward.day0, "last_useful": ward.day0, "next_try": unit.now}
        given = {**words, **days, "text": "t", "segments": 1, "key": "k", "patient_id": plan.patient_id}
        queue_message(unit, patient_code="K-2", kind="reminder", **given)
        unit.session.execute(text("UPDATE message SET state = 'failed'"))
        for login in ("ona", "lee"):
            add_staff(unit, login=login, name=login.title(), roles=["manager"], password_hash="-")
        bind_staff(unit, login="lee", site=site.id)
    with there.store.write(Actor("dev", frozenset({"manager"}), site=site.id), ward.now) as unit:
        add_staff(unit, login="zoe", name="Zoe", roles=["surgeon"], password_hash="-")
        (asked,) = asked_roles(unit.session)
    return SimpleNamespace(
        **{"ward": ward, "store": there.store, "site": site.id, "patient": plan.patient_id, "plan": plan.id},
        **{"draft": draft.id, "edit": edit, "first": first.id, "week": week.id, "late": late.id},
        **{"alert": alert, "record": record, "entry": entry, "message": 1, "sheet": "0123456789"},
        asked=asked.id,
    )


def _tried(there, use_case, actor, store=None):
    """What came of it, or the code of the refusal; nothing is kept."""
    ward = replace(there.ward, store=store or there.ward.store)
    return ward.would(ward.now, lambda unit: use_case.call(unit, there), by=actor)


def _one(role: str, **more) -> Actor:
    """Somebody with this role alone."""
    return Actor(f"the {role}", frozenset({role}), role.capitalize(), "R-9", **more)


def _rows(there) -> list[int]:
    with there.ward.store.read() as session:
        tables = ("journal", "patient", "record_version", "care_plan", "trip", "sheet", "staff", "site")
        return [session.execute(text(f"SELECT count(*) FROM {name}")).scalar_one() for name in tables]


@pytest.mark.parametrize("use_case", USE_CASES, ids=str)
def test_each_role_may_do_its_own_work_and_no_other(hill, use_case):
    before, allowed = _rows(hill), use_case.who.split()
    store = hill.store if use_case.found else hill.ward.store
    refused = {role: _tried(hill, use_case, _one(role), store) == "role.missing" for role in ROLES}
    assert refused == {role: role not in allowed for role in ROLES}
    assert _tried(hill, use_case, Actor("nobody")) == "role.missing", "somebody without any role"
    assert _rows(hill) == before


def test_whatever_asks_whose_work_it_is_has_its_line_in_the_table(hill, monkeypatch):
    room = [path.read_text("utf-8") for path in Path(records.__file__).parent.rglob("*.py")]
    asking = {
        node.name
        for source in room
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef)
        and "unit.need_role(" in (ast.get_source_segment(source, node) or "")
    }
    asked = set()

    def need_role(_unit, *_roles):
        asked.add(sys._getframe(1).f_code.co_name)

    monkeypatch.setattr(Unit, "need_role", need_role)
    for use_case in USE_CASES:
        _tried(hill, use_case, SYSTEM, hill.store if use_case.found else hill.ward.store)
    assert len(asking) > 30
    assert asked == asking


@pytest.mark.parametrize("use_case", [one for one in USE_CASES if one.found], ids=str)
@pytest.mark.parametrize("through", ["the whole store", "the store of the other site"])
def test_nobody_of_another_site_does_it_whatever_the_store(hill, use_case, through):
    before = _rows(hill)
    store = hill.ward.store if through == "the whole store" else hill.store
    for role in use_case.who.split():
        found = _tried(hill, use_case, _one(role, site=1), store)
        assert str(found).endswith(".unknown"), f"{role} of another site: {use_case}"
    assert _rows(hill) == before


@pytest.mark.parametrize("name", ["the protocol signed", "the clinic's data"])
def test_what_holds_for_every_site_is_for_those_who_work_at_every_site(hill, name):
    use_case = next(one for one in USE_CASES if one.name == name)
    for role in use_case.who.split():
        assert _tried(hill, use_case, _one(role)) != "role.missing"
        assert _tried(hill, use_case, _one(role, site=hill.site)) == "role.missing"


def test_whoever_is_new_at_a_site_works_there_alone_and_is_seen_there_alone(hill):
    def hired(unit):
        made = add_staff(unit, login="asha", name="Asha", roles=["reception"], password_hash="-")
        # Other tests of this house may have hired people before.
        return made.site, [one.login for one in all_staff(unit.session) if one.login in ("asha", "lee")]

    for site, seen in ((hill.site, ["asha", "lee"]), (1, ["asha"]), (None, ["asha", "lee"])):
        manager = Actor("dev", frozenset({"manager"}), "Dev", site=site)
        assert hill.ward.would(hill.ward.now, hired, by=manager) == (site, seen)


def test_everybody_changes_the_own_password_and_nothing_else_of_the_own_entry(hill):
    now = hill.ward.now
    own = Actor("lee", frozenset({"manager"}), "Lee", site=hill.site)
    with hill.ward.store.write(SYSTEM, now) as unit:
        add_staff(unit, login="omar", name="Omar", roles=["reception"], password_hash="old")
    omar = Actor("omar", frozenset({"reception"}), "Omar")
    changed = hill.ward.would(now, change_staff, by=omar, login="OMAR ", password_hash="new")
    assert changed.password_hash == "new"
    for given in ({"roles": ["manager"]}, {"active": True}, {"roles": ["reception"], "password_hash": "new"}):
        assert hill.ward.would(now, change_staff, by=omar, login="omar", **given) == "role.missing"
    assert hill.ward.would(now, change_staff, by=omar, login="lee", password_hash="new") == "role.missing"
    assert hill.ward.would(now, change_staff, by=own, login="lee", password_hash="new").site == hill.site


def test_the_last_manager_of_every_site_is_taken_away_by_no_way(hill):
    """A manager who is bound to a site can't mend what holds for every site."""
    lee, ona = (
        Actor(who, frozenset({"manager"}), site=at) for who, at in (("lee", hill.site), ("ona", None))
    )

    def refused(use_case, by, **given) -> bool:
        return hill.ward.would(hill.ward.now, use_case, by=by, login="ona", **given) == "staff.last"

    assert refused(bind_staff, SYSTEM, site=hill.site)
    for by in (ona, SYSTEM):
        assert refused(change_staff, by, active=False)
        assert refused(change_staff, by, roles=["reception"])
    assert not hill.ward.would(hill.ward.now, change_staff, by=lee, login="lee", active=False).active
    with hill.ward.store.write(SYSTEM, hill.ward.now) as unit:
        add_staff(unit, login="ines", name="Ines", roles=["manager"], password_hash="-")
    assert (
        hill.ward.would(hill.ward.now, bind_staff, by=SYSTEM, login="ona", site=hill.site).site == hill.site
    )


@pytest.mark.parametrize(
    ("asker", "whose", "acts"),
    [("ona", None, True), ("ona", "hill", False), ("lee", "hill", False)],
    ids=["nobody else sees the person", "the site's manager could agree", "the clinic's manager could agree"],
)
def test_a_second_person_is_one_who_sees_whom_it_concerns(hill, asker, whose, acts):
    def asked(unit):
        unit.session.execute(text("UPDATE staff SET active = false WHERE login NOT IN ('ona', 'lee')"))
        made = add_staff(unit, login="uma", name="Uma", roles=["reception"], password_hash="-")
        site = hill.site if whose else None
        unit.session.execute(text("UPDATE staff SET site_id = :site WHERE login = 'uma'"), {"site": site})
        unit.session.expire_all()
        return change_staff(unit, login=made.login, roles=["reception", "counsellor"])

    site = hill.site if asker == "lee" else None
    by = Actor(asker, frozenset({"manager"}), site=site)
    found = hill.ward.would(hill.ward.now, asked, by=by).roles
    assert found == ({"reception", "counsellor"} if acts else {"reception"})


def test_the_only_manager_of_a_clinic_stays_though_bound_to_a_site(hill):
    def changed(unit, **change):
        # As an older version let it be.
        unit.session.execute(text("UPDATE staff SET active = false WHERE login <> 'lee'"))
        return change_staff(unit, login="lee", **change)

    manager = Actor("lee", frozenset({"manager"}), "Lee", site=hill.site)
    for change in ({"active": False}, {"roles": ["reception"]}):
        assert hill.ward.would(hill.ward.now, changed, by=manager, **change) == "staff.last"


def test_where_nobody_is_manager_everybody_else_is_changed_all_the_same(sqlite_ward):
    """Only the change that takes the last manager away is refused."""
    with sqlite_ward.store.write(SYSTEM, sqlite_ward.now) as unit:
        add_staff(unit, login="omar", name="Omar", roles=["reception"], password_hash="-")
    for change in ({"roles": ["counsellor"]}, {"active": False}, {"password_hash": "new"}):
        changed = sqlite_ward.would(sqlite_ward.now, change_staff, by=SYSTEM, login="omar", **change)
        assert changed.login == "omar", changed


@pytest.mark.parametrize(
    ("changes", "refused"),
    [
        ({"site": 1}, True),
        ({"site": None}, True),
        ({"roles": frozenset({"counsellor", "surgeon"})}, True),
        ({"roles": frozenset({"counsellor"})}, False),
        ({}, False),
    ],
    ids=["another site", "every site", "two roles for one", "one of the roles", "nothing changed"],
)
def test_who_was_let_in_as_more_than_the_person_is_by_now_stores_nothing(hill, changes, refused):
    with hill.ward.store.write(SYSTEM, hill.ward.now) as unit:
        if staff_by_login(unit.session, "mo") is None:
            add_staff(unit, login="mo", name="Mo", roles=["counsellor", "reception"], password_hash="-")
            bind_staff(unit, login="mo", site=hill.site)
    actor = Actor("mo", frozenset({"counsellor"}), "Mo", site=hill.site)
    found = hill.ward.would(
        hill.ward.now, enter_record, by=replace(actor, **changes), record=hill.ward.record("K-7")
    )
    assert (found == "role.missing") is refused


def test_the_program_has_its_own_role_and_no_other():
    assert SYSTEM.roles == {"program"}


def test_what_stands_open_is_read_at_the_own_site_alone(hill):
    with hill.ward.store.for_site(1).read() as session:
        assert open_alerts(session) == ()
    with hill.store.read() as session:
        assert [one.id for one in open_alerts(session)] == [hill.alert]


def test_the_programs_own_role_can_be_given_to_nobody(hill):
    for role in ("program", "system", "everybody", "anonymous"):
        given = {"login": "x", "name": "X", "roles": [role], "password_hash": "-"}
        assert hill.ward.would(hill.ward.now, add_staff, by=SYSTEM, **given) == "staff.roles"


@pytest.mark.parametrize("login", ["system", "System ", "command line"])
def test_nobody_logs_in_under_a_name_of_the_program(hill, login):
    given = {"login": login, "name": "X", "roles": ["reception"], "password_hash": "-"}
    assert hill.ward.would(hill.ward.now, add_staff, by=SYSTEM, **given) == "staff.login"


def test_the_program_goes_on_where_somebody_had_its_name_before(sqlite_ward):
    with sqlite_ward.store.write(SYSTEM, sqlite_ward.now) as unit:
        add_staff(unit, login="old", name="Old", roles=["reception"], password_hash="-")
        unit.session.execute(text("UPDATE staff SET login = 'system', active = 0 WHERE login = 'old'"))
    record = sqlite_ward.record("K-9")
    assert sqlite_ward.would(sqlite_ward.now, enter_record, by=SYSTEM, record=record).number == 1


def test_a_counsellor_corrects_a_record_with_the_surgeons_answers_in_it_and_leaves_them_as_they_are(hill):
    ward = hill.ward

    def corrected(answers, name="Wanjiru Otieno", eye="right"):
        record = record_of(hill, "K-8", answers=answers, eye=eye, eye_drawn=eye)
        who = record.patient.model_copy(update={"name": name})

        def use_case(unit):
            number = patient_by_code(unit.session, "K-8").id
            new = record.model_copy(update={"patient": who})
            return correct_record(unit, patient_id=number, record=new, seen=1).number

        return ward.would(ward.now, use_case, by=ward.counsellor)

    with ward.store.write(ward.surgeon, ward.now) as unit:
        enter_record(unit, record=record_of(hill, "K-8", answers=(ANSWER,)))
    assert corrected((ANSWER,)) == 2
    assert corrected(()) == "role.missing", "an answer taken out"
    assert corrected(({**ANSWER, "decision": "do not give"},)) == "role.missing", "an answer turned"
    assert corrected((ANSWER,), eye="left") == "role.missing", "an answer brought to the other eye"


def test_a_session_names_its_person_from_whatever_site_it_is_looked_up(hill):
    with hill.ward.store.write(SYSTEM, hill.ward.now) as unit:
        token = open_session(unit, login="lee", lifetime=timedelta(hours=1))
    for store in (hill.ward.store, Store(hill.ward.store.engine, site=1)):
        with store.read() as session:
            found = find_session(session, token=token, now=hill.ward.now, idle=timedelta(minutes=30))
        assert found.staff.login == "lee"


def test_a_refusal_names_the_first_of_several_fields_by_its_name(hill):
    said = {"answers": (ANSWER,), "choices": {"cycloplegic": "do not give"}}
    both = record_of(hill, "K-5", **said)
    look = {"need": "right:first-look", "day": hill.ward.day(2), "why": "closed on day 1"}
    record = type(both).model_validate(both.model_dump() | {"decisions": [look]})
    with (
        pytest.raises(FollowupError) as caught,
        hill.store.write(hill.ward.counsellor, hill.ward.now) as unit,
    ):
        enter_record(unit, record=record)
    assert (caught.value.code, caught.value.where) == ("role.missing", "Cautions that the surgeon answered")


def test_a_refusal_names_the_field_and_whose_work_it_is(hill):
    with (
        pytest.raises(FollowupError) as caught,
        hill.store.write(hill.ward.counsellor, hill.ward.now) as unit,
    ):
        correct(unit, hill, record_of(hill, "K-2", answers=(ANSWER,)))
    assert (caught.value.where, caught.value.fix) == (
        "Cautions that the surgeon answered",
        "leave it as it was; the plan asks the surgeon",
    )
