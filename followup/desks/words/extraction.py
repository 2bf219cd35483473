"""Every message that the desks can say, found where it is written.

Four places: the pages, the marked messages of the rooms, the sentences that the rooms ``say``, and those
of the sample protocol. Used when catalogues are brought up to date and when they are judged.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir

from followup import resources
from followup.language.extraction import KEYWORDS
from followup.validation import WORDS

_PACKAGE = Path(__file__).resolve().parents[2]
# Rooms with marked messages of the staff; those of the patients are the sheet's.
_MARKED = (
    ("desks", "**.py"),
    ("care", "**.py"),
    ("recall", "**.py"),
    ("drawings", "timeline*.py"),
    ("clinical", "words/differences_told.py"),
)
# Rooms that say sentences as values (see ``followup.said``).
_SAYING = (
    "timing",
    "clinical",
    "telling",
    "records",
    "language",
    "recall",
    "drawings",
    "sheets",
    "exchange/audit",
    "exchange/lists",
    "care",
    "desks",
)
# The languages that the staff's pages speak.
DESK_LANGUAGES = ("en", "fr", "hi", "bn", "ar")
_TOLD = frozenset({"text", "because", "question", "about", "otherwise", "unknown", "said"})
_TOLD |= {"without_steroid", "call", "senior_call", "nsaid_text", "steroid_text", "bare_text", "no_raise"}


def desk_messages() -> Catalog:
    """The messages of the staff's pages, with their comments for translators."""
    found = Catalog(charset="utf-8")
    for message, place, comments in _all():
        found.add(message, None, [place], auto_comments=comments)
    return found


Keywords = Mapping[str, Any]
_Found = tuple[Any, tuple[str, int], list[str]]


def _all() -> Iterator[_Found]:
    yield from _pages()
    for room, pattern in _MARKED:
        yield from _marked(room, pattern)
    for room in _SAYING:
        yield from _marked(room, "**.py", {"say": None})
    for words in WORDS.values():
        yield words, ("followup/validation.py", 1), ["What a wrong field is told, after its name."]
    yield from _protocol()


def _pages() -> Iterator[_Found]:
    options = {"trimmed": "true", "newstyle_gettext": "true", "extensions": "jinja2.ext.i18n"}
    for name, line, message, comments, _context in extract_from_dir(
        resources.folder("templates") / "desks", [("**.html", "jinja2")], options_map={"**.html": options}
    ):
        yield message, (f"templates/desks/{name}", line), comments


def _marked(room: str, pattern: str, keywords: Keywords = KEYWORDS) -> Iterator[_Found]:
    for name, line, message, comments, _context in extract_from_dir(
        _PACKAGE / room,
        [("messages/**", "ignore"), (pattern, "python")] if keywords is KEYWORDS else [(pattern, "python")],
        keywords=keywords,
        comment_tags=("Translators:",),
        strip_comment_tags=True,
    ):
        yield message, (f"followup/{room}/{name}", line), comments


def _protocol() -> Iterator[_Found]:
    folder = _PACKAGE / "clinical" / "data"
    for path in sorted(folder.glob("*.toml")):
        for text in _told(tomllib.loads(path.read_text(encoding="utf-8"))):
            yield text, (f"followup/clinical/data/{path.name}", 1), []


def _told(data: object) -> Iterator[str]:
    """The sentences that a reader of the plan sees, wherever they stand in a file."""
    if isinstance(data, dict):
        # A taper's name is words; that of a fact is a key.
        told = _TOLD | {"name"} if "id" in data and "steps" in data else _TOLD
        for key, value in data.items():
            if key in told and isinstance(value, str):
                yield value
            # Under "numbers" a name stands for the place of a figure.
            elif key != "numbers":
                yield from _told(value)
    elif isinstance(data, list):
        for each in data:
            yield from _told(each)
