"""All sheets of a day in one PDF, in the order of the ward, behind a list to tick off.

Sheets are laid out one by one first, so that one that fails is named and left out; the good ones
are then set as one document, which alone keeps tags and language of every sheet. That takes much
memory for a while, so it is done by a child process of its own that ends with the batch.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from followup.errors import FollowupError
from followup.language.catalogues import Translator, translator
from followup.language.fonts import uncovered
from followup.language.languages import ENGLISH, language
from followup.said import say
from followup.sheets.model import CoverLine, CoverProblem, SheetContent
from followup.sheets.options import Paper
from followup.sheets.paper.cover import cover, cover_line
from followup.sheets.paper.pdf import cover_data, job, laid_out
from followup.sheets.paper.typesetter import Typesetter
from followup.sheets.wording import EYES

_log = logging.getLogger(__name__)

MOST_PAGES = 300  # pages in one document: some 2 MB of memory each while it is set
_TIME_LIMIT = 180.0  # seconds for the document of a whole part


@dataclass(frozen=True)
class BatchSheet:
    """One sheet to print. ``name`` says whose it is where the sheet itself can't be made."""

    name: str
    make: Callable[[], SheetContent]


@dataclass(frozen=True)
class Skipped:
    name: str
    problem: FollowupError


@dataclass(frozen=True)
class Batch:
    """``parts`` are PDFs of at most some ``MOST_PAGES`` pages, each with its own cover."""

    parts: tuple[bytes, ...]
    printed: tuple[str, ...]
    skipped: tuple[Skipped, ...]


Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class _Laid:
    name: str
    content: SheetContent
    data: list[dict[str, Any]]
    pages: int


def render_batch(
    sheets: Iterable[BatchSheet],
    *,
    day: date,
    staff_language: str = "en",
    tell: Callable[[str], str] = str,
    paper: Paper = "A4",
    duplex: bool = True,
    progress: Progress | None = None,
) -> Batch:
    """The sheets of the operations of ``day`` in the order given.

    ``tell`` puts an error's line into the staff's language, or leaves it English. ``duplex``: printed
    on both sides, each sheet begins on a front. ``paper`` is the cover's.
    ``progress`` hears (done, of all, name) after every sheet. Nothing but the sheet itself is left
    out where one fails; ``skipped`` says which and why, and so does the cover.
    """
    chosen = tuple(sheets)
    setter = Typesetter(limit=_TIME_LIMIT, gives_way=True)
    try:
        laid, skipped = _lay_out(chosen, setter, progress)
        words = translator(staff_language)
        groups = _groups(laid)
        problems = tuple(_problem(s, words, tell) for s in skipped)
        parts = tuple(
            _part(group, problems, words, day, paper, duplex, setter, number, len(groups))
            for number, group in enumerate(groups, 1)
        )
    finally:
        setter.close()
    return Batch(parts, tuple(entry.name for entry in laid), tuple(skipped))


def _groups(laid: Sequence[_Laid]) -> list[list[_Laid]]:
    """The sheets in their order, as many together as one document bears."""
    groups: list[list[_Laid]] = [[]]
    for entry in laid:
        if groups[-1] and sum(other.pages for other in groups[-1]) + entry.pages > MOST_PAGES:
            groups.append([])
        groups[-1].append(entry)
    return groups


def _lay_out(
    chosen: Sequence[BatchSheet], setter: Typesetter, progress: Progress | None
) -> tuple[list[_Laid], list[Skipped]]:
    laid: list[_Laid] = []
    skipped: list[Skipped] = []
    for number, sheet in enumerate(chosen, 1):
        try:
            content = sheet.make()
            _, data, pages = laid_out(content, setter)
            laid.append(_Laid(sheet.name, content, data, pages))
        except FollowupError as exc:
            skipped.append(Skipped(sheet.name, exc))
        except Exception as exc:  # a fault of ours in one record must not cost the others their sheets
            _log.exception("a sheet of a batch failed")
            skipped.append(Skipped(sheet.name, _fault(exc)))
        if progress:
            progress(number, len(chosen), sheet.name)
    return laid, skipped


def _fault(exc: Exception) -> FollowupError:
    return FollowupError(
        "sheet.fault",
        say("the program failed on this sheet ({name})", name=type(exc).__name__),
        fix=say("make this sheet by hand and tell whoever looks after the program"),
    )


def _part(
    group: Sequence[_Laid],
    problems: tuple[CoverProblem, ...],
    words: Translator,
    day: date,
    paper: Paper,
    duplex: bool,
    setter: Typesetter,
    number: int,
    parts: int,
) -> bytes:
    """One document. What was skipped stands on the cover of the first."""
    named = problems if number == 1 else ()
    lines = tuple(_line(words, entry) for entry in group)
    setter.close()  # what the sheets one by one have left in the child's memory goes with it
    front = cover_data(cover(words, day, lines, named, part=number, parts=parts), paper)
    return setter.typeset(
        job([data for entry in group for data in entry.data], day, cover=front, duplex=duplex)
    )


def _line(words: Translator, entry: _Laid) -> CoverLine:
    content = entry.content
    eyes = content.face.treated
    eye = words.gettext("Both eyes") if len(eyes) > 1 else words.gettext(EYES[eyes[0]])
    native = language(content.language).native
    return cover_line(words, content.who.name, content.who.code, eye, native, entry.pages)


def _problem(skipped: Skipped, words: Translator, tell: Callable[[str], str]) -> CoverProblem:
    """Text that no font draws must not keep the cover from printing: it stands as a blank."""
    line = skipped.problem.line
    told = tell(line)
    spoken = ENGLISH if told == line else words.language
    return CoverProblem(
        name=_printable(skipped.name),
        reason=_printable(told),
        language=spoken.tag,
        direction=spoken.direction,
    )


def _printable(text: str) -> str:
    lost = frozenset(uncovered(text))
    return "".join("?" if c in lost and not c.isspace() else c for c in text if c.isprintable())
