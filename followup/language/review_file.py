"""A catalogue as a table for a reviewer who reads the language: out as CSV, and back in.

Three columns: source, translation, context. A counted message has a row for each plural form;
its context says first for which numbers. What comes back is taken whole or not at all.
"""

from __future__ import annotations

import csv
import gettext
import io
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from babel.messages.catalog import Catalog

from followup.cells import guarded, unguarded
from followup.errors import FollowupError
from followup.language.catalogue_files import Forms, Key, Messages, english, key_of
from followup.language.checks import flaws
from followup.language.languages import Language
from followup.typed import one_line

HEADER = ("source", "translation", "context")
MOST_BYTES = 4_000_000
_TAG = re.compile(r"^\[[^\]]*\]")
_EXAMPLES = 4


@dataclass(frozen=True)
class Slot:
    """One row of the table: the form ``index`` of the message ``key``; ``tag`` and ``source`` name it."""

    key: Key
    index: int
    source: str
    tag: str
    comment: str


def slots(catalogue: Catalog, language: Language) -> Iterator[Slot]:
    """The rows that a language's table has, in the order of the sheet's code."""
    for message in catalogue:
        if not message.id:
            continue
        key, ids, comment = key_of(message), english(message), " ".join(message.auto_comments)
        if len(ids) == 1:
            yield Slot(key, 0, ids[0], f"[{key[0]}]" if key[0] else "", comment)
            continue
        for index, category in enumerate(language.categories):
            source = ids[0] if category == "one" else ids[1]
            yield Slot(key, index, source, _tag(key[0], index, language), comment)


def _tag(context: str | None, index: int, language: Language) -> str:
    choose = gettext.c2py(language.plural)
    numbers = [str(n) for n in range(201) if choose(n) == index]
    place = f"{context}, " if context else ""
    more = " ..." if len(numbers) > _EXAMPLES else ""
    return f"[{place}for the numbers {', '.join(numbers[:_EXAMPLES])}{more}]"


def export_csv(catalogue: Catalog, messages: Messages, language: Language) -> bytes:
    """The table as UTF-8 with the mark by which spreadsheets know it."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADER)
    for slot in slots(catalogue, language):
        forms = messages.get(slot.key, ())
        translation = forms[slot.index] if slot.index < len(forms) else ""
        row = slot.source, translation, f"{slot.tag} {slot.comment}".strip()
        writer.writerow([guarded(cell) for cell in row])
    return text.getvalue().encode("utf-8-sig")


def import_csv(data: bytes, catalogue: Catalog, language: Language, where: str) -> dict[Key, Forms]:
    """The messages of a table that came back.

    Raises FollowupError ``language.import`` naming the first faulty row and how many there are: an
    unknown source, a row missing or given twice, or a translation that lost something.
    """
    wanted = {(one_line(slot.source), slot.tag): slot for slot in slots(catalogue, language)}
    found: dict[Slot, tuple[int, str]] = {}
    faults: list[tuple[int, str]] = []
    for number, source, translation, context in _rows(data, where):
        tag = _TAG.match(context)
        slot = wanted.get((one_line(source), tag[0] if tag else "")) or wanted.get((one_line(source), ""))
        if slot is None:
            faults.append((number, f"{source[:60]!r} with this context is no message of the sheet"))
        elif slot in found:
            faults.append((number, f"{source[:60]!r} stands there twice, first in row {found[slot][0]}"))
        else:
            found[slot] = number, translation
    missing = [slot for slot in wanted.values() if slot not in found]
    messages, flawed = _messages(found, catalogue, language)
    faults += flawed
    _refuse(sorted(faults), missing, where)
    return messages


def _messages(
    found: Mapping[Slot, tuple[int, str]], catalogue: Catalog, language: Language
) -> tuple[dict[Key, Forms], list[tuple[int, str]]]:
    rows: dict[Key, dict[int, tuple[int, str]]] = {}
    for slot, row in found.items():
        rows.setdefault(slot.key, {})[slot.index] = row
    messages: dict[Key, Forms] = {}
    faults: list[tuple[int, str]] = []
    for message in catalogue:
        ids, key = english(message), key_of(message)
        forms = rows.get(key, {})
        if len(forms) != (len(language.categories) if len(ids) > 1 else 1):
            continue  # reported as missing
        messages[key] = tuple(forms[index][1] for index in sorted(forms))
        for number, text in forms.values():
            # Each row is judged alone, so that the fault is named with its row.
            flaw = next(flaws(ids, (text,) * len(forms), language), None)
            if flaw:
                faults.append((number, f"the translation of {ids[0][:60]!r} {flaw}"))
    return messages, faults


def _refuse(faults: list[tuple[int, str]], missing: list[Slot], where: str) -> None:
    number_of = len(faults) + len(missing)
    if not number_of:
        return
    if faults:
        row, what = faults[0]
        place, text = f"{where}, row {row}", what
    else:
        place, text = where, f"no row for {missing[0].source[:60]!r} {missing[0].tag}".rstrip()
    more = f" (and {number_of - 1} more)" if number_of > 1 else ""
    raise FollowupError(
        "language.import", text + more, where=place, fix="mend it and import the whole file again"
    )


def _rows(data: bytes, where: str) -> Iterator[tuple[int, str, str, str]]:
    """Row number, source, translation and context of each filled row under the header."""
    text = _text(data, where)
    first = text.partition("\n")[0]
    mark = max((",", ";", "\t"), key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    number = 0
    try:
        for number, row in enumerate(reader, start=1):
            cells = [unguarded(unicodedata.normalize("NFC", cell).strip()) for cell in row]
            if number == 1:
                _check_header(cells, where)
            elif any(cells):
                if len(cells) < 2 or any(cells[3:]):
                    raise _unreadable(where, number, f"{len(cells)} columns, expected {len(HEADER)}")
                yield number, cells[0], cells[1], cells[2] if len(cells) > 2 else ""
    except csv.Error as exc:
        raise _unreadable(where, number + 1, f"not CSV: {exc}") from None
    if not number:
        raise _unreadable(where, 0, "it is empty")


def _check_header(cells: list[str], where: str) -> None:
    if tuple(cell.lower() for cell in cells[:3]) != HEADER:
        raise _unreadable(where, 1, f"the columns are not {', '.join(HEADER)}")


def _text(data: bytes, where: str) -> str:
    if len(data) > MOST_BYTES:
        raise _unreadable(where, 0, f"larger than {MOST_BYTES} bytes")
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as exc:
        raise _unreadable(where, 0, f"not UTF-8 text at byte {exc.start}") from None
    if "\0" in text:
        raise _unreadable(where, 0, "it holds a NUL character")
    return text


def _unreadable(where: str, row: int, what: str) -> FollowupError:
    place = f"{where}, row {row}" if row else where
    return FollowupError("language.file", what, where=place, fix="save the table as CSV in UTF-8")
