"""The clinic's own table of operations: sent in, its columns named, looked at, stored."""

from __future__ import annotations

import re
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, BackgroundTasks, File, Form, Request, Response, UploadFile

from followup.care.fields.checked import place_of
from followup.care.records import list_imports as care
from followup.care.records.importing import MOST_RECORDS_AT_ONCE
from followup.care.records.list_imports import ListResult, MappingForm
from followup.care.records.tables import asked_fields, in_record, mapping_from
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.door.way import AWay
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, first
from followup.errors import FollowupError
from followup.exchange.lists.mapping import DAY_ORDERS, LISTED, ListMapping
from followup.exchange.lists.table import MOST_BYTES
from followup.records.house.list_imports import ListImport
from followup.said import say

router = APIRouter()
# A browser asks again by itself, also without scripts.
_SECONDS = "2"
_COLUMN, _WORD = re.compile(r"column\.(\d+)"), re.compile(r"word\.(.+)\.(\d+)")


@router.get("/operations/tables")
def tables_page(request: Request, hand: AnyHand) -> Response:
    return _tables(request, hand)


def _tables(request: Request, hand: DeskHand, error: FollowupError | None = None) -> Response:
    return show(
        request,
        "tables.html",
        status=status_of(error) if error else 200,
        error=error.line if error else None,
        mappings=care.mappings(hand),
        at_once=MOST_RECORDS_AT_ONCE,
    )


@router.post("/operations/tables")
def send_table(
    request: Request,
    hand: AnyHand,
    file: Annotated[UploadFile | None, File()] = None,
    mapping: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """A file, kept for a day for whoever sent it; nothing of it is stored yet."""
    try:
        content = file.file.read(MOST_BYTES + 1) if file else b""
        token = care.send_list(hand, (file.filename or "") if file else "", content, mapping)
    except FollowupError as exc:
        return _tables(request, hand, exc)
    return go(f"/operations/tables/{token}/columns")


@router.get("/operations/tables/{table}/columns")
def columns_page(request: Request, hand: AnyHand, table: str, sheet: str = "") -> Response:
    """Which column is what, as it is remembered or guessed."""
    found = care.sent_list(hand, table)
    if found.state == "stored":
        return go(f"/operations/tables/{table}")
    return _columns(request, hand, found, care.mapping_form(hand, found, sheet))


@router.post("/operations/tables/{table}/columns")
def name_columns(
    request: Request, hand: AnyHand, table: str, form: AForm, way: AWay, later: BackgroundTasks
) -> Response:
    """Keep what the columns are under the mapping's name, and look at the whole table by it."""
    found = care.sent_list(hand, table)
    try:
        begun = care.begin_looking(hand, table, first(form, "name"), _mapping(form), _shown(form))
    except FollowupError as exc:
        chosen = care.mapping_form(hand, found, first(form, "sheet"), told=_typed(form))
        return _columns(request, hand, found, chosen, exc, name=first(form, "name"))
    if begun:
        later.add_task(care.look_through, hand, table, hand.desk.clock, way.give)
    return go(f"/operations/tables/{table}")


@router.get("/operations/tables/{table}")
def table_page(request: Request, hand: AnyHand, table: str) -> Response:
    """How far it is, then what would come of it or what came."""
    found = care.sent_list(hand, table)
    if found.state == "sent":
        return go(f"/operations/tables/{table}/columns")
    working = found.at_work(hand.now)
    answer = show(
        request,
        "table.html",
        found=found,
        working=working,
        stopped=found.state in ("looking", "storing") and not working,
        result=ListResult.read(found.result),
        shown=care.SHOWN,
        at_once=MOST_RECORDS_AT_ONCE,
    )
    if working:
        answer.headers["Refresh"] = _SECONDS
    return answer


@router.post("/operations/tables/{table}/store")
def store_table(hand: AnyHand, table: str, form: AForm, way: AWay, later: BackgroundTasks) -> Response:
    """Store the table whole, or its good rows."""
    rows: care.Way = "good" if first(form, "rows") == "good" else "whole"
    if care.begin_storing(hand, table, rows):
        later.add_task(care.store_list, hand, table, rows, hand.desk.clock, way.give)
    return go(f"/operations/tables/{table}")


@router.get("/operations/tables/{table}/refused")
def refused_rows(hand: AnyHand, table: str) -> Response:
    """The rows that were not stored, each with its reason, as the kind of file that was sent."""
    name, content = care.refused_file(hand, table)
    if not content:
        raise FollowupError("list.unknown", say("no row of this file was refused"), fix=say("go back"))
    named = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(content, media_type="application/octet-stream", headers=named)


def _columns(
    request: Request,
    hand: DeskHand,
    found: ListImport,
    form: MappingForm,
    error: FollowupError | None = None,
    name: str = "",
) -> Response:
    asked = asked_fields()
    return show(
        request,
        "table-columns.html",
        status=status_of(error) if error else 200,
        error=error.line if error else None,
        found=found,
        form=form,
        name=name or form.name,
        known=care.mappings(hand),
        fields=_fields(hand),
        choices={field: asked[field].choices for field in form.words},
        named={field: place_of(in_record(field)).inside() for field in form.words},
        orders=DAY_ORDERS,
    )


def _fields(hand: DeskHand) -> list[tuple[str, list[tuple[str, str]]]]:
    """What a column may be, in groups: the list's own, then the operation's and the patient's."""
    groups: dict[str, list[tuple[str, str]]] = {"": [], "operations": [], "patient": []}
    for name in asked_fields():
        place = place_of(in_record(name)).inside()
        groups["" if name in LISTED else name.partition(".")[0]].append((name, hand.texts.told(place)))
    return list(groups.items())


def _typed(form: Posted) -> ListMapping:
    """The mapping as it was typed, right or not."""
    columns: dict[str, str] = {}
    words: dict[str, dict[str, str]] = {}
    for name in form:
        if (column := _COLUMN.fullmatch(name)) and (field := first(form, name)):
            columns.setdefault(field, first(form, f"heading.{column[1]}"))
        elif (word := _WORD.fullmatch(name)) and (value := first(form, f"means.{word[1]}.{word[2]}")):
            words.setdefault(word[1], {})[first(form, name)] = value
    order = next((one for one in DAY_ORDERS if one == first(form, "day_order")), None)
    return ListMapping.model_construct(
        columns=columns,
        words={field: own for field, own in words.items() if field in columns},
        day_order=order,
        sheet=first(form, "sheet_name"),
    )


def _shown(form: Posted) -> dict[str, list[str]]:
    """The words that the page asked about, by field."""
    shown: dict[str, list[str]] = {}
    for name in form:
        if word := _WORD.fullmatch(name):
            shown.setdefault(word[1], []).append(first(form, name))
    return shown


def _mapping(form: Posted) -> ListMapping:
    """Errors: ``mapping.*``, also where two columns are the same field."""
    chosen = [first(form, name) for name in form if _COLUMN.fullmatch(name) and first(form, name)]
    if twice := next((field for field in chosen if chosen.count(field) > 1), ""):
        raise FollowupError(
            "mapping.twice",
            say("two columns are {field}", field=place_of(in_record(twice)).inside()),
            fix=say("choose one of them"),
        )
    return mapping_from(_typed(form).model_dump())
