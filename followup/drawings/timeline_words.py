"""The words of a time line in the language of whoever looks at it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from followup.clinical.english import day_words


@dataclass(frozen=True)
class TimelineWords:
    """A language of the staff; English where nothing is given. ``rtl``: it is written from the right.

    ``short``: a day for narrow places, where it is told otherwise than by ``day``.
    """

    gettext: Callable[[str], str] = str
    day: Callable[[date], str] = day_words
    rtl: bool = False
    short: Callable[[date], str] | None = None

    def dated(self, day: date) -> str:
        """A day under its mark."""
        return (self.short or self.day)(day)

    def isolated(self, text: str) -> str:
        """A text of this language, which keeps its direction whatever stands beside it in a drawing."""
        return f"\u2067{text}\u2069" if self.rtl else text

    def visit(self, state: str) -> str:
        """What became of a visit."""
        return {
            "to come": self.gettext("to come"),
            "done": self.gettext("done"),
            "missed": self.gettext("missed"),
        }[state]


ENGLISH = TimelineWords()
