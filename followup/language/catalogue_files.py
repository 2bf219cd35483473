"""Where catalogues lie: those that travel with the program, and the clinic's own over them.

``locales/<tag>/LC_MESSAGES/<domain>.po``, compiled to ``.mo`` in the wheel and read as it is in a
checkout. A translation that a clinic's reviewer has read lies, in the same layout, in the
clinic's data folder and wins message by message; what it does not say comes from the program.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from pathlib import Path
from typing import Literal

from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import read_mo
from babel.messages.pofile import PoFileError, read_po, write_po

from followup.errors import FollowupError
from followup.language.languages import ENGLISH, Language
from followup.records.store.durable import write_whole
from followup.resources import folder

Domain = Literal["sheet", "desk"]
Key = tuple[str | None, str]
Forms = tuple[str, ...]
Messages = Mapping[Key, Forms]

_BY = re.compile(r'^"X-Reviewed-By: *(.+?)\\n"$', re.MULTILINE)
_ON = re.compile(r'^"X-Reviewed-On: *(\d{4}-\d{2}-\d{2})\\n"$', re.MULTILINE)
_bound: Path | None = None


@dataclass(frozen=True)
class Review:
    """Who of the clinic has read a translation, and when; a draft as long as nobody has."""

    state: Literal["source", "draft", "reviewed"] = "draft"
    by: str | None = None
    on: date | None = None


@dataclass(frozen=True)
class Loaded:
    """One catalogue file: its finished messages and who has read them."""

    messages: Messages = field(repr=False)
    review: Review


def bind_clinic(data_folder: Path | None) -> None:
    """From now on this process reads the clinic's own catalogues in ``data_folder`` first.

    Called once where a program starts; None goes back to the shipped ones alone.
    """
    global _bound  # noqa: PLW0603 - one process serves one clinic
    _bound = data_folder


def clinic_file(tag: str, domain: Domain, data_folder: Path | None = None) -> Path | None:
    """Where the clinic's own catalogue lies or would lie; None where no clinic is bound."""
    root = data_folder or _bound
    return _catalogue(root / "locales", tag, domain) if root else None


def shipped_file(tag: str, domain: Domain) -> Path:
    return _catalogue(folder("locales"), tag, domain)


@cache
def _catalogue(locales: Path, tag: str, domain: Domain) -> Path:
    """Every page asks for all of them whether they have changed: putting a path together takes longer."""
    return locales.joinpath(tag, "LC_MESSAGES", f"{domain}.po")


def is_installed() -> bool:
    """Whether the shipped catalogues are the compiled ones of an installation."""
    return folder("locales").parent == Path(__file__).resolve().parent.parent


def stamps(tag: str, domain: Domain) -> tuple[object, ...]:
    """Changes whenever a catalogue of this language may have changed on disk."""
    own = clinic_file(tag, domain)
    return (str(own), *(_stamp(path) for path in (own, shipped_file(tag, domain)) if path))


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


def shipped(spoken: Language, domain: Domain) -> Loaded | None:
    """The program's own catalogue; None where there is none."""
    path = shipped_file(spoken.tag, domain)
    compiled = path.with_suffix(".mo")
    source = compiled if is_installed() else path
    if not source.is_file():
        return None
    with source.open("rb") as file:
        catalogue = read_mo(file) if source == compiled else read_po(file, locale=spoken.tag)
    # Compiling drops the header's review; the source travels beside it.
    header = path.read_text("utf-8") if path.is_file() else ""
    return Loaded(messages_of(catalogue), _review(spoken, header))


def clinics_own(spoken: Language, domain: Domain) -> Loaded | None:
    """The clinic's catalogue; None where there is none. Raises FollowupError for a damaged file."""
    path = clinic_file(spoken.tag, domain)
    if path is None or not path.is_file():
        return None
    try:
        text = path.read_text("utf-8")
        catalogue = read_po(io.BytesIO(text.encode()), locale=spoken.tag, abort_invalid=True)
    except (OSError, ValueError, PoFileError) as exc:
        raise FollowupError(
            "language.damaged",
            f"the clinic's own {spoken.english} catalogue can't be read: {exc}",
            where=str(path),
            fix="import the reviewed file again, or take this file away",
        ) from None
    return Loaded(messages_of(catalogue), _review(spoken, text))


def source_catalogue(domain: Domain) -> Catalog:
    """The English catalogue with its comments: every message there is, in the order of the code."""
    with shipped_file(ENGLISH.tag, domain).open("rb") as file:
        return read_po(file, locale=ENGLISH.tag)


def english(message: Message) -> tuple[str, ...]:
    """The English words of a message: one, or singular and plural where it is counted."""
    return (message.id,) if isinstance(message.id, str) else tuple(message.id)


def key_of(message: Message) -> Key:
    """What a message is looked up by. Babel gives the context of a compiled one as bytes."""
    context = message.context.decode() if isinstance(message.context, bytes) else message.context
    return context, english(message)[0]


def messages_of(catalogue: Catalog) -> dict[Key, Forms]:
    """The messages of a catalogue that are finished in every form."""
    found: dict[Key, Forms] = {}
    for message in catalogue:
        text = message.string
        forms = tuple(str(t or "") for t in text) if isinstance(text, (tuple, list)) else (str(text or ""),)
        if message.id and not message.fuzzy and all(forms):
            found[key_of(message)] = forms
    return found


_TITLES: dict[Domain, str] = {"sheet": "the patient's sheet", "desk": "the staff's pages"}


def catalogue_text(spoken: Language, catalogue: Catalog, review: Review, domain: Domain = "sheet") -> str:
    """A catalogue as the text of its file, under a header of our own."""
    lines = [
        "Content-Type: text/plain; charset=UTF-8",
        "Content-Transfer-Encoding: 8bit",
        "MIME-Version: 1.0",
        f"Language: {spoken.tag}",
        f"Plural-Forms: {spoken.plural_forms}",
    ]
    if review.state == "reviewed":
        lines += [f"X-Reviewed-By: {review.by}", f"X-Reviewed-On: {review.on}"]
    header = "".join(f'"{line}\\n"\n' for line in lines)
    body = io.BytesIO()
    write_po(body, catalogue, omit_header=True, width=100, include_lineno=False)
    title = f"# {spoken.english} words of {_TITLES[domain]}."
    return f'{title}\nmsgid ""\nmsgstr ""\n{header}\n{body.getvalue().decode()}'


def write_file(path: Path, text: str) -> None:
    """Put a catalogue in its place, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, text.encode(), mode=0o666)


def _review(spoken: Language, header: str) -> Review:
    if spoken == ENGLISH:
        return Review("source")
    header = header.partition("\n\n")[0]
    by, on = _BY.search(header), _ON.search(header)
    if not by or not on:
        return Review()
    return Review("reviewed", by[1].strip(), date.fromisoformat(on[1]))
