"""What is wrong with a record, beside the field it is about and in the words of its label."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from followup.care.fields.checked import RecordError
from followup.care.fields.labels import label_of
from followup.care.fields.place import FormPlace
from followup.care.fields.shape import RECORD, Field, Group, member_at
from followup.errors import FollowupError

# A field as the record's own sentences name it: "capsule_torn", "patient.eyes.left.uveitis.last_active".
_NAMED = re.compile(r"(?<![\w.])[a-z]+(?:[._][a-z0-9]+)+(?![\w.]*\w)")
_WHERE = re.compile(r"[a-z_]+(?:\.[a-z0-9_]+)+")
_ISO = re.compile(r"\s*[(（]YYYY-MM-DD[)）]")


@dataclass(frozen=True)
class Slip:
    """``name``: of the form's field, or "" where it is about none; ``label`` in English; ``text`` as told.

    ``of``: the key of the field's label; ``is_day``: whether a day stands there.
    """

    name: str
    label: str
    text: str
    of: str = ""
    is_day: bool = False


def slips_of(exc: FollowupError, told: Callable[[str], str]) -> tuple[Slip, ...]:
    """Everything that hinders the record. ``told`` puts a sentence into the language of the page."""
    if isinstance(exc, RecordError):
        return tuple(_slip(name, told(text), told) for name, text in exc.problems.items())
    place = _WHERE.search(exc.line.where)
    name = place[0] if place and member_at(place[0]) else ""
    text = told(exc.line.what if name else exc.line)
    return (_slip(name, text, told),)


def _slip(name: str, text: str, told: Callable[[str], str]) -> Slip:
    """A sentence about a group stands beside the first field that it names."""
    home = member_at(name) if name else RECORD
    if not isinstance(home, Field):
        name = next((full for full in _named(text, name) if isinstance(member_at(full), Field)), name)
    found = member_at(name) if name else None
    is_day = isinstance(found, Field) and found.kind == "date"
    of = found.of if found else ""
    return Slip(name, label_in(name), _in_words(text, name, told), of, is_day)


def label_in(name: str) -> str:
    """The field's label, behind that of the list whose line it stands in; "" for no field."""
    found = member_at(name) if name else None
    if not isinstance(found, Field | Group):
        return ""
    line = name.rpartition(".")[0]
    head, _, number = line.rpartition(".")
    within = member_at(head) if number.isdecimal() and head != "operations" else None
    return FormPlace.of(
        [(label_of(one).text, None) for one in (within.of if within else "", found.of) if one]
    )


def _named(text: str, head: str) -> Iterator[str]:
    for match in _NAMED.finditer(text):
        for full in (f"{head}.{match[0]}" if head else match[0], match[0]):
            if member_at(full):
                yield full
                break


def _in_words(text: str, name: str, told: Callable[[str], str]) -> str:
    head = name.rpartition(".")[0]

    def label(match: re.Match[str]) -> str:
        found = member_at(f"{head}.{match[0]}" if head else match[0]) or member_at(match[0])
        return f"“{told(label_of(found.of).text)}”" if found else match[0]

    return _ISO.sub("", _NAMED.sub(label, text))
