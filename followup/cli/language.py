"""``followup language``: how complete the sheet's languages are, and a reviewer's table out and in."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click
from babel.messages.catalog import Catalog, Message

from followup.cli.contract import BAD_INPUT, CommandOutcome
from followup.cli.files import DayOption, read_bytes, write_out
from followup.cli.opening import folder_option, settings_from
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.language import catalogue_files as files
from followup.language.catalogue_files import Loaded, Messages, Review, bind_clinic
from followup.language.catalogues import merged_words, wanted_messages
from followup.language.checks import flaws
from followup.language.languages import ENGLISH, LANGUAGES, Language
from followup.language.languages import language as spoken_language
from followup.language.review_file import MOST_BYTES, export_csv, import_csv


@click.group()
def language() -> None:
    """Check the sheet's languages, or give one to a reviewer and take it back."""


@language.command()
@click.argument("tag", metavar="[LANG]", required=False)
@folder_option
def check(tag: str | None, folder: str | None) -> CommandOutcome:
    """Print how complete each language is, who has read it, and what is wrong with it.

    Then what the staff's pages say in English because it has no words yet.
    """
    bind_clinic(settings_from(folder).folder)
    chosen = [spoken_language(tag)] if tag else [each for each in LANGUAGES.values() if each != ENGLISH]
    lines: list[str] = []
    faulty = 0
    for spoken in chosen:
        state, problems = _judged(spoken)
        faulty += len(problems)
        lines += [state, *(f"    {problem}" for problem in problems), *_in_english(spoken)]
    error = f"{counted(faulty, 'message is', 'messages are')} not fit to print" if faulty else ""
    return CommandOutcome("".join(f"{line}\n" for line in lines), BAD_INPUT if faulty else 0, error)


@language.command("export")
@click.argument("tag", metavar="LANG")
@click.argument("file", metavar="FILE.csv")
@folder_option
def export_table(tag: str, file: str, folder: str | None) -> CommandOutcome:
    """Write a language as a table for a reviewer: source, translation, context."""
    bind_clinic(settings_from(folder).folder)
    spoken = _translated(tag)
    loaded = _words(spoken)
    write_out(Path(file), export_csv(files.source_catalogue("sheet"), loaded.messages, spoken))
    return CommandOutcome(f"{file}: {_state(spoken, loaded)}\n")


@language.command("import")
@click.argument("tag", metavar="LANG")
@click.argument("file", metavar="FILE.csv")
@click.option("--reviewer", metavar="NAME", help="Who of the clinic has read every line of it.")
@click.option("--on", "day", type=DayOption(), help="The day on which it was read.")
@click.option("--project", is_flag=True, help="Into the program's own catalogue; in a checkout only.")
@folder_option
def import_table(
    tag: str, file: str, reviewer: str | None, day: date | None, project: bool, folder: str | None
) -> CommandOutcome:
    """Take a reviewer's table back, whole or not at all.

    The words go into the clinic's data folder and win over the program's own. Without --reviewer
    they stay a draft, and the sheet says so.
    """
    spoken = _translated(tag)
    review = _review(reviewer, day)
    source = files.source_catalogue("sheet")
    messages = import_csv(read_bytes(file, MOST_BYTES), source, spoken, file)
    target = _target(spoken, Path(settings_from(folder).folder), project)
    text = files.catalogue_text(spoken, _filled(source, messages, spoken), review)
    try:
        files.write_file(target, text)
    except OSError as exc:
        raise FollowupError(
            "file.write", exc.strerror or "it can't be written", where=str(target), fix="let us write there"
        ) from None
    return CommandOutcome(f"{target}: {_state(spoken, Loaded(messages, review))}\n")


def _translated(tag: str) -> Language:
    spoken = spoken_language(tag)
    if spoken == ENGLISH:
        raise FollowupError(
            "language.source", "English is what the others are translated from", fix="choose another language"
        )
    return spoken


def _words(spoken: Language) -> Loaded:
    """The words in use, the clinic's own over the program's, finished or not."""
    shipped = files.shipped(spoken, "sheet") or Loaded({}, Review())
    return merged_words(spoken, "sheet", shipped)


def _state(spoken: Language, loaded: Loaded) -> str:
    wanted = wanted_messages()
    done = sum(key in loaded.messages for key in wanted)
    review = loaded.review
    read = f"read by {review.by} on {review.on}" if review.state == "reviewed" else "a draft, not read yet"
    return f"{spoken.tag}  {spoken.native} ({spoken.english}): {done} of {len(wanted)} messages, {read}"


def _judged(spoken: Language) -> tuple[str, list[str]]:
    """A language's state in one line, and what is wrong; a damaged file must not hide the others."""
    try:
        loaded = _words(spoken)
    except FollowupError as exc:
        return f"{spoken.tag}  {spoken.native} ({spoken.english})", [exc.line]
    return _state(spoken, loaded), _problems(spoken, loaded)


def _problems(spoken: Language, loaded: Loaded) -> list[str]:
    found: list[str] = []
    for key, source in wanted_messages().items():
        forms = loaded.messages.get(key)
        faults = flaws(source, forms, spoken) if forms else ["has no words"]
        found += [f"{key[1][:60]!r} {fault}" for fault in faults]
    return found


def _in_english(spoken: Language) -> list[str]:
    """What the pages of the staff still say in English; none of a language that they do not speak."""
    staff = files.shipped(spoken, "desk")
    if staff is None:
        return []
    missing = [key[1] for key in wanted_messages("desk") if key not in staff.messages]
    return [f"    staff's pages, in English: {text[:60]!r}" for text in missing]


def _review(reviewer: str | None, day: date | None) -> Review:
    if reviewer is None and day is None:
        return Review()
    if reviewer is None or day is None:
        raise click.UsageError("Give --reviewer and --on together", click.get_current_context())
    name = " ".join(reviewer.split())
    if not name or len(name) > 80 or not name.isprintable() or set(name) & set('"\\'):
        raise FollowupError(
            "language.reviewer",
            f"{name[:40]!r} is not a name",
            where="--reviewer",
            fix="write a person's name",
        )
    if day > date.today():  # noqa: DTZ011 - the computer's own day, to catch a slip of the keyboard
        raise FollowupError(
            "language.reviewer", f"{day} has not come yet", where="--on", fix="give the real day"
        )
    return Review("reviewed", name, day)


def _target(spoken: Language, folder: Path, project: bool) -> Path:
    if project:
        if files.is_installed():
            raise FollowupError(
                "language.project",
                "an installed program's own catalogues are not changed",
                fix="leave out --project",
            )
        return files.shipped_file(spoken.tag, "sheet")
    if not folder.is_dir():
        raise FollowupError(
            "clinic.missing",
            "no clinic is set up here",
            where=str(folder),
            fix="run followup init, or name the right --folder",
        )
    found = files.clinic_file(spoken.tag, "sheet", folder)
    assert found is not None
    return found


def _filled(source: Catalog, messages: Messages, spoken: Language) -> Catalog:
    made = Catalog(locale=spoken.tag, charset="utf-8", fuzzy=False)
    for message in source:
        if not message.id:
            continue
        forms = messages[files.key_of(message)]
        text = forms if message.pluralizable else forms[0]
        made[message.id] = Message(
            message.id, text, message.locations, message.flags, message.auto_comments, context=message.context
        )
    return made
