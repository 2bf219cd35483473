"""The seven signs for which a patient comes at once: as this project's clinicians worded them, and as the
catalogue file of each language has them. Read from the file itself, not through the program."""

from __future__ import annotations

from functools import cache

from babel.messages.pofile import read_po

from followup.resources import folder

SIGNS = {
    "sight": "Your sight gets worse",
    "pain": "Pain grows",
    "red": "Redness grows",
    "lids": "The eyelids swell",
    "flashes": "You see flashes of light, many new spots or a dark curtain",
    "pus": "Pus comes from the eye",
    "knock": "Something hits the eye",
}
LANGUAGES = ("en", "es", "pt", "fr", "sw", "hi", "bn", "ta", "te", "ne", "ur", "ar")


@cache
def _catalogue(tag: str) -> dict[str, str]:
    with (folder("locales") / tag / "LC_MESSAGES" / "sheet.po").open("rb") as file:
        return {m.id: m.string for m in read_po(file) if isinstance(m.id, str) and not m.fuzzy}


def in_language(tag: str, message: str) -> str:
    """What the catalogue of the language has for a message of the sheet."""
    words = message if tag == "en" else _catalogue(tag)[message]
    assert words, f"{tag} has no words for {message!r}"
    assert tag == "en" or words != message
    return words


def signs_in(tag: str) -> dict[str, str]:
    return {sign: in_language(tag, message) for sign, message in SIGNS.items()}
