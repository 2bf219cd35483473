"""A clinic's own table sent in at a desk: looked at by its mapping, then stored, both in steps."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from followup.care.hand import Hand
from followup.care.records.importing import (
    Does,
    ImportRow,
    ImportTally,
    ListedRow,
    Told,
    look_at,
    store_good,
    store_whole,
)
from followup.care.records.tables import ReadTable, asked_fields, keep_mapping, mapping_of, read_table
from followup.errors import FollowupError
from followup.exchange.lists.mapping import (
    ListMapping,
    fitted,
    folded,
    guessed,
    strange_words,
)
from followup.exchange.lists.table import MOST_BYTES, Table
from followup.exchange.lists.text import read_as
from followup.exchange.lists.workbook import read_file
from followup.records.house.list_imports import (
    ListImport,
    begin_list_import,
    list_content,
    list_import,
    note_progress,
    note_result,
    refused_rows,
    take_up,
)
from followup.records.house.mappings import mapping_names
from followup.said import as_data, say, str_of
from followup.typed import typed

Way = Literal["whole", "good"]
Clock = Callable[[], datetime]
# Seconds between two notes of how far it is: each makes everybody else wait for a moment.
_NOTE_EVERY = 1.0
SHOWN = 50
"""Rows of each kind that a page shows; counts are of all."""


@dataclass(frozen=True)
class LookedLine:
    """A row that can be stored, as it was understood, and what comes of it."""

    row: int
    line: ListedRow
    does: Does = "listed"


@dataclass(frozen=True)
class ListResult:
    """What came of looking at a table or of storing it. ``refused``: by row the reasons, the first ones.

    ``operations``: others of known patients. ``read_as``: how a text was read. ``error``: what kept the file
    as a whole from being read.
    """

    records: int = 0
    operations: int = 0
    listed: int = 0
    known: int = 0
    bad: int = 0
    good: tuple[LookedLine, ...] = ()
    refused: tuple[tuple[int, str], ...] = ()
    read_as: str = ""
    error: str = ""

    @property
    def in_one_piece(self) -> int:
        """How many records are new or have a new version."""
        return self.records + self.operations

    @classmethod
    def read(cls, text: str) -> ListResult:
        """The result as it was kept; an empty one where there is none yet."""
        if not text:
            return cls()
        data = json.loads(text)
        good = tuple(
            LookedLine(row, ListedRow.model_validate(line), *does) for row, line, *does in data.pop("good")
        )
        refused = tuple((row, str_of(why)) for row, why in data.pop("refused"))
        told = {name: str_of(data.get(name, "")) for name in ("read_as", "error")}
        return cls(**{**data, **told}, good=good, refused=refused)

    def kept(self) -> str:
        """As JSON."""
        data = {name: getattr(self, name) for name in ("records", "operations", "listed", "known", "bad")}
        data |= {name: as_data(getattr(self, name)) for name in ("read_as", "error")}
        good = [(one.row, one.line.model_dump(mode="json"), one.does) for one in self.good]
        refused = [(row, as_data(why)) for row, why in self.refused]
        return json.dumps({**data, "good": good, "refused": refused})


def send_list(hand: Hand, name: str, content: bytes, mapping: str = "") -> str:
    """Keep a file that was sent in; its id. Errors: ``list.*`` where it can't be read, ``mapping.*``."""
    if not content:
        raise FollowupError("list.empty", say("no file was chosen"), fix=say("choose a file"))
    if len(content) > MOST_BYTES or not any(table.rows for table in read_file(content, name).tables):
        raise FollowupError(
            "list.empty", say("the file holds no rows"), where=typed(name), fix=say("choose another file")
        )
    if mapping:
        mapping_of(hand, mapping)
    with hand.store.write(hand.actor, hand.now) as unit:
        token = begin_list_import(unit, name=name[:200] or "list", content=content)
        if mapping:
            # Kept beside it, as the one to begin with.
            take_up(unit, token, state="sent", mapping=mapping)
    return token


def sent_list(hand: Hand, token: str) -> ListImport:
    """What the person sent in. Error ``list.unknown``."""
    with hand.store.read() as session:
        return list_import(session, token, hand.actor.login)


def mappings(hand: Hand) -> tuple[str, ...]:
    """The names of the clinic's mappings."""
    with hand.store.read() as session:
        return mapping_names(session)


@dataclass(frozen=True)
class TableColumn:
    """A column of the table: what the clinic calls it, the first things in it, and the field it is."""

    name: str
    first: tuple[str, ...]
    is_field: str


@dataclass(frozen=True)
class MappingForm:
    """How a table may be read, for a person to say. ``sheets``: where there are several, ``sheet`` being the
    one shown, from 1. ``words``: by field the words of the table that the record does not know, each with
    what it means."""

    name: str
    sheets: tuple[str, ...]
    sheet: int
    columns: tuple[TableColumn, ...]
    words: Mapping[str, tuple[tuple[str, str], ...]]
    day_order: str
    only_sheet: bool


def mapping_form(
    hand: Hand, found: ListImport, sheet: str = "", told: ListMapping | None = None
) -> MappingForm:
    """The mapping as it was typed (``told``), chosen or is remembered, else as it is guessed.

    ``sheet``: the number of the sheet to show, from 1; else the one that looks most like a list.
    Errors: ``list.*``.
    """
    with hand.store.read() as session:
        content = list_content(session, found.id, hand.actor.login)
    tables = [table for table in read_file(content, found.name).tables if table.rows]
    asked = [table for number, table in enumerate(tables, 1) if str(number) == sheet]
    table, row, mapping = _best(asked or tables, told or _chosen(hand, found))
    fields = {folded(column): name for name, column in mapping.columns.items()}
    columns = tuple(
        TableColumn(str(cell).strip(), _first(table, row, at), fields.get(folded(str(cell)), ""))
        for at, cell in enumerate(table.rows[row - 1])
        if isinstance(cell, str) and folded(cell)
    )
    return MappingForm(
        found.mapping,
        tuple(one.name for one in tables) if len(tables) > 1 else (),
        tables.index(table) + 1,
        columns,
        _words(table, row, mapping),
        mapping.day_order or "",
        bool(mapping.sheet),
    )


def _chosen(hand: Hand, found: ListImport) -> ListMapping | None:
    if found.body:
        return ListMapping.model_validate_json(found.body)
    return mapping_of(hand, found.mapping) if found.mapping else None


def _best(tables: list[Table], known: ListMapping | None) -> tuple[Table, int, ListMapping]:
    """The sheet that looks most like the list, the row of its heading, and how it is read."""
    asked = asked_fields()
    if known is None:
        table, (row, told) = max(
            ((table, guessed(table, asked)) for table in tables), key=lambda one: len(one[1][1].columns)
        )
        return table, row, told
    some = [table for table in tables if folded(table.name) == folded(known.sheet)] or tables
    best = max(some, key=lambda table: fitted(table, known)[0])
    return best, fitted(best, known)[1], known


def _first(table: Table, row: int, at: int) -> tuple[str, ...]:
    cells = [str(cells[at]).strip() for cells in table.rows[row:] if at < len(cells)]
    return tuple(cell[:40] for cell in cells if cell)[:3]


def _words(table: Table, row: int, told: ListMapping) -> dict[str, tuple[tuple[str, str], ...]]:
    strange = strange_words(table, row, told.columns, asked_fields())
    known = {name: {folded(word): value for word, value in own.items()} for name, own in told.words.items()}
    return {
        name: tuple((word, known.get(name, {}).get(folded(word), "")) for word in words)
        for name, words in strange.items()
    }


def begin_looking(
    hand: Hand, token: str, name: str, mapping: ListMapping, shown: Mapping[str, Collection[str]]
) -> bool:
    """Keep the mapping under its name and begin to look at the table by it; False where that goes on already.

    ``shown``: by field the words that the person saw, and gave a meaning or none. What the mapping of this
    name said of other words stays. Errors: ``mapping.*``.
    """
    if name in mappings(hand):
        before = mapping_of(hand, name)
        words: dict[str, dict[str, str]] = {}
        for field in mapping.columns:
            seen = {folded(word) for word in shown.get(field, ())}
            others = {w: value for w, value in before.words.get(field, {}).items() if folded(w) not in seen}
            if both := {**others, **mapping.words.get(field, {})}:
                words[field] = both
        mapping = mapping.model_copy(update={"words": words})
    keep_mapping(hand, name, mapping)
    with hand.store.write(hand.actor, hand.now) as unit:
        body = mapping.model_dump_json(exclude_defaults=True)
        return take_up(unit, token, state="looking", mapping=name, body=body)


def begin_storing(hand: Hand, token: str, way: Way) -> bool:
    """Begin to store it; False where that goes on already, or is done."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return take_up(unit, token, state="storing", way=way)


def look_through(hand: Hand, token: str, clock: Clock, give_way: Callable[[], None]) -> None:
    """Look at the whole table, and keep what would come of it."""
    _work(hand, token, clock, give_way, lambda read, told: look_at(hand, read.says, told), "looked")


def store_list(hand: Hand, token: str, way: Way, clock: Clock, give_way: Callable[[], None]) -> None:
    """Store the table: whole or not at all, or its good rows."""

    def act(read: ReadTable, told: Told) -> ImportTally:
        if way == "good":
            return store_good(hand, read.says, told)
        if read.refused:
            return look_at(hand, read.says, told)
        return store_whole(hand, read.says, adding=True, told=told)

    _work(hand, token, clock, give_way, act, "stored")


def _work(
    hand: Hand,
    token: str,
    clock: Clock,
    give_way: Callable[[], None],
    act: Callable[[ReadTable, Told], ImportTally],
    then: Literal["looked", "stored"],
) -> None:
    """Read the table and do what is to be done with it; whatever becomes of that is kept."""
    found = sent_list(hand, token)
    with hand.store.read() as session:
        content = list_content(session, token, hand.actor.login)
    back = b""
    try:
        read = read_table(content, found.name, ListMapping.model_validate_json(found.body), give_way)
        tally = act(read, _noting(hand, token, clock, give_way)).with_refused(read.refused)
        result = replace(_result(tally, read.says), read_as=read_as(read.form))
        back = read.back(tally.refused) if tally.refused else b""
    except FollowupError as error:
        result = replace(ListResult.read(found.result), error=error.line)
    # Of a whole table with a bad row nothing was stored: it is looked at as before.
    nothing = result.error or (then == "stored" and found.way == "whole" and result.bad)
    with hand.store.upkeep(clock()) as unit:
        note_result(unit, token, state="looked" if nothing else then, result=result.kept(), refused=back)


def _noting(hand: Hand, token: str, clock: Clock, give_way: Callable[[], None]) -> Told:
    last = time.monotonic()

    def told(done: int, of: int) -> None:
        nonlocal last
        give_way()
        if time.monotonic() - last > _NOTE_EVERY:
            with hand.store.upkeep(clock()) as unit:
                note_progress(unit, token, done=done, total=of)
            last = time.monotonic()

    return told


def _result(tally: ImportTally, rows: Iterable[ImportRow]) -> ListResult:
    good = [
        LookedLine(row.numbers[0], row.says, tally.does(row.numbers[0]))
        for row in rows
        if isinstance(row.says, ListedRow) and row.numbers[0] not in tally.refused
    ]
    refused = sorted(tally.refused.items())[:SHOWN]
    return ListResult(
        tally.records,
        tally.operations,
        tally.listed,
        tally.known,
        len(tally.refused),
        tuple(good[:SHOWN]),
        tuple(refused),
    )


def refused_file(hand: Hand, token: str) -> tuple[str, bytes]:
    """The name and the file of the rows that were not stored. Error ``list.unknown``."""
    found = sent_list(hand, token)
    with hand.store.read() as session:
        content = refused_rows(session, token, hand.actor.login)
    stem, dot, kind = found.name.rpartition(".")
    return (f"{stem}.refused.{kind}" if dot else f"{found.name}.refused"), content
