"""The interface described: as OpenAPI 3.1 for programs, as a plain page for whoever writes one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from fastapi import APIRouter, Request, Response
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse

from followup.desks.api import (
    danger,
    door,
    erasing,
    eyes,
    figures,
    following,
    handing_on,
    house,
    my_patients,
    operations,
    plans,
    reaching,
    sheets,
    steps,
    telling,
    visits,
)
from followup.desks.door.permissions import TABLE
from followup.desks.door.problems import MEDIA_TYPE, Problem
from followup.desks.page.pages import show

router = APIRouter()
ROUTERS = (
    door.router,
    operations.router,
    telling.router,
    plans.router,
    steps.router,
    eyes.router,
    danger.router,
    my_patients.router,
    sheets.router,
    visits.router,
    reaching.router,
    following.router,
    handing_on.router,
    figures.router,
    house.router,
    erasing.router,
)
_ABOUT = """Log in with POST /api/session and send its cookie along (over HTTPS it is called
__Host-followup). Whatever changes something must also say where it comes from: in the header Origin this
address, or Sec-Fetch-Site: same-origin; without, it is refused (403). Failures are problems after RFC 9457
with a stable code. Nothing is stored twice: a nonce, the version seen, or the number of sheets printed tells
a repeated request from a new one."""
_SAID = {
    400: "What was sent is no JSON, or can't be stored.",
    401: "Nobody is logged in.",
    403: "Not one of this person's roles, a wrong password, or a request of another site.",
    404: "There is no such thing.",
    409: "Somebody else was faster, or it is not in the state for this.",
    413: "Too large.",
    422: "Refused: `code`, `where` and `fields` say why.",
    503: "The database does not answer or is full; nothing was stored.",
}
_SCHEMA = "#/components/schemas/"


class RouteLine(NamedTuple):
    """One line of the page."""

    method: str
    path: str
    what: str
    roles: tuple[str, ...]
    body: str
    answer: str


@router.get("/api/openapi.json")
def openapi() -> JSONResponse:
    """The description for programs."""
    return JSONResponse(document())


@router.get("/api")
def page(request: Request) -> Response:
    """The description for people."""
    found = document()
    schemas = {
        name: (schema.get("description", ""), _fields(schema))
        for name, schema in sorted(found["components"]["schemas"].items())
    }
    return show(request, "api.html", about=_ABOUT, groups=_groups(found), schemas=schemas)


@lru_cache(maxsize=1)
def document() -> dict[str, Any]:
    """OpenAPI 3.1 of every route, with who may call it and what can go wrong."""
    routes = [route for each in ROUTERS for route in each.routes]
    found: dict[str, Any] = get_openapi(
        title="Follow-up desks",
        version="1",
        description=_ABOUT,
        routes=routes,
    )
    schemas = found["components"]["schemas"]
    schemas.pop("HTTPValidationError", None)
    schemas.pop("ValidationError", None)
    problem = Problem.model_json_schema(ref_template=_SCHEMA + "{model}", mode="serialization")
    schemas |= problem.pop("$defs") | {"Problem": problem}
    cookie = {"type": "apiKey", "in": "cookie", "name": "followup"}
    found["components"]["securitySchemes"] = {"log-in": cookie}
    for path, methods in found["paths"].items():
        for method, operation in methods.items():
            _complete(method.upper(), path, operation)
    return found


def _complete(method: str, path: str, operation: dict[str, Any]) -> None:
    allowed = TABLE[method, path]
    operation["x-roles"] = sorted(allowed)
    operation["security"] = [] if "anonymous" in allowed else [{"log-in": []}]
    for status in _statuses(method, path):
        schema = {"schema": {"$ref": f"{_SCHEMA}Problem"}}
        operation["responses"][str(status)] = {"description": _SAID[status], "content": {MEDIA_TYPE: schema}}
    operation["responses"] = dict(sorted(operation["responses"].items()))


def _statuses(method: str, path: str) -> Iterator[int]:
    yield from (401, 403, 422, 503)
    if method != "GET":
        yield from (400, 404, 409, 413)
    elif "{" in path or path.endswith(".pdf"):
        yield 404


def _groups(found: dict[str, Any]) -> dict[str, list[RouteLine]]:
    groups: dict[str, list[RouteLine]] = {}
    for path, methods in found["paths"].items():
        for method, operation in methods.items():
            line = RouteLine(
                method.upper(),
                path,
                operation.get("description", operation["summary"]),
                tuple(operation["x-roles"]),
                _named(operation.get("requestBody", {}).get("content", {})),
                _answer(operation["responses"]),
            )
            groups.setdefault(operation["tags"][0], []).append(line)
    return groups


def _answer(responses: dict[str, Any]) -> str:
    good: dict[str, Any] = next((value for status, value in responses.items() if status.startswith("2")), {})
    return _named(good.get("content", {}))


def _named(content: dict[str, Any]) -> str:
    """The schema of a body by its name; another kind of content by its media type."""
    for media, value in content.items():
        schema = value.get("schema", {})
        return _type(schema) if media == "application/json" else media
    return ""


def _fields(schema: dict[str, Any]) -> list[tuple[str, str, bool]]:
    """(name, type, whether it must be there) of each field."""
    must = schema.get("required", ())
    return [(name, _type(part), name in must) for name, part in schema.get("properties", {}).items()]


def _type(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        return str(schema["$ref"]).removeprefix(_SCHEMA)
    if "anyOf" in schema or "oneOf" in schema:
        return " | ".join(dict.fromkeys(_type(part) for part in _parts(schema)))
    if "enum" in schema:
        return " | ".join(f'"{word}"' for word in schema["enum"])
    if "const" in schema:
        return f'"{schema["const"]}"'
    if schema.get("type") == "array":
        return f"[{_type(schema.get('items', {}))}]"
    return str(schema.get("format") or schema.get("type", ""))


def _parts(schema: dict[str, Any]) -> Sequence[dict[str, Any]]:
    found: Sequence[dict[str, Any]] = schema.get("anyOf") or schema["oneOf"]
    return found
