"""The English sentences of the rooms that know no language, in the staff's language.

A plan that was signed a year ago, a caution with a medicine's name in it, a one-line error: all of
them come as finished English text. The catalogue knows each as a message with its values in braces,
so the message is found again by its fixed words, and the values are put into the translation.
A sentence that no message fits is shown as it is: English is better than nothing.

What a person typed stands in such a text between marks (see ``followup.typed``) and is shown as it was
typed, whatever it looks like; a text that is typed as a whole never comes here.
"""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache, reduce

from followup.desks.forms.place import Place
from followup.errors import Line, joined
from followup.language.catalogues import N_, NN_, Translator, wanted_messages
from followup.language.dates import long_date
from followup.language.languages import Language
from followup.said import MONTHS, Said
from followup.typed import TYPED, holds_typed

_VALUE = re.compile(r"\{([^\W\d]\w*)\}")
_SENTENCE_END = re.compile(r"(?<=[.?!]) (?=[^\s])")
# Letters that no text has: each stands for a piece that a person typed while the rest is told.
_PRIVATE, _MOST_TYPED = 0xF0000, 0xFFFD
# A value may hold a sentence of its own, not a book of them.
_DEEPEST = 8
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_ENGLISH_DAY = re.compile(rf"(\d{{1,2}}) ({'|'.join(MONTHS)}) (\d{{4}})")
# What alone a value can be where its place would take in too much.
_FITS = {
    "eye": "[Rr]ight|[Ll]eft|both",
    "count": r"\S+",
    "days": r"[^,;]+",
    "expected": r"'.+|[0-9.]+\+?",
    "deed": r"[^(]+",
    "given": r"[^:;]+",
    "begins": r"[^;]+",
    "role": r"(?!then |\d)[^,;]+",
}
_COUNT = re.compile(r"(\d+) (day|drop)s?")
_COUNTED = {
    "day": NN_("%(num)s day", "%(num)s days"),
    "drop": NN_("%(num)s drop", "%(num)s drops"),
}
# Words that stand for a value and are sentences nowhere else.
_VALUES = (
    *(N_("low"), N_("middle"), N_("high"), N_("with the taper"), N_("as planned"), N_("in all")),
    *(N_("from {rise} to {bedtime}"), N_("by mouth"), N_("{eye} eye")),
    *(N_("given in the eye"), N_("taken by mouth")),
    N_("put in by the surgeon, not in use from day to day"),
    N_("{medicine}, {where}: {steps}."),
    *(N_("{given} {count} a day for {days} from {begins}"), N_("then {count} for {days}")),
    *(N_("added by {by}"), N_("changed by {by}")),
    *(N_("beta-blocker"), N_("carbonic anhydrase inhibitor"), N_("alpha agonist"), N_("prostaglandin")),
    *(N_("the first days: viscoelastic rather than steroid"), N_("healthy nerve, no cells")),
    *(N_("cells or uveitis: the steroid stays"), N_("damaged nerve, only eye or vein occlusion")),
    N_("({words})"),
    *(N_("common practice, no source"), N_("from memory"), N_("the surgeon's answer")),
    *(N_("published"), N_("secondary copy"), N_("common practice")),
)
# States that the pages call otherwise than the core does.
_STATES = {"proposed": N_("to come"), "fulfilled": N_("seen"), "noshow": N_("did not come")}
# What loses its order among right-to-left words: a grade such as 2+, a range, a date in digits.
_SIGNED = re.compile(r"(?<![\w.+-])\d+(?:\.\d+)?(?:\+|(?:[-–]\d+)+)(?![\w+])")
# How values are put together, what binds loosest first.
_LISTS = (
    ("; or if ", N_("%(first)s; or if %(last)s")),
    ("; ", N_("%(first)s; %(last)s")),
    (": ", N_("%(first)s: %(last)s")),
    (" (", N_("%(first)s (%(last)s)")),
    (", ", N_("%(first)s, %(last)s")),
    (" and ", N_("%(first)s and %(last)s")),
    (" or ", N_("%(first)s or %(last)s")),
)


def upright(text: str, language: Language) -> str:
    """``text`` with its grades and ranges kept from left to right inside right-to-left words."""
    return _SIGNED.sub("\u2066\\g<0>\u2069", text) if language.rtl else text


class Teller:
    """Puts finished English text into the language of ``words``."""

    def __init__(self, words: Translator) -> None:
        self._words = words
        self._known: dict[str, str] = {}

    def told(self, text: str) -> str:
        """``text`` in the staff's language, as far as the catalogue knows it."""
        if self._words.source or not text:
            return text
        if isinstance(text, Line):
            return joined(self.told(text.what), self.told(text.where), self.told(text.fix))
        if isinstance(text, Place):
            return text.told(self.told)
        if isinstance(text, Said):
            return upright(text.told(self), self._words.language)
        if text not in self._known:
            if len(self._known) > 5000:
                self._known.clear()
            self._known[text] = self._around_typed(text)
        return self._known[text]

    def gettext(self, message: str) -> str:
        return self._words.gettext(message)

    def ngettext(self, singular: str, plural: str, n: int) -> str:
        return self._words.ngettext(singular, plural, n)

    def day(self, day: date) -> str:
        return long_date(day, self._words.language)

    def apart(self, text: str) -> str:
        return f"\u2068{text}\u2069" if self._words.language.rtl else text

    def word(self, text: str) -> str:
        """A value of a sentence: told where it is a word or sentence of ours by itself."""
        return self.told(text)

    def reason(self, text: str) -> str:
        """A stored reason: as a person typed it, but for words of ours that were put before it."""
        return self.told(text) if holds_typed(text) else text

    def _around_typed(self, text: str) -> str:
        """``text`` told, each piece that a person typed standing for itself as one letter of nothing else."""
        pieces = TYPED.findall(text)
        if len(pieces) > _MOST_TYPED:
            return text
        numbers = iter(range(len(pieces)))
        signed = TYPED.sub(lambda _: chr(_PRIVATE + next(numbers)), text) if pieces else text
        told = upright(self._told(signed, 0), self._words.language)
        for number, piece in enumerate(pieces):
            told = told.replace(chr(_PRIVATE + number), piece)
        return told

    def _told(self, text: str, depth: int) -> str:
        said = self._whole(text, depth)
        if said is not None:
            return said
        parts = _SENTENCE_END.split(text)
        if len(parts) > 1:
            return " ".join(self._told(part, depth) for part in parts)
        return self._titles(text, depth) or self._list(text, depth)

    def _whole(self, text: str, depth: int) -> str | None:
        """A text that is one message."""
        for say in (self._exact, self._measure, lambda given: self._fitting(given, depth)):
            said = say(text)
            if said is not None:
                return said
        return None

    def _titles(self, text: str, depth: int) -> str | None:
        """Messages that lost their full stop, or got one, with semicolons between."""
        stop = "." if text.endswith(".") else ""
        told = [self._whole(part, depth) for part in text.removesuffix(".").split("; ")]
        known = [part for part in told if part is not None]
        if not text or len(known) < len(told):
            return None
        both = self._words.gettext("%(first)s; %(last)s")
        return reduce(lambda first, last: both % {"first": first, "last": last}, known) + stop

    def _exact(self, text: str) -> str | None:
        if text in _STATES:
            return self._words.gettext(_STATES[text])
        for spelled in (text, text[:1].lower() + text[1:], text[:1].upper() + text[1:]):
            if (None, spelled) in self._words.messages:
                return self._words.gettext(spelled)
        return None

    def _measure(self, text: str) -> str | None:
        """A day or a count."""
        day = _day(text)
        if day:
            return long_date(day, self._words.language)
        counted = _COUNT.fullmatch(text)
        if counted is None:
            return None
        number = int(counted[1])
        return self._words.ngettext(*_COUNTED[counted[2]], number) % {"num": number}

    def _fitting(self, text: str, depth: int) -> str | None:
        """The message whose fixed words fit. A value never reaches over the end of a sentence."""
        if depth >= _DEEPEST:
            return None
        for pattern, message in _patterns():
            found = pattern.fullmatch(text)
            if found and not any(_SENTENCE_END.search(value) for value in found.groupdict().values()):
                given = found.groupdict().items()
                parts = text.removesuffix(".").split("; ")
                if len(parts) > 1 and all(self._exact(part) is not None for part in parts):
                    # Several facts in a row, each known, are not one that fits over them all.
                    return self._titles(text, depth)
                values = {name: self._value(name, value, depth + 1) for name, value in given}
                return _filled(self._words.gettext(message), values)
        return None

    def _value(self, name: str, value: str, depth: int) -> str:
        """A value of a message. A source is cited as it is, in one piece."""
        if name != "source" or self._exact(value) is not None:
            return self._told(value, depth)
        return f"\u2068{value}\u2069" if self._words.language.rtl else value

    def _list(self, text: str, depth: int) -> str:
        """Several values with commas or other signs between, or one that nobody translates."""
        if not 0 < depth < _DEEPEST:
            return text
        for sign, message in _LISTS:
            splits = _splits(text, sign)
            if splits:
                # A known sentence may hold the sign itself.
                best = next((s for s in splits if self._exact(s[0]) is not None), splits[0])
                # The rest of a list is no deeper than its beginning, or a long one would stay English.
                first, last = self._told(best[0], depth + 1), self._told(best[1], depth)
                return self._words.gettext(message) % {"first": first, "last": last}
        return text


def _splits(text: str, sign: str) -> list[tuple[str, str]]:
    """Every way to take ``text`` apart at ``sign``."""
    if sign == " (":
        if not text.endswith(")"):
            return []
        text = text[:-1]
    at = [found.start() for found in re.finditer(re.escape(sign), text)]
    return [(text[:i], text[i + len(sign) :]) for i in at if i and i + len(sign) < len(text)]


def _day(text: str) -> date | None:
    """A day as ``clinical`` writes it: 2027-03-01 or 1 March 2027."""
    try:
        if written := _ENGLISH_DAY.fullmatch(text):
            return date(int(written[3]), MONTHS.index(written[2]) + 1, int(written[1]))
        return date.fromisoformat(text) if _ISO_DAY.fullmatch(text) else None
    except ValueError:
        return None


def _filled(message: str, values: dict[str, str]) -> str:
    return _VALUE.sub(lambda value: values[value[1]], message)


@lru_cache(maxsize=1)
def _patterns() -> tuple[tuple[re.Pattern[str], str], ...]:
    """The messages with values, those with most fixed words first: they can't take another's place."""
    found = [m for _context, m in wanted_messages("desk") if _VALUE.search(m) and "%(" not in m]
    found.sort(key=lambda message: -len(_VALUE.sub("", message)))
    return tuple((_pattern(message), message) for message in found)


def _pattern(message: str) -> re.Pattern[str]:
    written, at, seen = [], 0, set()
    for value in _VALUE.finditer(message):
        written.append(re.escape(message[at : value.start()]))
        name = value[1]
        fits = _FITS.get(name, ".+?")
        written.append(f"(?P={name})" if name in seen else f"(?P<{name}>{fits})")
        seen.add(name)
        at = value.end()
    return re.compile("".join(written) + re.escape(message[at:]))
