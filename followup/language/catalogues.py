"""The gettext catalogues: complete or not offered, and nothing missing in silence.

``locales/<tag>/LC_MESSAGES/<domain>.po``, compiled to ``.mo`` in the wheel and in memory in a
checkout. English is the source; its ``sheet`` catalogue lists every message there is, so that
completeness can be told from the compiled files alone.
"""

from __future__ import annotations

import gettext
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Literal

from babel.messages.catalog import Catalog
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po

from followup.errors import FollowupError
from followup.language.languages import ENGLISH, LANGUAGES, Language, english_name, known, language
from followup.resources import folder

Domain = Literal["sheet", "desk"]
_Key = tuple[str | None, str]
_Forms = tuple[str, ...]
_REVIEW = re.compile(r'^"X-Review:([^"\\]+)', re.MULTILINE)


def N_(message: str) -> str:  # noqa: N802 - the name that every extraction tool knows
    """Marks a message of a table for extraction; it is translated where it is used."""
    return message


@dataclass(frozen=True)
class Translator:
    """Messages of one domain in one language; the four gettext calls, as templates expect them.

    ``review`` is "source", "draft" or who of the clinic read the translation, and when.
    A message that the catalogue lacks raises FollowupError: a sheet half in English is worse
    than none. ``source`` translators (no catalogue) give back the message itself.
    """

    language: Language
    domain: Domain
    review: str
    messages: Mapping[_Key, _Forms] = field(repr=False)
    source: bool = False

    def gettext(self, message: str) -> str:
        return self._find(None, message, message)[0]

    def pgettext(self, context: str, message: str) -> str:
        return self._find(context, message, message)[0]

    def ngettext(self, singular: str, plural: str, n: int) -> str:
        return self._form(None, singular, plural, n)

    def npgettext(self, context: str, singular: str, plural: str, n: int) -> str:
        return self._form(context, singular, plural, n)

    @property
    def is_draft(self) -> bool:
        return self.review == "draft"

    def _form(self, context: str | None, singular: str, plural: str, n: int) -> str:
        forms = self._find(context, singular, singular, plural)
        return forms[gettext.c2py(self.language.plural)(n)]

    def _find(self, context: str | None, message: str, *otherwise: str) -> _Forms:
        if self.source:
            return otherwise
        found = self.messages.get((context, message))
        if found is None:
            raise FollowupError(
                "language.message",
                f"no {self.language.english} words for {message!r}",
                where=f"locales/{self.language.tag}, {self.domain}",
                fix="complete the catalogue, or print in another language",
            )
        return found


@dataclass(frozen=True)
class LanguageChoice:
    """The language that will be printed. ``missing`` names the one asked for that we lack."""

    language: Language
    missing: str | None = None

    @property
    def notice(self) -> str | None:
        """For the staff: why the sheet is not in the patient's language."""
        if self.missing is None:
            return None
        return (
            f"The sheet is in English, there are no {self.missing} words yet: read it out in {self.missing}."
        )


@lru_cache(maxsize=64)
def translator(tag: str, domain: Domain = "sheet") -> Translator:
    """The translator of a language. Raises FollowupError where it is not known, missing or incomplete."""
    spoken = language(tag)
    catalogue = _catalogue(spoken.tag, domain)
    if catalogue is None:
        if spoken == ENGLISH and domain == "desk":
            return Translator(spoken, domain, "source", {}, source=True)
        raise FollowupError(
            "language.catalogue",
            f"there is no {spoken.english} catalogue for the {domain}",
            where=f"locales/{spoken.tag}",
            fix="choose another language, or install the program again if it should be there",
        )
    messages = _messages(catalogue)
    if spoken != ENGLISH:
        _must_be_complete(spoken, domain, messages)
    return Translator(spoken, domain, _review(spoken, domain), messages)


def offered(domain: Domain = "sheet") -> tuple[Language, ...]:
    """The languages that can be printed or shown: those whose catalogue is there and complete."""
    return tuple(spoken for spoken in LANGUAGES.values() if _is_offered(spoken.tag, domain))


def choose(tag: str | None) -> LanguageChoice:
    """What a sheet asked for in ``tag`` will be printed in: that language, or English and why."""
    if tag is None or (known(tag) and _is_offered(tag, "sheet")):
        return LanguageChoice(language(tag) if tag else ENGLISH)
    return LanguageChoice(ENGLISH, missing=english_name(tag))


def _is_offered(tag: str, domain: Domain) -> bool:
    try:
        translator(tag, domain)
    except FollowupError:
        return False
    return True


def _catalogue(tag: str, domain: Domain) -> Catalog | None:
    base = folder("locales") / tag / "LC_MESSAGES"
    installed = folder("locales").parent == Path(__file__).resolve().parent.parent
    path = base / f"{domain}{'.mo' if installed else '.po'}"
    if not path.is_file():
        return None
    with path.open("rb") as file:
        return read_mo(file) if installed else read_po(file, locale=tag)


def _messages(catalogue: Catalog) -> dict[_Key, _Forms]:
    found: dict[_Key, _Forms] = {}
    for message in catalogue:
        text = message.string
        forms = tuple(str(t or "") for t in text) if isinstance(text, (tuple, list)) else (str(text or ""),)
        key = message.id[0] if isinstance(message.id, (tuple, list)) else message.id
        # Babel gives the context of a compiled message as bytes.
        context = message.context.decode() if isinstance(message.context, bytes) else message.context
        if key and not message.fuzzy and all(forms):
            found[(context, key)] = forms
    return found


def _must_be_complete(spoken: Language, domain: Domain, messages: Mapping[_Key, _Forms]) -> None:
    source = _catalogue("en", domain)
    wanted = _messages(source) if source else {}
    missing = [key for key in wanted if key not in messages]
    short = [
        key
        for key, forms in messages.items()
        if len(wanted.get(key, ())) > 1 and len(forms) != len(spoken.categories)
    ]
    for _context, message in missing + short:
        raise FollowupError(
            "language.incomplete",
            f"{len(missing + short)} messages lack {spoken.english} words, first {message!r}",
            where=f"locales/{spoken.tag}, {domain}",
            fix="complete the catalogue before it is offered",
        )


def _review(spoken: Language, domain: Domain) -> str:
    """The catalogue's ``X-Review`` header, which compiling drops; the source travels beside it."""
    if spoken == ENGLISH:
        return "source"
    path = folder("locales") / spoken.tag / "LC_MESSAGES" / f"{domain}.po"
    found = _REVIEW.search(path.read_text("utf-8")) if path.is_file() else None
    return found[1].strip() if found else "draft"
