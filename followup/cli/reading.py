"""``followup read``: a told operation in, the fields of the record out; nothing is stored."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Literal

import click

from followup.care.fields.checked import place_of
from followup.care.records.telling import refusal_of
from followup.cli.contract import CommandOutcome, visible
from followup.cli.files import read_text
from followup.clinical.protocol.load import load_protocol
from followup.errors import FollowupError
from followup.telling.lexicon import languages, lexicon_of
from followup.telling.model import FieldTold, Passage, Telling, ToldValue
from followup.telling.places import form_name
from followup.telling.reading import read_telling
from followup.telling.routine import routine_for
from followup.typed import one_line


@click.command()
@click.argument("note", metavar="NOTE.txt")
@click.option(
    "--eye",
    type=click.Choice(["right", "left"]),
    help="The eye operated on; a note that tells of the other one is refused.",
)
@click.option("--language", type=click.Choice(languages()), default="en", help="The note's language.")
@click.option(
    "--protocol", "protocol_folder", metavar="DIR", help="The clinic's own protocol; without it the sample."
)
@click.option("--json", "as_json", is_flag=True, help="Every reading with its places in the text, as JSON.")
def read(
    note: str,
    eye: Literal["right", "left"] | None,
    language: str,
    protocol_folder: str | None,
    as_json: bool,
) -> CommandOutcome:
    """Print what a told operation says of the record's fields, and what must be asked. Nothing is stored.

    The eye is never taken from the note alone. The file may be "-", standard input.
    """
    text, source = read_text(note)
    telling = read_telling(text, lexicon_of(language), eye)
    if (refused := refusal_of(telling)) is not None:
        raise FollowupError(refused.code, refused.line.what, where=source)
    protocol = load_protocol(Path(protocol_folder) if protocol_folder else None)
    routine = routine_for(telling, {answer.field: answer.is_ for answer in protocol.routine.answers})
    if as_json:
        return CommandOutcome(json.dumps(_data(telling, routine), indent=2, ensure_ascii=False) + "\n")
    lines = [line for part in _parts(telling, routine) for line in part]
    return CommandOutcome(visible("\n".join(lines)) + "\n")


def _data(telling: Telling, routine: dict[str, ToldValue]) -> Any:
    return {**asdict(telling), "routine": routine}


def _parts(telling: Telling, routine: dict[str, ToldValue]) -> Iterator[Sequence[str]]:
    text = telling.text
    yield [
        f"Eye told: {one.eye} ({_words(text, one.words)}); compared, never entered" for one in telling.eyes
    ]
    yield _headed("Read", (_read(text, one) for one in telling.fields if one.kind == "read"))
    yield _headed("To ask", (_asked(text, one) for one in telling.fields if one.kind == "doubtful"))
    yield _headed(
        "Tried or taken back",
        (f"{_label(one.field)}: {_value(one.value)} ({_words(text, one.words)})" for one in telling.given_up),
    )
    yield _headed(
        "No place in the record", (f"{one.what}: {_words(text, one.words)}" for one in telling.no_place)
    )
    yield _headed("Nothing read from", (one_line(one.of(text)) for one in telling.unread))
    yield _headed(
        "Not told, routine answer", (f"{_label(field)}: {_value(value)}" for field, value in routine.items())
    )


def _headed(head: str, lines: Iterator[str]) -> list[str]:
    found = [f"  {line}" for line in lines]
    return [f"{head}:", *found] if found else []


def _read(text: str, one: FieldTold) -> str:
    return f"{_label(one.field)}: {_value(one.value)} ({_words(text, one.words)})"


def _asked(text: str, one: FieldTold) -> str:
    choices = " / ".join(_value(choice.value) for choice in one.choices)
    said = " ".join(part for part in (str(one.question), choices) if part)
    return f"{_label(one.field)}: {said} ({_words(text, one.words)})"


def _label(field: str) -> str:
    return str(place_of(form_name(field, "right"))).partition(", ")[2]


def _value(value: ToldValue | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return (
        ", ".join(value)
        if isinstance(value, tuple)
        else format(value, "g")
        if isinstance(value, float)
        else str(value)
    )


def _words(text: str, words: Sequence[Passage]) -> str:
    return " ... ".join(f'"{one_line(one.of(text))}"' for one in words)
