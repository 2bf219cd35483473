"""Files for other programs, as an answer: each with the type that its standard gives it."""

from __future__ import annotations

import json
from typing import Any

from fastapi import Response

from followup.language.direction import without_marks

FHIR = "application/fhir+json"
CALENDAR = "text/calendar"


def fhir_answer(bundle: dict[str, Any], name: str) -> Response:
    """A bundle to be saved as a file."""
    return _file(json.dumps(bundle, ensure_ascii=False, indent=2).encode(), f"{name}.fhir.json", FHIR)


def calendar_answer(content: bytes, name: str) -> Response:
    """Events to be opened by a calendar."""
    return _file(content, f"{name}.ics", f"{CALENDAR}; charset=utf-8")


def _file(content: bytes, name: str, kind: str) -> Response:
    plain = "".join(c for c in without_marks(name) if c.isascii() and (c.isalnum() or c in "-._"))
    return Response(
        content, media_type=kind, headers={"content-disposition": f'attachment; filename="{plain}"'}
    )
