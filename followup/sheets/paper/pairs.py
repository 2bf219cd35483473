"""Two languages line by line: the patient's words with the staff's beside every one of them."""

from __future__ import annotations

from typing import Any

from followup.language.direction import without_marks
from followup.sheets.model import SheetContent

# What belongs to a language and is no word of the sheet.
_OF_THE_LANGUAGE = ("language", "direction", "fonts", "scale", "leading", "twin")


def paired(content: SheetContent) -> dict[str, Any]:
    """The content as plain data. Where there is a twin, each text that differs from the staff's
    becomes ``{"main": ..., "twin": ...}``.
    """
    data = content.model_dump(mode="json", exclude={"twin"})
    if content.twin is None:
        return data
    staff = content.twin.model_dump(mode="json", exclude={"twin"})
    return {
        key: value if key in _OF_THE_LANGUAGE else _pair(value, staff[key]) for key, value in data.items()
    }


def _pair(main: Any, twin: Any) -> Any:
    if isinstance(main, str) and isinstance(twin, str):
        return main if without_marks(main) == without_marks(twin) else {"main": main, "twin": twin}
    if isinstance(main, dict) and isinstance(twin, dict):
        return {key: _pair(value, twin.get(key)) for key, value in main.items()}
    if isinstance(main, list) and isinstance(twin, list):
        return _pair_lists(main, twin)
    return main


def _pair_lists(main: list[Any], twin: list[Any]) -> list[Any]:
    if len(main) == len(twin) or not main or not twin or not isinstance(twin[0], str):
        return [_pair(a, b) for a, b in zip(main, twin, strict=False)] + main[len(twin) :]
    # Two sentences that are the same in one language stand once there: all the staff's words
    # then go under the first line, so that none is lost.
    return [_pair(main[0], " ".join(twin)), *main[1:]]
