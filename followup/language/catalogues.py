"""The words of a language: complete or not offered for a sheet, and nothing missing in silence.

A page of the staff goes on in its language and says what has no words yet in English.

English is the source; its ``sheet`` catalogue lists every message there is, so that
completeness can be told from the files alone. Where the catalogues lie says ``catalogue_files``.
"""

from __future__ import annotations

import gettext
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from followup.errors import FollowupError
from followup.language import catalogue_files as files
from followup.language.catalogue_files import Domain, Forms, Key, Loaded, Review, bind_clinic
from followup.language.checks import flaws
from followup.language.languages import ENGLISH, LANGUAGES, Language, english_name, known, language

__all__ = [
    "NN_",
    "N_",
    "Domain",
    "LanguageChoice",
    "Review",
    "Translator",
    "bind_clinic",
    "choose",
    "offered",
    "translator",
]

# Why a language may be missing from the choice; any other error must be seen.
_NOT_THERE = ("language.unknown", "language.catalogue", "language.incomplete")


def N_(message: str) -> str:  # noqa: N802 - the name that every extraction tool knows
    """Marks a message of a table for extraction; it is translated where it is used."""
    return message


def NN_(singular: str, plural: str) -> tuple[str, str]:  # noqa: N802 - as above, for what is counted
    """Marks a message with its plural for extraction; it is translated where it is used."""
    return singular, plural


@dataclass(frozen=True)
class Translator:
    """Messages of one domain in one language; the four gettext calls, as templates expect them.

    ``review`` says who of the clinic read the translation, and when; a draft until then.
    A message that the catalogue of the sheet lacks raises FollowupError: a sheet half in English is
    worse than none. A page of the staff says it in English and goes on. ``source`` translators (no
    catalogue) give back the message itself.
    """

    language: Language
    domain: Domain
    review: Review
    messages: Mapping[Key, Forms] = field(repr=False)
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
        return self.review.state == "draft"

    def _form(self, context: str | None, singular: str, plural: str, n: int) -> str:
        forms = self._find(context, singular, singular, plural)
        if forms == (singular, plural):
            return forms[n != 1]
        return forms[gettext.c2py(self.language.plural)(n)]

    def _find(self, context: str | None, message: str, *otherwise: str) -> Forms:
        if self.source:
            return otherwise
        found = self.messages.get((context, message))
        if found is None and self.domain == "desk":
            return otherwise
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


def translator(tag: str, domain: Domain = "sheet") -> Translator:
    """The translator of a language.

    Raises FollowupError where it is not known, missing or, in the clinic's own file, damaged; for a sheet
    also where it is incomplete.
    """
    spoken = language(tag)
    return _translator(spoken.tag, domain, files.stamps(spoken.tag, domain))


@lru_cache(maxsize=64)
def _translator(tag: str, domain: Domain, stamps: tuple[object, ...]) -> Translator:
    """``stamps`` is part of the key: a catalogue imported while the pages are served is read at once."""
    spoken = language(tag)
    if spoken == ENGLISH and domain == "desk":
        return Translator(spoken, domain, Review("source"), {}, source=True)
    shipped = files.shipped(spoken, domain)
    if shipped is None:
        raise FollowupError(
            "language.catalogue",
            f"there is no {spoken.english} catalogue for the {domain}",
            where=f"locales/{spoken.tag}",
            fix="choose another language, or install the program again if it should be there",
        )
    if spoken == ENGLISH:
        return Translator(spoken, domain, shipped.review, shipped.messages)
    wanted = wanted_messages(domain)
    merged = merged_words(spoken, domain, shipped)
    if domain == "desk":
        return Translator(spoken, domain, merged.review, _in_every_form(spoken, merged.messages, wanted))
    _must_be_complete(spoken, domain, merged.messages, wanted)
    return Translator(spoken, domain, merged.review, merged.messages)


def offered(domain: Domain = "sheet") -> tuple[Language, ...]:
    """The languages that can be printed (their catalogue is complete) or shown (it is there)."""
    return tuple(spoken for spoken in LANGUAGES.values() if _is_offered(spoken.tag, domain))


def choose(tag: str | None) -> LanguageChoice:
    """What a sheet asked for in ``tag`` will be printed in: that language, or English and why."""
    if tag is None or (known(tag) and _is_offered(tag, "sheet")):
        return LanguageChoice(language(tag) if tag else ENGLISH)
    return LanguageChoice(ENGLISH, missing=english_name(tag))


def _is_offered(tag: str, domain: Domain) -> bool:
    return _is_there(tag, domain, files.stamps(tag, domain))


@lru_cache(maxsize=64)
def _is_there(tag: str, domain: Domain, stamps: tuple[object, ...]) -> bool:
    """Kept as translators are: every page names the languages that there are, and those that are not."""
    try:
        _translator(tag, domain, stamps)
    except FollowupError as exc:
        if exc.code in _NOT_THERE:
            return False
        raise
    return True


def wanted_messages(domain: Domain = "sheet") -> Mapping[Key, Forms]:
    """Every message there is, in English."""
    source = files.shipped(ENGLISH, domain)
    return source.messages if source else {}


def merged_words(spoken: Language, domain: Domain, shipped: Loaded) -> Loaded:
    """The clinic's words over the program's; reviewed only where the reviewer read every one of them.

    Raises FollowupError ``language.damaged`` for words of the clinic that must not be printed.
    """
    own = files.clinics_own(spoken, domain)
    if own is None:
        return shipped
    wanted = wanted_messages(domain)
    used = {key: forms for key, forms in own.messages.items() if key in wanted}
    for key, forms in used.items():
        for flaw in flaws(wanted[key], forms, spoken):
            raise FollowupError(
                "language.damaged",
                f"the clinic's own {spoken.english} catalogue: {key[1]!r} {flaw}",
                where=str(files.clinic_file(spoken.tag, domain)),
                fix="import the reviewed file again, or take this file away",
            )
    review = own.review if wanted.keys() <= used.keys() else Review()
    return Loaded({**shipped.messages, **used}, review)


def _in_every_form(
    spoken: Language, messages: Mapping[Key, Forms], wanted: Mapping[Key, Forms]
) -> Mapping[Key, Forms]:
    """What a page of the staff can say: a message that lacks a form is said in English, alone."""
    short = _short(spoken, messages, wanted)
    return {key: forms for key, forms in messages.items() if key not in short}


def _short(spoken: Language, messages: Mapping[Key, Forms], wanted: Mapping[Key, Forms]) -> list[Key]:
    """The messages that lack a form of the plural, or have one too many."""
    return [
        key
        for key, forms in messages.items()
        if len(wanted.get(key, ())) > 1 and len(forms) != len(spoken.categories)
    ]


def _must_be_complete(
    spoken: Language, domain: Domain, messages: Mapping[Key, Forms], wanted: Mapping[Key, Forms]
) -> None:
    missing = [key for key in wanted if key not in messages]
    short = _short(spoken, messages, wanted)
    for _context, message in missing + short:
        raise FollowupError(
            "language.incomplete",
            f"{len(missing + short)} messages lack {spoken.english} words, first {message!r}",
            where=f"locales/{spoken.tag}, {domain}",
            fix="complete the catalogue before it is offered",
        )
