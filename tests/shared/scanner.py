"""What a scanner makes a computer type."""

from __future__ import annotations

from followup.recall.codes.keyboards import LAYOUTS


def typed_on(layout: str, text: str) -> str:
    """What arrives when a scanner sends ``text`` to a computer with this layout."""
    keys = LAYOUTS[layout]
    return "".join(keys.get(char, char) for char in text)
