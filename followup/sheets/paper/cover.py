"""The cover of a batch: the sheets of a day to tick off as they are handed out."""

from __future__ import annotations

from datetime import date

from followup.language.catalogues import Translator
from followup.language.dates import long_date
from followup.language.direction import name, number, without_marks
from followup.sheets.model import Cover, CoverLine, CoverProblem, TextSetting


def cover(
    words: Translator,
    day: date,
    lines: tuple[CoverLine, ...],
    problems: tuple[CoverProblem, ...],
    *,
    part: int = 1,
    parts: int = 1,
) -> Cover:
    """The cover in the staff's language. ``part`` of ``parts``: a long day is printed in several."""
    _ = words.gettext
    language = words.language
    count = number(str(len(lines)), language)
    title = _("Sheets of the operations of %(day)s") % {"day": long_date(day, language)}
    # Translators: how many sheets lie behind this cover; keep the number as digits in every form.
    total = words.ngettext("%(count)s sheet", "%(count)s sheets", len(lines)) % {"count": count}
    # Translators: a long day is printed in several parts.
    part_words = _("Part %(part)s of %(parts)s") % {"part": str(part), "parts": str(parts)}
    return Cover(
        **dict(TextSetting.of(language)),
        title=title,
        total=f"{total} · {part_words}" if parts > 1 else total,
        how=_("Tick off each sheet when the patient has it."),
        # Translators: heads of the columns of the staff's list of sheets.
        heads=(_("Handed over"), _("Patient"), _("Code"), _("Eye"), _("Language"), _("Pages")),
        lines=lines,
        problems_heading=_("Not printed. Make these by hand or put them right:"),
        problems=problems,
    )


def cover_line(
    words: Translator, content_name: str, code: str, eye: str, language: str, pages: int
) -> CoverLine:
    """One sheet of the cover; texts of other languages lose their direction marks first."""
    spoken = words.language
    return CoverLine(
        name=name(without_marks(content_name), spoken),
        code=number(without_marks(code), spoken),
        eye=eye,
        language=language,
        pages=number(str(pages), spoken),
    )
