"""Every message that the patient's sheet can say, found in the code itself.

Catalogues are brought up to date and judged against this list, so nothing is missing in one
language and nothing is translated that nobody prints.
"""

from __future__ import annotations

from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir

_PACKAGE = Path(__file__).resolve().parent.parent
_ROOMS = ("language", "recall/messages", "drawings", "sheets", "exchange/agenda")
KEYWORDS = {
    "_": None,
    "N_": None,
    "gettext": None,
    "ngettext": (1, 2),
    "NN_": (1, 2),
    "pgettext": ((1, "c"), 2),
}


def sheet_messages() -> Catalog:
    """The messages in the order of the code, with their comments for translators."""
    found = Catalog(charset="utf-8")
    for room in _ROOMS:
        for name, line, message, comments, context in extract_from_dir(
            _PACKAGE / room,
            # The time line of an eye is drawn for the staff: its words are those of the desks.
            [("timeline*.py", "ignore"), ("**.py", "python")],
            keywords=KEYWORDS,
            comment_tags=("Translators:",),
            strip_comment_tags=True,
        ):
            place = [(f"followup/{room}/{name}", line)]
            found.add(message, None, place, auto_comments=comments, context=context)
    return found
