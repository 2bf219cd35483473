"""A record is checked whole; what is wrong is said by the field's own name."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError

from followup.care.fields.labels import label_of
from followup.care.fields.place import FormPlace
from followup.care.fields.shape import RECORD, Field, Group, Member
from followup.clinical.record import Record, first_problem
from followup.errors import FollowupError
from followup.validation import problem_words


def check(data: dict[str, Any]) -> Record:
    """The record. Raises RecordError where it can't be one."""
    try:
        return Record.model_validate(data)
    except ValidationError as exc:
        raise RecordError(exc) from None


class RecordError(FollowupError):
    """A record that can't be stored; ``problems`` says by field name what is wrong."""

    def __init__(self, exc: ValidationError) -> None:
        found: dict[str, str] = {}
        for each in exc.errors():
            found.setdefault(_name(each["loc"]), problem_words(each))
        # A list with a bad line also counts as too short; only the bad line is worth saying.
        self.problems = {
            name: said for name, said in found.items() if not any(n.startswith(f"{name}.") for n in found)
        }
        first = exc.errors()[0]
        error = first_problem(exc, "record")
        if first["loc"]:
            super().__init__(error.code, problem_words(first), where=_place(first["loc"]), fix=error.fix)
        else:
            super().__init__(error.code, error.what, fix=error.fix)


def place_of(name: str) -> FormPlace:
    """The place of a form's field in the words of its labels."""
    return _place(tuple(int(part) if part.isdecimal() else part for part in name.split(".")))


def _place(loc: tuple[int | str, ...]) -> FormPlace:
    """A place in the record in the words of its labels."""
    member: Member = RECORD
    steps: list[tuple[str, int | None]] = []
    for part in loc:
        if isinstance(part, int):
            steps[-1] = (steps[-1][0], part + 1)
        elif isinstance(member, Group):
            try:
                member = member.member(part)
            except KeyError:
                steps.append((part, None))
                break
            steps.append((label_of(member.of).text, None))
    return FormPlace.of(steps)


def _name(loc: tuple[int | str, ...]) -> str:
    """The form's name of the field at ``loc``; tags of unions are no part of a name."""
    member: Member = RECORD
    parts: list[str] = []
    for part in loc:
        if isinstance(part, str):
            if not isinstance(member, Group):
                break
            try:
                member = member.member(part)
            except KeyError:
                break
        elif isinstance(member, Field):
            break
        parts.append(str(part))
    return ".".join(parts)
