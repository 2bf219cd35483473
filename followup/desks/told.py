"""The English sentences of the rooms that know no language, in the staff's language.

A plan that was signed a year ago, a caution with a medicine's name in it, a one-line error: all of
them come as finished English text. The catalogue knows each as a message with its values in braces,
so the message is found again by its fixed words, and the values are put into the translation.
A sentence that no message fits is shown as it is: English is better than nothing.
"""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache

from followup.desks.forms.place import Place
from followup.errors import Line, joined
from followup.language.catalogues import Translator, wanted_messages
from followup.language.dates import long_date

_VALUE = re.compile(r"\{([^\W\d]\w*)\}")
_SENTENCE_END = re.compile(r"(?<=[.?!]) (?=[^\s])")
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
# A value may hold a sentence of its own, not a book of them.
_DEEPEST = 3


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
        if text not in self._known:
            if len(self._known) > 5000:
                self._known.clear()
            self._known[text] = self._told(text, 0)
        return self._known[text]

    def _told(self, text: str, depth: int) -> str:
        whole = self._whole(text, depth)
        if whole is not None:
            return whole
        parts = _SENTENCE_END.split(text)
        if len(parts) > 1:
            return " ".join(self._told(part, depth) for part in parts)
        return self._value(text) if depth else text

    def _whole(self, text: str, depth: int) -> str | None:
        if (None, text) in self._words.messages:
            return self._words.gettext(text)
        if depth >= _DEEPEST:
            return None
        for pattern, message in _patterns():
            found = pattern.fullmatch(text)
            if found:
                values = {name: self._told(value, depth + 1) for name, value in found.groupdict().items()}
                return _filled(self._words.gettext(message), values)
        return None

    def _value(self, text: str) -> str:
        if _ISO_DAY.fullmatch(text):
            try:
                return long_date(date.fromisoformat(text), self._words.language)
            except ValueError:
                return text
        return text


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
        written.append(f"(?P={name})" if name in seen else f"(?P<{name}>.+?)")
        seen.add(name)
        at = value.end()
    return re.compile("".join(written) + re.escape(message[at:]))
