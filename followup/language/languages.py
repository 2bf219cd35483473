"""The languages that a sheet can be printed in, and what printing in each of them needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from babel import Locale, UnknownLocaleError

from followup.errors import FollowupError

Direction = Literal["ltr", "rtl"]


@dataclass(frozen=True)
class Language:
    """One language. ``native`` is its name in itself, ``fonts`` the families to try, in order.

    ``plural`` is the gettext expression that picks one of ``categories`` (CLDR plural
    categories, in the order of the forms). ``scale`` evens out how large the script looks
    at the same point size, ``leading`` (in em) is the room its lines need between them.
    ``date_pattern`` is a CLDR date pattern with the month's name.
    """

    tag: str
    native: str
    english: str
    direction: Direction
    fonts: tuple[str, ...]
    categories: tuple[str, ...]
    plural: str
    date_pattern: str = "EEEE d MMMM y"
    scale: float = 1.0
    leading: float = 0.5

    @property
    def rtl(self) -> bool:
        return self.direction == "rtl"

    @property
    def plural_forms(self) -> str:
        """The value of the ``Plural-Forms`` header of this language's catalogues."""
        return f"nplurals={len(self.categories)}; plural={self.plural};"


# Plural rules after the Unicode CLDR plural rules, for whole numbers. The gettext table that
# comes with Babel 2.18 differs from CLDR for Arabic from 11 on, so none of it is used.
_ARABIC = "(n==0 ? 0 : n==1 ? 1 : n==2 ? 2 : n%100>=3 && n%100<=10 ? 3 : n%100>=11 ? 4 : 5)"

ENGLISH = Language("en", "English", "English", "ltr", ("Noto Sans",), ("one", "other"), "(n != 1)")

LANGUAGES: dict[str, Language] = {
    language.tag: language
    for language in (
        ENGLISH,
        Language(
            "bn",
            "বাংলা",
            "Bengali",
            "ltr",
            ("Hind Siliguri", "Noto Sans"),
            ("one", "other"),
            "(n > 1)",
            date_pattern="EEEE, d MMMM y",
        ),
        Language(
            "ar",
            "العربية",
            "Arabic",
            "rtl",
            ("Amiri", "Noto Sans"),
            ("zero", "one", "two", "few", "many", "other"),
            _ARABIC,
            date_pattern="EEEE، d MMMM y",
            scale=1.12,
            leading=0.72,
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
            f"no sheet language {tag!r}",
            fix=f"choose one of {', '.join(LANGUAGES)}",
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
