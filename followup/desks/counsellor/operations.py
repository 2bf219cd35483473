"""The counsellor's desk: the day's operations, and the record of each as the story it is."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from urllib.parse import quote

from fastapi import APIRouter, Request, Response

from followup.care.fields.checked import check, place_of
from followup.care.fields.values import Flat, fill_form, read_form, rows
from followup.care.looks.before_leaving import checks_to_do
from followup.care.plans.preview import Glance, glance_of
from followup.care.records import operations as care
from followup.care.records.operations import Listed, OperationList
from followup.care.records.recording import (
    Correction,
    NewRecord,
    correct,
    enter,
    find_patient,
    known_patient,
    newest_version,
    tellings,
)
from followup.care.records.telling import OperationTold
from followup.clinical.record import Eye, Record, parse_json_object
from followup.desks.counsellor.telling import NOT_ANSWERED, NOT_READ, ToldForm
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.forms.chips import completed
from followup.desks.forms.layout import LEANS, routine_answers
from followup.desks.forms.merge import Changed, merge
from followup.desks.forms.problems import Slip, slips_of
from followup.desks.forms.sheet import FormView, with_another_row, without_row
from followup.desks.forms.told import carried
from followup.desks.forms.told_view import ToldView
from followup.desks.page.days import AskedDay
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, act_of, day_of_form, first, number_of
from followup.desks.words.days import day_box
from followup.desks.words.texts import Texts
from followup.errors import FollowupError
from followup.records.duties import SURGEON
from followup.records.house.staff import all_staff
from followup.records.people.folding import fold_code
from followup.records.people.oplist import operation_list, operations_on
from followup.records.people.patients import record_versions
from followup.records.views import OperationOnDay, PatientView, RecordVersion
from followup.said import say
from followup.telling.lexicon import languages

router = APIRouter()
_FIRST = "operations.0."


@router.get("/operations")
def operations(request: Request, hand: AnyHand, on: AskedDay) -> Response:
    return _operations_page(request, hand, on or hand.today)


@router.post("/operations/list")
def set_list(request: Request, hand: AnyHand, form: AForm) -> Response:
    """The day's list as pasted lines: code, name, eye. What it takes out is said before it goes."""
    day, typed = day_of_form(first(form, "on"), hand), first(form, "lines")
    try:
        lines = [
            _list_line(i, line, hand.texts) for i, line in enumerate(typed.splitlines(), 1) if line.strip()
        ]
        act = act_of(OperationList, {"on": day, "lines": lines})
        out = care.set_list(hand, act, may_go=first(form, "takes_out"))
    except FollowupError as exc:
        return _operations_page(request, hand, day, error=exc.line, typed=typed)
    if out:
        return _operations_page(request, hand, day, typed=typed, out=out)
    return go(f"/operations?on={day}")


@router.get("/operations/new")
def new_operation(request: Request, hand: AnyHand, on: AskedDay, code: str = "") -> Response:
    """A new record, with the name that stands beside ``code`` on the day's list."""
    day = on or hand.today
    if code and (known := find_patient(hand, code)):
        return go(f"/patients/{known.code}/record?add={day}")
    answers = routine_answers(hand.protocol.routine, 0, day.isoformat()) | {
        "patient.code": [code],
        "patient.name": [_listed_name(hand, day, code)],
        "patient.telephones.0.number": [""],
        "operations.0.surgeon": [""],
    }
    return _form_page(request, hand, FormView(answers))


def _listed_name(hand: DeskHand, day: date, code: str) -> str:
    with hand.store.read() as session:
        listed = operation_list(session, day) if code else ()
    return next((line.name for line in listed if fold_code(line.patient_code) == fold_code(code)), "")


@router.post("/operations/new")
def save_new(request: Request, hand: AnyHand, form: AForm) -> Response:
    return _save(request, hand, form, None)


@router.get("/operations/paste")
def paste_page(request: Request) -> Response:
    return show(request, "paste.html", error=None, text="")


@router.post("/operations/paste")
def save_pasted(request: Request, hand: AnyHand, form: AForm) -> Response:
    """A whole record as JSON, pasted or uploaded; for a known patient the next version of it."""
    text = first(form, "file") or first(form, "text")
    try:
        record = check(parse_json_object(text, "the record"))
        known = find_patient(hand, record.patient.code)
        plan = _store(hand, record, known, known.record_number if known else 0)
    except FollowupError as exc:
        return show(request, "paste.html", status=422, error=exc.line, text=text)
    return go(f"/plans/{plan}")


@router.get("/patients/{code}/record")
def record_page(request: Request, hand: AnyHand, code: str, add: date | None = None) -> Response:
    version = newest_version(hand, known_patient(hand, code))
    answers = fill_form(version.record.model_dump(mode="json", exclude_none=True))
    if add is not None:
        answers |= routine_answers(hand.protocol.routine, len(version.record.operations), add.isoformat())
    return _form_page(request, hand, FormView(answers), version=version)


@router.post("/patients/{code}/record")
def save_record(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    return _save(request, hand, form, known_patient(hand, code))


@router.post("/operations/preview")
def preview(request: Request, hand: AnyHand, form: AForm) -> Response:
    """What the form as it stands would lead to: a fragment of a page, nothing is stored."""
    return show(request, "record-preview.html", glance=_glance(hand, form))


def _save(request: Request, hand: DeskHand, form: Posted, known: PatientView | None) -> Response:
    """Store the form and go to the plan; on any problem show it again with all that was typed."""
    version, seen = newest_version(hand, known) if known else None, number_of(first(form, "seen"))
    page = partial(_form_page, request, hand, version=version, seen=seen)
    told = ToldForm.of(hand, completed(form), version)
    if "known" in form:
        return _known(request, hand, told)
    if "read" in form:
        filled, box = told.read_now()
        looked = _glance(hand, filled) if box.read else None
        return page(FormView(filled, told=box), looked=looked, status=422 if box.problem else 200)
    if "add" in form:
        return page(replace(_one_more(told.form, hand), told=told.view))
    if "remove" in form:
        return page(FormView(without_row(told.form, first(form, "remove")), told=told.view))
    if "look" in form:
        return page(FormView(_again(told), told=told.view), looked=_glance(hand, form))
    if told.changed:
        filled, box = told.read_now()
        return page(FormView(filled, told=box), error=box.problem or NOT_READ, status=422)
    if told.view.open_asks:
        return page(FormView(told.form, told=told.view), error=NOT_ANSWERED, status=422)
    return _saved(hand, page, told, known, seen)


def _saved(
    hand: DeskHand, page: Callable[..., Response], told: ToldForm, known: PatientView | None, seen: int
) -> Response:
    answers = _again(told)
    try:
        plan = _store(hand, check(read_form(told.form)), known, seen, told.act)
    except FollowupError as exc:
        if exc.code != "record.changed" or told.version is None:
            slips = _slips(exc, hand, answers)
            beside = {slip.name: slip.text for slip in slips if slip.name}
            view = FormView(answers, beside, focus=next(iter(beside), ""), told=told.view)
            return page(view, error=exc.line, slips=slips, status=422)
        mine = fill_form(read_form(told.form))
        merged, changed = _with_theirs(hand, told.version, seen, mine)
        view = FormView(merged, told=told.view)
        return page(view, seen=told.version.number, error=exc.line, changed=changed, status=409)
    return go(f"/plans/{plan}")


def _again(told: ToldForm) -> Posted:
    """The form to show again: line by line as it was sent where what was told names its lines."""
    return told.form if told.view.read else fill_form(read_form(told.form))


def _slips(exc: FollowupError, hand: DeskHand, form: Flat) -> tuple[Slip, ...]:
    """All that is wrong; a day that can't be read is told why, as its box tells it."""

    def read(slip: Slip) -> Slip:
        typed = "".join(form.get(slip.name, ())) if slip.is_day else ""
        wrong = day_box(typed, hand.today, hand.texts, LEANS.get(slip.of, "near")).wrong if typed else None
        return replace(slip, text=hand.texts.told(wrong)) if wrong else slip

    return tuple(read(slip) for slip in slips_of(exc, hand.texts.told))


def _known(request: Request, hand: DeskHand, told: ToldForm) -> Response:
    """The record of the patient whose code was typed, with the operation that was typed added to it."""
    form = told.form
    found = find_patient(hand, first(form, "patient.code"))
    if found is None:
        nobody = hand.texts.told(say("no patient with this code"))
        wrong = {"patient.code": nobody}
        return _form_page(request, hand, FormView(form, wrong, focus="patient.name", told=told.view))
    version = newest_version(hand, found)
    answers = fill_form(version.record.model_dump(mode="json", exclude_none=True))
    fresh = f"operations.{len(version.record.operations)}."
    answers |= {fresh + n.removeprefix(_FIRST): given for n, given in form.items() if n.startswith(_FIRST)}
    # What was told is read again at the patient's own record: it may say otherwise than what stands there.
    view = FormView(answers, focus=f"{fresh}eye_drawn", told=ToldView(told.text, told.language))
    action = f"/patients/{quote(found.code)}/record"
    return _form_page(request, hand, view, version=version, action=action)


def _store(
    hand: DeskHand,
    record: Record,
    known: PatientView | None,
    seen: int,
    told: OperationTold | None = None,
) -> int:
    if known is None:
        return enter(hand, NewRecord(record=record, telling=told))
    return correct(hand, known.code, Correction(seen=seen, record=record, telling=told))


def _with_theirs(
    hand: DeskHand, newest: RecordVersion, seen: int, mine: dict[str, list[str]]
) -> tuple[dict[str, list[str]], tuple[Changed, ...]]:
    """The form with what was stored since ``seen``, and what that is."""
    with hand.store.read() as session:
        versions = {version.number: version for version in record_versions(session, newest.patient_id)}
    if seen not in versions:
        return mine, ()
    base, theirs = (
        fill_form(version.record.model_dump(mode="json", exclude_none=True))
        for version in (versions[seen], newest)
    )
    return merge(base, theirs, mine, place_of)


def _one_more(form: Posted, hand: DeskHand) -> FormView:
    name = first(form, "add")
    number = rows(form, name)
    defaults: dict[str, list[str]] = {}
    if name == "operations":
        defaults = routine_answers(hand.protocol.routine, number, hand.today.isoformat())
    try:
        return with_another_row(form, name, defaults)
    except KeyError:
        raise FollowupError(
            "form.add", say("there is no such list in a record"), fix=say("open the form again")
        ) from None


def _form_page(
    request: Request,
    hand: DeskHand,
    form: FormView,
    *,
    version: RecordVersion | None = None,
    seen: int | None = None,
    error: str | None = None,
    slips: Sequence[Slip] = (),
    changed: Sequence[Changed] = (),
    status: int = 200,
    looked: Glance | None = None,
    action: str = "",
) -> Response:
    with hand.store.read() as session:
        surgeons = [one.name for one in all_staff(session) if "surgeon" in one.roles and one.active]
    return show(
        request,
        "record.html",
        status=status,
        form=replace(form, decides=bool(hand.actor.roles & {*SURGEON}), usual=hand.protocol.routine.typed),
        error=error,
        who=version.record.patient if version else None,
        told_languages=languages(),
        tellings=tellings(hand, version.patient_id) if version else (),
        # The version that the typing began from stays, whatever was stored meanwhile.
        seen=seen if seen is not None else version.number if version else 0,
        changed=changed,
        slips=slips,
        surgeons=surgeons,
        glance=looked,
        action=action,
    )


def _operations_page(
    request: Request,
    hand: DeskHand,
    day: date,
    *,
    error: str | None = None,
    typed: str | None = None,
    out: Sequence[OperationOnDay] = (),
) -> Response:
    with hand.store.read() as session:
        lines = operations_on(session, day)
        checks = checks_to_do(session, hand)
    listed = "\n".join(f"{x.patient_code}, {x.name}, {x.eye}" for x in lines if x.on_list)
    return show(
        request,
        "operations.html",
        status=422 if error else 200,
        day=day,
        lines=lines,
        checks=checks,
        error=error,
        out=out,
        takes_out=care.line_keys(out),
        listed=listed if typed is None else typed,
    )


def _list_line(number: int, line: str, texts: Texts) -> Listed:
    parts = [part.strip() for part in re.split("[,،\t]", line)]
    eyes: tuple[Eye, ...] = ("right", "left")
    eye = {word.casefold(): eye for eye in eyes for word in _words_for(eye, texts)}.get(parts[-1].casefold())
    no_line = FollowupError(
        "list.line",
        say("not a patient code, a name and an eye with commas between"),
        where=say("line {number} of the list", number=number),
        fix=say("write such as: P-104, Amina Yusuf, left"),
    )
    if not all(parts):
        raise no_line
    sent = {"code": parts[0], "name": ", ".join(parts[1:-1]), "eye": eye}
    return act_of(Listed, sent, code=no_line, name=no_line, eye=no_line)


def _words_for(eye: Eye, texts: Texts) -> tuple[str, ...]:
    """How a list may name an eye: in English and in the staff's language."""
    return eye, f"{eye} eye", texts.eye(eye), texts.choice(eye)


def _glance(hand: DeskHand, form: Posted) -> Glance:
    """The plan of the form as it stands, or what it still needs."""
    try:
        return glance_of(hand, check(read_form(carried(completed(form))[0])))
    except FollowupError as exc:
        slips = _slips(exc, hand, form)
        return Glance(problem=exc.line, needs=tuple((slip.name, slip.label, slip.text) for slip in slips))
