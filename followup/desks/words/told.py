"""The sentences of the rooms that know no language, in the staff's language.

A sentence comes as a value (see ``followup.said``): its template is put into the language, then its values.
A word or sentence that has none is looked up as it is. Whatever no catalogue knows is shown in English, and
what a person typed as it was typed.
"""

from __future__ import annotations

import re
from datetime import date
from itertools import zip_longest

from followup.care.fields.place import FormPlace
from followup.clinical.statuses import TRIP_WORDS
from followup.errors import ErrorLine, joined
from followup.language.catalogues import N_, NN_, Translator
from followup.language.dates import told_date
from followup.language.languages import Language
from followup.said import Said
from followup.typed import TYPED

# What is counted in the sentences of other rooms.
_COUNTED = (
    NN_("%(num)s day", "%(num)s days"),
    NN_("%(num)s drop", "%(num)s drops"),
    NN_("%(num)s second", "%(num)s seconds"),
    NN_("%(num)s minute", "%(num)s minutes"),
)
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
_STATES = {state: words for state, words in TRIP_WORDS.items() if words != state}
# What loses its order among right-to-left words: a grade such as 2+, a range, a date in digits.
_SIGNED = re.compile(r"(?<![\w.+-])\d+(?:\.\d+)?(?:\+|(?:[-–]\d+)+)(?![\w+])")
# How several texts are put together (see ``followup.said``).
_PAIRS = (
    *(N_("%(first)s; or if %(last)s"), N_("%(first)s; %(last)s"), N_("%(first)s: %(last)s")),
    *(N_("%(first)s, %(last)s"), N_("%(first)s and %(last)s"), N_("%(first)s or %(last)s")),
)


def upright(text: str, language: Language) -> str:
    """``text`` with its grades and ranges kept from left to right inside right-to-left words; what a person
    typed keeps its own direction already."""
    if not language.rtl:
        return text
    kept = TYPED.findall(text)
    told = (_SIGNED.sub("\u2066\\g<0>\u2069", part) for part in TYPED.split(text))
    return "".join(f"{part}{piece}" for part, piece in zip_longest(told, kept, fillvalue=""))


class Teller:
    """Puts sentences into the language of ``words``. ``year``: the one that no day says."""

    def __init__(self, words: Translator, year: int | None = None) -> None:
        self._words = words
        self._year = year

    def told(self, text: str) -> str:
        """``text`` in the staff's language, as far as the catalogue knows it."""
        if not text or (self._words.source and self._year is None):
            return text
        if isinstance(text, ErrorLine):
            return joined(self.told(text.what), self.told(text.where), self.told(text.fix))
        if isinstance(text, FormPlace):
            return text.told(self.told)
        told = text.told(self) if isinstance(text, Said) else self.word(text)
        return upright(told, self._words.language)

    def reason(self, text: str) -> str:
        """A stored reason: a sentence of ours is told, what a person typed stays as it is."""
        return self.told(text) if isinstance(text, Said) else text

    def gettext(self, message: str) -> str:
        """The message in this language."""
        return self._words.gettext(message)

    def ngettext(self, singular: str, plural: str, n: int) -> str:
        """The form of a message that goes with ``n``."""
        return self._words.ngettext(singular, plural, n)

    def day(self, day: date) -> str:
        """Such as "Monday 1 March 2027"; the year is left out where it is this one."""
        return told_date(day, self._words.language, self._year)

    def apart(self, text: str) -> str:
        """What keeps its own direction inside right-to-left words."""
        return f"\u2068{text}\u2069" if self._words.language.rtl else text

    def word(self, text: str) -> str:
        """A word of ours by itself; anything else as it is."""
        if isinstance(text, FormPlace):
            return text.told(self.told)
        if text in _STATES:
            return self._words.gettext(_STATES[text])
        for spelled in (text, text[:1].lower() + text[1:], text[:1].upper() + text[1:]):
            if (None, spelled) in self._words.messages:
                return self._words.gettext(spelled)
        return text
