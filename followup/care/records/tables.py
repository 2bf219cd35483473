"""A clinic's own table read by its mapping: lines of operation lists, and records where it tells more."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from pydantic import ValidationError

from followup.care.fields.checked import RecordError, check
from followup.care.fields.shape import RECORD, Field, Group
from followup.care.fields.values import read_form
from followup.care.hand import Hand
from followup.care.records.importing import ImportRow, ListedRow
from followup.clinical.record import Record
from followup.clinical.record.base import BOTH_EYES
from followup.errors import FollowupError
from followup.exchange.lists.handed_back import handed_back
from followup.exchange.lists.mapping import (
    CODE,
    EYE,
    LISTED,
    NAME,
    ON,
    Asked,
    Heading,
    ListMapping,
    checked_mapping,
    sheet_and_heading,
)
from followup.exchange.lists.reading import TableRow, at_column, rows_of_table
from followup.exchange.lists.table import FileForm, Table
from followup.exchange.lists.workbook import read_file
from followup.records.house.mappings import mapping_body, put_mapping
from followup.records.people.folding import fold_code
from followup.records.people.patients import DECIDED_OF_OPERATION
from followup.said import Tongue, say, tell
from followup.typed import plain
from followup.validation import problem_words

_OPERATION, _PATIENT = "operations.0.", "patient."
_ROWS_AT_ONCE = 200
# A list's fields by what they are called in a record.
_IN_RECORD = {ON: "operations.0.date", EYE: "operations.0.eye", CODE: "patient.code", NAME: "patient.name"}


@cache
def asked_fields() -> dict[str, Asked]:
    """Every field that a column may be: those of a list, then those of a record that are no surgeon's
    decision."""
    patient, operations = RECORD.member("patient"), RECORD.member("operations")
    assert isinstance(patient, Group)
    assert isinstance(operations, Group)
    told = tuple(one for one in operations.members if one.name not in DECIDED_OF_OPERATION)
    found = {
        **{ON: Asked("date"), CODE: Asked("line"), NAME: Asked("line"), EYE: Asked("one of", BOTH_EYES)},
        **dict(_leaves(replace(operations, members=told), _OPERATION)),
        **dict(_leaves(patient, _PATIENT)),
    }
    return {name: asked for name, asked in found.items() if name not in _IN_RECORD.values()}


def _leaves(group: Group, prefix: str) -> Iterator[tuple[str, Asked]]:
    for member in group.members:
        if isinstance(member, Field):
            yield f"{prefix}{member.name}", Asked(member.kind, member.choices)
        else:
            yield from _leaves(member, f"{prefix}{member.name}.{'0.' if member.many else ''}")


@dataclass(frozen=True)
class ReadTable:
    """A table as it was read: what its rows say, and by row the reason of those that can't be taken."""

    form: FileForm
    table: Table
    heading: Heading
    rows: tuple[TableRow, ...]
    says: tuple[ImportRow, ...]
    refused: Mapping[int, str] = field(default_factory=dict)

    def back(self, refused: Mapping[int, str], language: Tongue | None = None) -> bytes:
        """The refused rows as the same kind of file, each with its reason."""
        rows = [
            (row, plain(tell(refused[row.number], language) if language else refused[row.number]))
            for row in self.rows
            if row.number in refused
        ]
        return handed_back(self.table, self.heading, self.form, rows)


def _at_once() -> None:
    """No other work waits."""


def read_table(
    content: bytes, name: str, mapping: ListMapping, between: Callable[[], None] = _at_once
) -> ReadTable:
    """What a file says by ``mapping``. ``between``: called every now and then, so that shorter work may go
    first. Errors ``list.*`` where it can't be taken at all, ``mapping.*``.
    """
    checked_mapping(mapping, asked_fields())
    sheets = read_file(content, name)
    table, heading = sheet_and_heading(sheets.tables, mapping, name)
    rows: list[TableRow] = []
    for row in rows_of_table(table, heading, mapping, asked_fields(), sheets.form):
        if len(rows) % _ROWS_AT_ONCE == 0:
            between()
        rows.append(row)
    refused = {row.number: row.why for row in rows if row.why}
    says = [*_listed(rows, mapping, refused)]
    if mapping.makes_records:
        says += _records(rows, mapping, refused)
    kept = tuple(one for one in says if not any(number in refused for number in one.numbers))
    return ReadTable(sheets.form, table, heading, tuple(rows), kept, refused)


def _listed(rows: Iterable[TableRow], mapping: ListMapping, refused: dict[int, str]) -> Iterator[ImportRow]:
    columns = {name: mapping.columns[name] for name in LISTED}
    for row in rows:
        if row.number in refused:
            continue
        try:
            line = ListedRow.model_validate({name: row.values[name] for name in LISTED})
        except ValidationError as exc:
            problem = exc.errors()[0]
            name = str(problem["loc"][0])
            refused[row.number] = at_column(
                columns[name], _missing_or(row.values[name], problem_words(problem))
            )
        else:
            yield ImportRow((row.number,), line, columns)


def _missing_or(value: str, why: str) -> str:
    return why if value else say("must be filled in")


def _records(rows: Sequence[TableRow], mapping: ListMapping, refused: dict[int, str]) -> list[ImportRow]:
    """One record a patient, with an operation for each of the patient's rows."""
    by_code: dict[str, list[TableRow]] = {}
    for row in rows:
        if code := fold_code(row.values.get(CODE, "")):
            by_code.setdefault(code, []).append(row)
    columns = {in_record(name): own for name, own in mapping.columns.items()}
    found = []
    for own in by_code.values():
        numbers = tuple(row.number for row in own)
        if bad := next((number for number in numbers if number in refused), None):
            for number in numbers:
                refused.setdefault(number, say("row {row} of the same patient can't be taken", row=bad))
        elif (record := _record(own, mapping, refused)) is not None:
            found.append(ImportRow(numbers, record, columns))
    return found


def _record(own: Sequence[TableRow], mapping: ListMapping, refused: dict[int, str]) -> Record | None:
    answers: dict[str, list[str]] = {}
    for place, row in enumerate(own):
        for name, value in _in_record(row.values):
            at = (
                f"operations.{place}.{name.removeprefix(_OPERATION)}" if name.startswith(_OPERATION) else name
            )
            if answers.setdefault(at, [value]) != [value]:
                why = say("row {row} of the same patient says otherwise", row=own[0].number)
                refused[row.number] = at_column(_column(name, mapping), why)
                _none_of(own, row.number, refused)
                return None
    try:
        return check(read_form({name: value for name, value in answers.items() if value != [""]}))
    except RecordError as error:
        name, wrong = next(iter(error.problems.items()), ("", error.what))
        parts = name.split(".")
        number = own[int(parts[1])].number if parts[0] == "operations" and len(parts) > 1 else own[0].number
        general = ".".join([parts[0], "0", *parts[2:]]) if parts[0] == "operations" and parts[2:] else name
        refused[number] = at_column(_column(general, mapping), wrong) if general else wrong
        _none_of(own, number, refused)
        return None


def _none_of(own: Sequence[TableRow], bad: int, refused: dict[int, str]) -> None:
    for row in own:
        refused.setdefault(row.number, say("row {row} of the same patient can't be taken", row=bad))


def in_record(name: str) -> str:
    """What a field is called in a record's form."""
    return _IN_RECORD.get(name, name)


def _in_record(values: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for name, value in values.items():
        yield in_record(name), value


def _column(name: str, mapping: ListMapping) -> str:
    """The clinic's own name of a record's field; the field itself where no column holds it."""
    listed = {record: own for own, record in _IN_RECORD.items()}
    return mapping.columns.get(listed.get(name, name), name)


def mapping_of(hand: Hand, name: str) -> ListMapping:
    """The clinic's mapping of this name. Errors ``mapping.*``."""
    with hand.store.read() as session:
        return ListMapping.model_validate_json(mapping_body(session, name))


def keep_mapping(hand: Hand, name: str, mapping: ListMapping) -> None:
    """Keep a mapping under its name. Errors ``mapping.*``, ``role.missing``."""
    checked_mapping(mapping, asked_fields())
    with hand.store.write(hand.actor, hand.now) as unit:
        put_mapping(unit, name=name, body=mapping.model_dump_json(exclude_defaults=True))


def mapping_from(data: Mapping[str, Any]) -> ListMapping:
    """A mapping as a program or a file sends it. Errors ``mapping.*`` and those of its fields."""
    try:
        return checked_mapping(ListMapping.model_validate(data), asked_fields())
    except ValidationError as exc:
        problem = exc.errors()[0]
        raise FollowupError(
            "mapping.form",
            problem_words(problem),
            where=".".join(str(part) for part in problem["loc"]) or say("mapping"),
            fix=say("correct the mapping"),
        ) from None
