"""What a form sent: every name with all its values, in bounds and free of what no database stores."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, TypeVar, cast, get_args

from fastapi import Depends, Request
from pydantic import ValidationError
from starlette.datastructures import UploadFile

from followup.care.act import Act
from followup.desks.door.hand import DeskHand, hand_of
from followup.desks.words.texts import NOT_DONE
from followup.errors import FollowupError
from followup.language.typed_days import Lean, typed_day
from followup.said import say
from followup.typed import plain
from followup.validation import problem_words

_A_DAY = "day:"
"""What ``day_box`` puts before a box's name: the form tells which of its boxes hold a day, and its lean."""
LEANS: frozenset[str] = frozenset(get_args(Lean))
TOLD = "told.text"
"""A told operation: whoever reads it says beside it what it can't hold, a zero byte too."""
MAX_FIELDS = 20_000
MAX_TEXT = 2_000_000
MAX_FILE = 2_000_000

Posted = dict[str, list[str]]
AnAct = TypeVar("AnAct", bound=Act)


async def read_posted(request: Request) -> Posted:
    """The posted form. An uploaded file counts as the text it holds (UTF-8)."""
    form: Posted = {}
    async with request.form(max_files=1, max_fields=MAX_FIELDS, max_part_size=MAX_TEXT) as data:
        for name, value in data.multi_items():
            text = await _text_of(value) if isinstance(value, UploadFile) else value
            if ("\0" in text and name != TOLD) or "\0" in name:
                raise FollowupError(
                    "form.text", say("the text holds a zero byte"), where=name[:60], fix=say("type it again")
                )
            form.setdefault(name, []).append(plain(text.replace("\r\n", "\n")))
    return form


async def _answers(request: Request) -> Posted:
    """The posted form with what staff write in their own language in the record's words, and with every
    day that a box of days (``day_box`` of form.html) sent as YYYY-MM-DD; what is none stays as typed."""
    form = await read_posted(request)
    hand = hand_of(request)
    own = hand.texts.choice(NOT_DONE).casefold()
    for name in [name for name in form if name.startswith(_A_DAY)]:
        lean, of = first(form, name), name.removeprefix(_A_DAY)
        del form[name]
        if of in form and lean in LEANS:
            form[of] = [_written_day(text, hand, lean) for text in form[of]]
    for name, values in form.items():
        if name.endswith(".pressure"):
            form[name] = [NOT_DONE if text.strip().casefold() == own else text for text in values]
    return form


def _written_day(text: str, hand: DeskHand, lean: str) -> str:
    try:
        day = typed_day(text, hand.today, hand.texts.translator.language, cast(Lean, lean))
    except FollowupError:
        return text
    return day.isoformat()


AForm = Annotated[Posted, Depends(_answers)]


def first(form: Posted, name: str) -> str:
    """The first value of ``name``, without blanks around it; "" where there is none."""
    return form.get(name, [""])[0].strip()


def password_of(form: Posted, name: str = "password") -> str:
    """A password, blanks and all."""
    return form.get(name, [""])[0]


def answers_of(form: Posted) -> Posted:
    """What was posted for the fields that the page showed, those left empty too, and for its cautions."""
    shown = set(form.get("answered", []))

    def belongs(name: str) -> bool:
        parts = name.split(".")
        return parts[0] == "caution" or any(".".join(parts[:n]) in shown for n in range(1, len(parts) + 1))

    return {name: [] for name in shown} | {name: given for name, given in form.items() if belongs(name)}


def number_of(text: str) -> int:
    """A small whole number that a form sent along; 0 where it is none."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def day_of_form(text: str, hand: DeskHand, lean: Lean = "near") -> date:
    """A day that a form sent. Error: ``day.typed``, with the reason why it is none."""
    return typed_day(text, hand.today, hand.texts.translator.language, lean)


def act_of(kind: type[AnAct], sent: Mapping[str, object], /, **refused: FollowupError) -> AnAct:
    """The act that a form means. ``refused``: with what a field is refused that has words of its own.

    What is too long is told its bound all the same.
    """
    try:
        return kind.model_validate(sent)
    except ValidationError as exc:
        problem = exc.errors()[0]
        field = str(next(iter(problem["loc"]), ""))
    own = refused.get(field) if problem["type"] != "string_too_long" else None
    raise own or FollowupError(
        "request.field", problem_words(problem), where=field, fix=say("Go back and correct this field.")
    )


def as_typed(kind: type[AnAct], /, **typed: object) -> AnAct:
    """The act that a form means, as it was typed: what is empty or too long in it, the use case refuses
    in words and in an order of its own."""
    construct: Any = kind.model_construct
    made: AnAct = construct(**typed)
    return made


async def _text_of(file: UploadFile) -> str:
    content = await file.read(MAX_FILE + 1)
    if len(content) > MAX_FILE:
        raise FollowupError(
            "form.file",
            say("the file is too large"),
            where=file.filename or say("file"),
            fix=say("send at most {max_file} MB at a time", max_file=MAX_FILE // 1000000),
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FollowupError(
            "form.file",
            say("not a UTF-8 text"),
            where=file.filename or say("file"),
            fix=say("upload a JSON file"),
        ) from None


KEPT = "kept."
# What is never written into a page.
_SECRET = frozenset({"password", "old", "new"})


def kept_fields(form: Posted) -> tuple[tuple[str, str], ...]:
    """What a log-in form carries of the form that was sent too late: (name, value), in order."""
    return tuple(
        (name.removeprefix(KEPT), value)
        for name, values in form.items()
        if name.startswith(KEPT)
        for value in values
    )


def to_keep(form: Posted) -> tuple[tuple[str, str], ...]:
    """What is worth keeping of a form that was sent too late; passwords are not."""
    return tuple((name, value) for name, values in form.items() if name not in _SECRET for value in values)
