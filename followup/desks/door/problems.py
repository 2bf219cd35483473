"""A failure as a program reads it: ``application/problem+json`` (RFC 9457) with our code and fields."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any, Literal

from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from followup.errors import FollowupError
from followup.validation import problem_words

MEDIA_TYPE = "application/problem+json"
MOST_FIELDS = 50


class FieldProblem(BaseModel):
    """One field that is wrong, by its dotted place in what was sent."""

    model_config = ConfigDict(extra="forbid")

    field: str
    what: str


class Problem(BaseModel):
    """What is wrong, where, and how to mend it.

    ``code`` is stable; ``detail`` is the whole of it as one line for people.
    """

    model_config = ConfigDict(extra="forbid")

    type: Literal["about:blank"] = "about:blank"
    title: str
    status: int = Field(ge=400, le=599)
    detail: str
    code: str
    what: str
    where: str
    fix: str
    fields: list[FieldProblem]


def answer(status: int, error: FollowupError) -> JSONResponse:
    """One of our errors; a record's wrong fields each by name."""
    found: Mapping[str, str] = getattr(error, "problems", {})
    return _said(status, error, [FieldProblem(field=name, what=text) for name, text in found.items()])


def answer_fields(errors: Iterable[Mapping[str, Any]]) -> JSONResponse:
    """What was sent does not have the shape that the description asks for."""
    found = [FieldProblem(field=_place(error["loc"]), what=problem_words(error)) for error in errors]
    first = found[0]
    error = FollowupError("request.field", first.what, where=first.field, fix="read /api/openapi.json")
    return _said(422, error, found[:MOST_FIELDS])


def _place(loc: tuple[int | str, ...]) -> str:
    """Dotted; what was sent as a whole is "body"."""
    return ".".join(str(part) for part in loc[1:]) or str(loc[0])


def _said(status: int, error: FollowupError, fields: list[FieldProblem]) -> JSONResponse:
    problem = Problem(
        title=HTTPStatus(status).phrase,
        status=status,
        detail=error.line,
        code=error.code,
        what=error.what,
        where=error.where,
        fix=error.fix,
        fields=fields,
    )
    return JSONResponse(problem.model_dump(), status, media_type=MEDIA_TYPE)
