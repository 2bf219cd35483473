"""An operation as it was told: read, and kept only once a person has looked at whatever is doubtful.

The page asks for each doubtful line; the use case reads the telling again and asks a second time, whoever
sends it. The eye is that of the record, typed and pointed at: it is compared and never taken from here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints

from followup.care.act import Act, Number, OneEye
from followup.care.fields.checked import place_of
from followup.care.hand import Hand
from followup.clinical.record import Operation, Record
from followup.errors import FollowupError
from followup.records.people.tellings import keep_telling
from followup.records.store.store import Unit
from followup.records.views import KeptTelling, RecordVersion
from followup.said import say
from followup.telling.lexicon import languages, lexicon_of
from followup.telling.model import Telling, ToldValue
from followup.telling.places import form_name
from followup.telling.reading import read_telling
from followup.telling.routine import routine_for
from followup.typed import plain


def _known(tag: str) -> str:
    if tag not in languages():
        raise ValueError(say("a telling is read in {languages}", languages=", ".join(languages())))
    return tag


ToldText = Annotated[str, AfterValidator(plain), Field(description="what was told, as it was told")]
ToldLanguage = Annotated[
    str, AfterValidator(_known), Field(json_schema_extra={"enum": list(languages())}, default="en")
]
FieldName = Annotated[str, StringConstraints(min_length=1, max_length=120)]


_OF_EYES = ("another eye", "both eyes")


class ToRead(Act):
    """A text to read; ``eye`` is the one operated on, which the text may not contradict."""

    text: ToldText
    eye: OneEye
    language: ToldLanguage = "en"


class OperationTold(Act):
    """What was told of an operation of the record.

    ``operation`` is its place among the record's, from 0; without it the last. ``answered``: every field that
    was read as doubtful and that a person has answered, also with "not recorded".
    """

    text: ToldText
    language: ToldLanguage = "en"
    operation: Number | None = None
    answered: Annotated[tuple[FieldName, ...], Field(max_length=400)] = ()


@dataclass(frozen=True)
class Read:
    """A telling, and the routine ``answers`` that may stand for what it leaves unsaid, by field."""

    telling: Telling
    routine: dict[str, ToldValue]


def read(hand: Hand, act: ToRead) -> Read:
    """What ``act`` tells; nothing is stored. Error: ``telling.*`` where the text is refused."""
    telling = read_telling(act.text, lexicon_of(act.language), act.eye)
    if (error := refusal_of(telling)) is not None:
        raise error
    usual = {answer.field: answer.is_ for answer in hand.protocol.routine.answers}
    return Read(telling, routine_for(telling, usual))


def refusal_of(telling: Telling) -> FollowupError | None:
    """Why nothing was read, as an error; None where something could be."""
    if (found := telling.refused) is None:
        return None
    return FollowupError(f"telling.{found.code.replace(' ', '-')}", found.line)


@dataclass(frozen=True)
class LookedAtTelling:
    """A telling that goes with ``operation``; ``asked``: its doubtful fields, each answered by a person."""

    act: OperationTold
    operation: Operation
    asked: tuple[str, ...]

    def keep(self, unit: Unit, version: RecordVersion) -> None:
        """Keep it beside this version of the record."""
        keep_telling(
            unit,
            version,
            eye=self.operation.eye,
            day=self.operation.date,
            language=self.act.language,
            text=self.act.text,
            asked=self.asked,
        )


def must_fit(record: Record, kept: Sequence[KeptTelling], told: LookedAtTelling | None) -> None:
    """A corrected record names no other eye than what was told of its operations, ``kept`` newest first.

    What is ``told`` with the correction stands in the place of what was told of that day. Error:
    ``telling.another-eye``, ``telling.both-eyes``.
    """
    newest: dict[date, KeptTelling] = {}
    for one in kept:
        newest.setdefault(one.day, one)
    if told is not None:
        newest.pop(told.operation.date, None)
    for day, one in newest.items():
        eyes = [operation.eye for operation in record.operations if operation.date == day]
        for eye in eyes if one.eye not in eyes else ():
            found = read_telling(one.text, lexicon_of(one.language), eye)
            if found.refused is not None and found.refused.code in _OF_EYES:
                raise FollowupError(
                    f"telling.{found.refused.code.replace(' ', '-')}",
                    found.refused.line,
                    fix=say("if the eye is right now, tell the operation anew with it"),
                )


def looked_at(record: Record, act: OperationTold) -> LookedAtTelling:
    """The telling as it may be kept with ``record``.

    Errors: ``telling.*`` where the text is refused, ``telling.operation`` where the record has no such
    operation, ``telling.asked`` with the first doubtful field that nobody answered.
    """
    count = len(record.operations)
    number = count - 1 if act.operation is None else act.operation
    if not 0 <= number < count:
        raise FollowupError(
            "telling.operation",
            say("the record has no operation {number}", number=number + 1),
            fix=say("say which operation was told"),
        )
    operation = record.operations[number]
    telling = read_telling(act.text, lexicon_of(act.language), operation.eye)
    if (error := refusal_of(telling)) is not None:
        raise error
    asked = tuple(one.field for one in telling.fields if one.kind == "doubtful")
    for field in asked:
        if field not in act.answered:
            raise FollowupError(
                "telling.asked",
                say("what was told of this is doubtful, and nobody has answered it"),
                where=place_of(form_name(field, operation.eye, number)),
                fix=say("pick an answer, or say that it is not recorded"),
            )
    return LookedAtTelling(act, operation, asked)
