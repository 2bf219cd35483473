"""The one reader of protocol files: a file is declared, read, and valid or refused by file and line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar, get_origin

from pydantic import BaseModel, ValidationError

from followup.clinical.protocol.lines import Source, read_source, told_problem
from followup.clinical.protocol.references import Names, marked
from followup.errors import FollowupError

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True)
class DataFile(Generic[M]):
    """A file that a protocol is made of. ``code`` is that of its refusals; ``lists``: the file is one of
    lists of tables, and what is wrong with it beyond an entry has this code."""

    name: str
    model: type[M]
    code: str
    lists: str = ""


@dataclass(frozen=True)
class ReadFile(Generic[M]):
    """A file as it was read: where everything stands, and what it says."""

    file: DataFile[M]
    source: Source
    model: M


def read(file: DataFile[M], path: Path) -> ReadFile[M]:
    """What the file at ``path`` says. Raises a FollowupError with file and line for its first fault."""
    source = read_source(path)
    try:
        return ReadFile(file, source, file.model.model_validate(source.data))
    except ValidationError as exc:
        raise next(_invalid(file, source, exc)) from None


def faults(file: DataFile[Any], path: Path) -> Iterator[FollowupError]:
    """All that keeps the file from being read, each faulty entry or table once."""
    try:
        source = read_source(path)
        file.model.model_validate(source.data)
    except FollowupError as exc:
        yield exc
    except ValidationError as exc:
        yield from _invalid(file, source, exc)


def _invalid(file: DataFile[Any], source: Source, exc: ValidationError) -> Iterator[FollowupError]:
    seen = set()
    for problem in exc.errors(include_url=False, include_input=False, include_context=False):
        loc = problem["loc"]
        in_entry = len(loc) > 1 and isinstance(loc[1], int)
        entry, inside = (loc[:2], loc[2:]) if in_entry else ((), loc)
        if (part := entry or loc[:1]) in seen:
            continue
        seen.add(part)
        if not in_entry and str(loc[0]) in _lists(file):
            # An empty list would be a protocol that lost its rules unnoticed.
            key = loc[0]
            yield source.refuse(file.lists, f"no {key} in the file", key, fix=f"add [[{key}]] tables")
        else:
            code = file.code if in_entry else file.lists or file.code
            yield told_problem(problem, source.path, source.locate, entry, inside, code=code)


def _lists(file: DataFile[Any]) -> set[str]:
    """The keys that hold the entries of such a file."""
    fields = file.model.model_fields.items() if file.lists else ()
    return {field.alias or name for name, field in fields if get_origin(field.annotation) is tuple}


def twice(found: ReadFile[Any]) -> Iterator[FollowupError]:
    """Two entries of one name: nobody could say which of them holds."""
    for place, one, entries in marked(found.model, Names):
        names = one.of(entries)
        for i, name in enumerate(names):
            if one.once and name in names[:i]:
                code = found.file.lists or found.file.code
                yield found.source.refuse(code, f'"{name}" stands twice', *place, i, one.by, fix="keep one")
