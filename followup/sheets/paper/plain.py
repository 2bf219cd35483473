"""Papers that no patient's words stand on: a template of ours, set here and at once."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import typst

from followup.language.fonts import font_folders
from followup.resources import folder


def set_plain(template: str, data: Mapping[str, Any], timestamp: int) -> bytes:
    """The PDF of a template with ``data``; ``timestamp``, in seconds, is the only instant in it."""
    templates = folder("templates")
    made = typst.compile(
        str(templates / template),
        root=str(templates),
        font_paths=[str(path) for path in font_folders()],
        ignore_system_fonts=True,
        format="pdf",
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        pdf_standards=["ua-1"],
        timestamp=timestamp,
    )
    assert isinstance(made, bytes)
    return made
