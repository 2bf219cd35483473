"""The languages that a sheet can be printed in, and what printing in each of them needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from babel import Locale, UnknownLocaleError

from followup.errors import FollowupError
from followup.said import say

Direction = Literal["ltr", "rtl"]


# Plural rules after the Unicode CLDR plural rules, for whole numbers. The gettext table that
# comes with Babel 2.18 differs from CLDR for Arabic from 11 on, so none of it is used.
ONE_ALONE = "(n != 1)"
NONE_OR_ONE = "(n > 1)"
ARABIC = "(n==0 ? 0 : n==1 ? 1 : n==2 ? 2 : n%100>=3 && n%100<=10 ? 3 : n%100>=11 ? 4 : 5)"

LATIN_DIGITS = "0123456789"


@dataclass(frozen=True)
class Language:
    """One language. ``native`` is its name in itself, ``fonts`` the families to try, in order.

    ``plural`` is the gettext expression that picks one of ``categories`` (CLDR plural
    categories, in the order of the forms). ``scale`` evens out how large the script looks
    at the same point size, ``leading`` (in em) is the room its lines need between them.
    ``date_pattern`` and ``short_date_pattern`` are CLDR date patterns with the month's name,
    ``digits`` the ten digits of its own script, from nought to nine. ``hours`` says how people count
    them when they speak (after CLDR's time formats; Swahili counts from six in the morning), and
    ``night`` from when on they call it night. ``calendar``: whose days stand first.
    """

    tag: str
    native: str
    english: str
    direction: Direction = "ltr"
    fonts: tuple[str, ...] = ("Noto Sans",)
    categories: tuple[str, ...] = ("one", "other")
    plural: str = ONE_ALONE
    date_pattern: str = "EEEE d MMMM y"
    short_date_pattern: str = "d MMMM"
    scale: float = 1.0
    leading: float = 0.5
    digits: str = LATIN_DIGITS
    hours: Literal["24", "12", "from six"] = "24"
    night: str = "20:00"
    calendar: Literal["gregorian", "bikram sambat"] = "gregorian"

    @property
    def rtl(self) -> bool:
        return self.direction == "rtl"

    @property
    def plural_forms(self) -> str:
        """The value of the ``Plural-Forms`` header of this language's catalogues."""
        return f"nplurals={len(self.categories)}; plural={self.plural};"


ENGLISH = Language("en", "English", "English")

_WITH_COMMA = "EEEE, d MMMM y"

LANGUAGES: dict[str, Language] = {
    language.tag: language
    for language in (
        ENGLISH,
        Language(
            "bn",
            "বাংলা",
            "Bengali",
            fonts=("Hind Siliguri", "Noto Sans"),
            plural=NONE_OR_ONE,
            date_pattern=_WITH_COMMA,
            hours="12",
            digits="০১২৩৪৫৬৭৮৯",
        ),
        Language(
            "hi",
            "हिन्दी",
            "Hindi",
            fonts=("Noto Sans Devanagari", "Noto Sans"),
            plural=NONE_OR_ONE,
            date_pattern=_WITH_COMMA,
            leading=0.6,
            hours="12",
            digits="०१२३४५६७८९",
        ),
        Language(
            "ta",
            "தமிழ்",
            "Tamil",
            fonts=("Noto Sans Tamil", "Noto Sans"),
            date_pattern=_WITH_COMMA,
            leading=0.6,
            hours="12",
            digits="௦௧௨௩௪௫௬௭௮௯",
        ),
        Language(
            "te",
            "తెలుగు",
            "Telugu",
            fonts=("Noto Sans Telugu", "Noto Sans"),
            date_pattern=_WITH_COMMA,
            leading=0.7,
            hours="12",
            digits="౦౧౨౩౪౫౬౭౮౯",
        ),
        Language(
            "ur",
            "اردو",
            "Urdu",
            "rtl",
            fonts=("Amiri", "Noto Sans"),
            date_pattern="EEEE، d MMMM y",
            scale=1.12,
            leading=0.72,
            hours="12",
            digits="۰۱۲۳۴۵۶۷۸۹",
        ),
        Language(
            "ar",
            "العربية",
            "Arabic",
            "rtl",
            fonts=("Amiri", "Noto Sans"),
            categories=("zero", "one", "two", "few", "many", "other"),
            plural=ARABIC,
            date_pattern="EEEE، d MMMM y",
            scale=1.12,
            leading=0.72,
            hours="12",
            digits="٠١٢٣٤٥٦٧٨٩",
        ),
        Language("sw", "Kiswahili", "Swahili", hours="from six", night="19:00"),
        Language("fr", "français", "French", plural=NONE_OR_ONE),
        Language(
            "es",
            "español",
            "Spanish",
            date_pattern="EEEE d 'de' MMMM 'de' y",
            short_date_pattern="d 'de' MMMM",
        ),
        Language(
            "pt",
            "português",
            "Portuguese",
            plural=NONE_OR_ONE,
            date_pattern="EEEE, d 'de' MMMM 'de' y",
            short_date_pattern="d 'de' MMMM",
        ),
        Language(
            "ne",
            "नेपाली",
            "Nepali",
            fonts=("Noto Sans Devanagari", "Noto Sans"),
            date_pattern=_WITH_COMMA,
            leading=0.6,
            digits="०१२३४५६७८९",
            calendar="bikram sambat",
        ),
    )
}


def language(tag: str) -> Language:
    """The language of a tag, a region being ignored (``bn-BD`` is Bengali).

    Raises FollowupError ``language.unknown`` for a language that has no entry here.
    """
    found = known(tag)
    if found is None:
        raise FollowupError(
            "language.unknown",
            say("no sheet language {tag}", tag=repr(tag)),
            fix=say("choose one of {languages}", languages=", ".join(LANGUAGES)),
        )
    return found


def known(tag: str) -> Language | None:
    return LANGUAGES.get(tag.split("-")[0].lower())


def english_name(tag: str) -> str:
    """The English name of any language, or the tag itself where nobody knows it."""
    if (ours := known(tag)) is not None:
        return ours.english
    try:
        return Locale.parse(tag, sep="-").get_language_name("en") or tag
    except (UnknownLocaleError, ValueError):
        return tag
