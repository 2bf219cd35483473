"""A layout set in this process as the typesetting worker sets it, without the attempts that come before."""

from __future__ import annotations

import json
from functools import cache, lru_cache
from typing import Any

import typst

from followup.language.fonts import font_folders
from followup.resources import folder

_TIMESTAMP = 1_767_225_600


@cache
def _compiler(layout: str) -> typst.Compiler:
    templates = folder("templates")
    return typst.Compiler(
        str(templates / layout),
        root=str(templates),
        font_paths=[str(path) for path in font_folders()],
        ignore_system_fonts=True,
    )


def set_(data: dict[str, Any]) -> bytes:
    """The PDF of sheets or of a protocol. Raises typst.TypstError where the layout refuses it."""
    layout = "sheet.typ" if "sheets" in data else "protocol.typ"
    return _set(layout, json.dumps(data, ensure_ascii=False))


@lru_cache(maxsize=64)
def _set(layout: str, data: str) -> bytes:
    made = _compiler(layout).compile(
        format="pdf", sys_inputs={"data": data}, pdf_standards=["ua-1"], timestamp=_TIMESTAMP
    )
    assert isinstance(made, bytes)
    return made


def refusal(data: dict[str, Any]) -> str:
    """What the layout says against it, or that it says nothing."""
    try:
        set_(data)
    except typst.TypstError as exc:
        return str(exc).splitlines()[0]
    return "set"
