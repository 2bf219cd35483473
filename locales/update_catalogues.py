"""Bring every catalogue up to date with the source: ``python locales/update_catalogues.py``.

Extracts the messages of the sheet, keeps the translations that still fit, adds the new ones empty
(never a guess), drops what nobody uses. English is filled with itself.
"""

from __future__ import annotations

import re
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po

from followup.language.extraction import sheet_messages
from followup.language.languages import LANGUAGES, Language

ROOT = Path(__file__).resolve().parent.parent


def update(language: Language, source: Catalog, root: Path = ROOT) -> None:
    """Rewrite one language's ``sheet.po``; its own header lines are kept."""
    path = root / "locales" / language.tag / "LC_MESSAGES" / "sheet.po"
    old = Catalog(locale=language.tag)
    if path.is_file():
        with path.open("rb") as file:
            old = read_po(file, locale=language.tag)
    new = Catalog(locale=language.tag, charset="utf-8", fuzzy=False)
    for message in source:
        if message.id:
            new[message.id] = _filled(message, old, language)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.write(header(path, language).encode())
        body = Catalog(locale=language.tag, charset="utf-8")
        for message in new:
            if message.id:
                body[message.id] = message
        write_po(file, body, omit_header=True, width=100, include_lineno=False)


def _filled(message: Message, old: Catalog, language: Language) -> Message:
    kept = old.get(message.id, message.context)
    text = kept.string if kept and not kept.fuzzy else ""
    if language.tag == "en":
        text = message.id
    if not text and message.pluralizable:
        text = ("",) * len(language.categories)
    return Message(
        message.id, text, message.locations, message.flags, message.auto_comments, context=message.context
    )


def header(path: Path, language: Language) -> str:
    """The catalogue's header: the review state of before, or draft."""
    text = path.read_text("utf-8") if path.is_file() else ""
    review = re.search(r'^"X-Review: *(.+?)\\n"', text, re.MULTILINE)
    state = "source" if language.tag == "en" else review[1] if review else "draft"
    lines = (
        "Content-Type: text/plain; charset=UTF-8",
        "Content-Transfer-Encoding: 8bit",
        "MIME-Version: 1.0",
        f"Language: {language.tag}",
        f"Plural-Forms: {language.plural_forms}",
        f"X-Review: {state}",
    )
    body = "".join(f'"{line}\\n"\n' for line in lines)
    return f'# {language.english} words of the patient\'s sheet.\nmsgid ""\nmsgstr ""\n{body}\n'


if __name__ == "__main__":
    messages = sheet_messages()
    for each in LANGUAGES.values():
        update(each, messages)
