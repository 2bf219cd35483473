"""What a translated message must keep of its source before anybody may print it.

The usual tools let a lost placeholder pass, and none of them sees a lost "not". These checks
judge the program's own catalogues in the tests and a reviewer's file when it comes back.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterator

from followup.language.fonts import uncovered
from followup.language.languages import LATIN_DIGITS, Language
from followup.language.safeguards import PROTECTED, forbidden, says_no

PLACEHOLDER = re.compile(r"%\((\w+)\)[sd]|\{(\w+)\}")
_MARKUP = re.compile(r"[<>&\\`*_#$@]|\]\(")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_NEGATION = re.compile(r"\b(?:not|never|no|nothing|cannot|without|nobody|none)\b(?!\. %)", re.IGNORECASE)
_LONGEST = 4


def flaws(source: tuple[str, ...], forms: tuple[str, ...], language: Language) -> Iterator[str]:
    """What is wrong with a translation, each as the end of a sentence that begins with the message.

    ``source`` is the English message, with its plural as second where it is counted; ``forms``
    the translation in the language's plural forms.
    """
    wanted = len(language.categories) if len(source) > 1 else 1
    if len(forms) != wanted:
        yield f"has {len(forms)} forms, {language.english} needs {wanted}"
        return
    for form in forms:
        yield from _flaws_of_one(source[-1], form, language)


def _flaws_of_one(source: str, form: str, language: Language) -> Iterator[str]:
    if not form.strip() or form != form.strip():
        yield "is empty, or begins or ends with a space"
        return
    yield from _placeholders(source, form)
    plain = PLACEHOLDER.sub(" ", form)
    yield from _numbers(PLACEHOLDER.sub(" ", source), plain)
    yield from _characters(plain, source)
    if forbidden(plain) and not forbidden(source):
        yield f"holds the abbreviation {forbidden(plain)[0]!r}, which is never printed"
    if language.tag in PROTECTED:
        yield from _protected(source, plain, language)
    if len(form) > _LONGEST * len(source) + 40:
        yield "is far longer than the English sentence"


def _placeholders(source: str, form: str) -> Iterator[str]:
    wanted, found = Counter(PLACEHOLDER.findall(source)), Counter(PLACEHOLDER.findall(form))
    for name in wanted - found:
        yield f"lacks the placeholder {_shown(name)}"
    for name in found - wanted:
        yield f"has the placeholder {_shown(name)}, which the source has not"
    if _lone_percent(form) and not _lone_percent(source):
        yield "has a percent sign that belongs to no placeholder; write two of them"


def _lone_percent(text: str) -> bool:
    return "%" in PLACEHOLDER.sub("", text).replace("%%", "")


def _shown(name: tuple[str, str]) -> str:
    percent, brace = name
    return f"%({percent})s" if percent else f"{{{brace}}}"


def _numbers(source: str, form: str) -> Iterator[str]:
    if any(c.isdigit() and c not in LATIN_DIGITS for c in form):
        yield f"has digits that are not {LATIN_DIGITS}"
    found = _NUMBER.findall(form)
    for number in _NUMBER.findall(source):
        if number not in found:
            yield f"lacks the number {number}"


def _characters(form: str, source: str) -> Iterator[str]:
    """A sign of a mark-up language may stand only where the English sentence, a staff page's, has it too."""
    for markup in dict.fromkeys(_MARKUP.findall(form)):
        if markup not in source:
            yield f"has the mark-up character {markup!r}"
    if form[:1] in "=+-@":
        yield f"begins like a formula with {form[:1]!r}"
    for character in form:
        if unicodedata.category(character) in ("Cc", "Cf") and character not in "\u200c\u200d":
            yield f"has the invisible character U+{ord(character):04X}"
            return
    for character in uncovered(form):
        if character in source:
            continue
        named = unicodedata.name(character, "a character without a name").lower()
        yield f"has U+{ord(character):04X} ({named}), which no font prints"
    if unicodedata.normalize("NFC", form) != form:
        yield "is not in the composed form of Unicode (NFC)"


def _protected(source: str, form: str, language: Language) -> Iterator[str]:
    words, folded = PROTECTED[language.tag], form.casefold()
    for word, ours in words.items():
        said = re.search(rf"\b{word}s?\b(?!\))", source, re.IGNORECASE)
        if said and not any(each.casefold() in folded for each in ours):
            yield f"lacks the word for {word!r}: {' or '.join(ours)}"
    if _NEGATION.search(source) and not says_no(form, language.tag):
        yield "has lost its 'not' or 'never'"
