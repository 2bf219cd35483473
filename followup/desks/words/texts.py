"""Days, choices and states in the words of the staff's language."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from markupsafe import Markup, escape

from followup.care.fields.labels import label_of
from followup.clinical.record import Eye
from followup.clinical.statuses import PLAN_WORDS, TRIP_WORDS
from followup.desks.forms.choices import choice_words
from followup.desks.words.told import Teller, upright
from followup.errors import FollowupError
from followup.language.catalogues import N_, Translator, translator
from followup.language.dates import long_date, month, row_days, short_date, short_month
from followup.language.languages import known

# The one word that is typed where a number may stand.
NOT_DONE = "not done"
SERVICES = {
    "review": N_("review"),
    "pressure": N_("pressure"),
    "macula": N_("macula"),
    "retina": N_("retina"),
    "stitches": N_("stitches"),
    "refraction": N_("refraction"),
}
_NUMBER = re.compile(r"(\+?\d[\d ]{6,}\d)")
_EYES = {"right": N_("right eye"), "left": N_("left eye"), "both": N_("both eyes")}
_ROLES = {
    "counsellor": N_("counsellor"),
    "reception": N_("reception"),
    "surgeon": N_("surgeon"),
    "pharmacy": N_("pharmacy"),
    "manager": N_("manager"),
}


def desk_translator(language: str) -> Translator:
    """The staff's language, or English where the desks are not translated into it."""
    try:
        return translator(language, "desk")
    except FollowupError:
        return translator("en", "desk")


class Texts:
    """What templates need of a language: gettext and the filters.

    ``year``: the one that everybody is in, which no day says; None where every day says its year.
    """

    def __init__(self, language: str, year: int | None = None) -> None:
        self.translator = desk_translator(language)
        self._teller = teller = Teller(self.translator, year)
        self.told, self.reason = teller.told, teller.reason
        self.comma = self.translator.gettext("%(first)s, %(last)s") % {"first": "", "last": ""}

    @property
    def direction(self) -> str:
        """ "ltr" or "rtl" of the page."""
        return self.translator.language.direction

    @property
    def runs_left(self) -> bool:
        """Whether the page, and time in its drawings, runs from right to left."""
        return self.translator.language.rtl

    def gettext(self, message: str) -> str:
        """The message in this language."""
        return self.upright(self.translator.gettext(message))

    def ngettext(self, singular: str, plural: str, n: int) -> str:
        """The form of a message that goes with ``n``."""
        return self.upright(self.translator.ngettext(singular, plural, n))

    def upright(self, text: object) -> str:
        """A text whose grades and ranges keep their order inside right-to-left words."""
        return upright(str(text), self.translator.language)

    def apart(self, value: str) -> str:
        """A name in Latin letters that keeps its own direction inside right-to-left words."""
        return f"\u2068{value}\u2069" if self.runs_left else value

    def day(self, day: date) -> str:
        """ "Tuesday 24 November", and its year where that is another one than today's."""
        return self._teller.day(day)

    def whole_day(self, day: date) -> str:
        """ "Tuesday 24 November 2026", whatever the year is now."""
        return long_date(day, self.translator.language)

    def short_day(self, day: date) -> str:
        """ "24 November", beside a full date."""
        return short_date(day, self.translator.language)

    def month(self, day: date) -> str:
        """ "November 2026"."""
        return month(day, self.translator.language)

    def short_month(self, day: date) -> str:
        """ "Nov", under a narrow column."""
        return short_month(day, self.translator.language)

    def row_days(self, start: date, end: date | None = None) -> str:
        """ "Tue 2 – Mon 8 March", for the first column of a table; without ``end`` the first day alone."""
        return row_days(start, end or start, self.translator.language)

    def moment(self, instant: datetime, zone: ZoneInfo) -> str:
        """An instant as the clinic's day and clock."""
        local = instant.astimezone(zone)
        return f"{self.day(local.date())}{self.comma}{local:%H:%M}"

    def clock(self, instant: datetime, zone: ZoneInfo) -> str:
        """An instant as the clinic's clock of the day."""
        return f"{instant.astimezone(zone):%H:%M}"

    def choice(self, word: str, of: str = "") -> str:
        """One answer to the field ``of`` in the staff's language; the record keeps its own word."""
        return self.gettext(choice_words(word, of)) if word else self.gettext("not recorded")

    def eye(self, eye: Eye | None) -> str:
        """ "right eye", "left eye", or "by mouth" where there is none."""
        return self.gettext(_EYES[eye]) if eye else self.gettext("by mouth")

    def eyes(self, eyes: Iterable[str]) -> str:
        """The eyes of a patient in words: one of them, or both."""
        kept = sorted(set(eyes))
        return self.gettext(_EYES["both" if len(kept) == 2 else kept[0]]) if kept else ""

    def service(self, name: str) -> str:
        """A service of the protocol in the staff's language; one that the clinic named, by that name."""
        return self.gettext(SERVICES[name]) if name in SERVICES else name

    def found(self, value: object, kind: str, of: str) -> str:
        """What a look found in the field ``of``; what was typed there stands as it was typed."""
        if isinstance(value, bool):
            return self.choice("yes" if value else "no")
        if isinstance(value, float):
            return f"{value:g}"
        if isinstance(value, date):
            return self.day(value)
        chosen = kind in ("one of", "some of") or (kind == "line" and value == NOT_DONE)
        return self.choice(str(value), of) if chosen else str(value)

    def label(self, of: str) -> str:
        """The label of a field of the record."""
        return self.gettext(label_of(of).text)

    def hint(self, of: str) -> str:
        """The hint of a field, or nothing."""
        hint = label_of(of).hint
        return self.gettext(hint) if hint else ""

    def role(self, role: str) -> str:
        """A role of the staff."""
        return self.gettext(_ROLES[role])

    def plan_state(self, status: str) -> str:
        """The state of a plan."""
        return self.gettext(PLAN_WORDS[status])

    def trip_state(self, status: str) -> str:
        """The state of a visit."""
        return self.gettext(TRIP_WORDS[status])


def language_name(tag: str) -> str:
    """A language by its own name and its English one, or the tag where it is not known."""
    spoken = known(tag)
    if spoken is None:
        return tag
    return spoken.native if spoken.native == spoken.english else f"{spoken.native} ({spoken.english})"


def numbers_apart(text: str) -> Markup:
    """A text to read out, its telephone numbers each in one piece and from left to right."""
    apart = _NUMBER.sub(r'<bdi dir="ltr" class="together">\1</bdi>', str(escape(text)))
    return Markup(apart)  # noqa: S704 - it was escaped, and digits stay what they are
