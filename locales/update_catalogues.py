"""Bring every catalogue up to date with the source: ``python locales/update_catalogues.py``.

Extracts the messages of the sheet and of the desks, keeps the translations that still fit, adds
the new ones empty (never a guess), drops what nobody uses. English is filled with itself.
"""

from __future__ import annotations

import io
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po

from followup.desks.words.extraction import DESK_LANGUAGES, desk_messages
from followup.language.catalogue_files import Domain, Review, catalogue_text, shipped, write_file
from followup.language.extraction import sheet_messages
from followup.language.languages import ENGLISH, LANGUAGES, Language

ROOT = Path(__file__).resolve().parent.parent


def update(language: Language, domain: Domain, source: Catalog, root: Path = ROOT) -> None:
    """Rewrite one language's catalogue. A reviewed one with new messages is a draft again."""
    path = root / "locales" / language.tag / "LC_MESSAGES" / f"{domain}.po"
    before = shipped(language, domain) if path.is_file() else None
    old = Catalog(locale=language.tag)
    if path.is_file():
        with path.open("rb") as file:
            old = read_po(file, locale=language.tag)
    new = _empty(language)
    for message in source:
        if message.id:
            new[message.id] = _filled(message, old, language)
    review = before.review if before and _all_there(new) else Review()
    write_file(path, catalogue_text(language, new, review, domain))


def _empty(language: Language) -> Catalog:
    """A catalogue with our plural rule and not Babel's, whose number of forms changes with its versions."""
    header = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=UTF-8\\n"\n'
    header += f'"Plural-Forms: {language.plural_forms}\\n"\n'
    return read_po(io.BytesIO(header.encode()), locale=language.tag)


def _filled(message: Message, old: Catalog, language: Language) -> Message:
    kept = old.get(message.id, message.context)
    text = kept.string if kept and not kept.fuzzy else ""
    if language == ENGLISH:
        text = message.id
    if not text and message.pluralizable:
        text = ("",) * len(language.categories)
    filled = Message(
        message.id, text, message.locations, message.flags, message.auto_comments, context=message.context
    )
    words = message.id[0] if message.pluralizable else message.id
    if "%(" not in words:
        # Babel takes the percent sign of "0.1% a day" for a value, and gettext's tools would believe it.
        filled.flags.discard("python-format")
    return filled


def _all_there(catalogue: Catalog) -> bool:
    return all(
        all(message.string) if message.pluralizable else message.string for message in catalogue if message.id
    )


if __name__ == "__main__":
    for each in LANGUAGES.values():
        update(each, "sheet", sheet_messages())
    staff = desk_messages()
    for each in LANGUAGES.values():
        if each.tag in DESK_LANGUAGES:
            update(each, "desk", staff)
