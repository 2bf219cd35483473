"""Sentences of ours as values: a template with named values, until somebody reads it.

A :class:`Said` is its English by itself, so programs and terminals take it as text; a page puts the
template into its own language and then the values, each in its own way: a day, a count, a sentence inside
the sentence. What a person typed (see ``typed``) is a value and never a template. A text that came from an
older database is plain: it is shown as it is, and nothing is guessed from its letters.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Annotated, Any, ClassVar, Protocol

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, StringConstraints
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from followup.typed import plain

# Not strftime: its names follow the computer's locale.
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

_VALUE = re.compile(r"\{([^\W\d]\w*)\}")
# Two of several, in the order in which they stand; whoever tells them folds a longer list by pairs.
_PAIRS = {
    ", ": "%(first)s, %(last)s",
    ": ": "%(first)s: %(last)s",
    "; ": "%(first)s; %(last)s",
    "; or if ": "%(first)s; or if %(last)s",
    " and ": "%(first)s and %(last)s",
    " or ": "%(first)s or %(last)s",
}


class Tongue(Protocol):
    """What a language says of the parts of a sentence."""

    def gettext(self, message: str, /) -> str: ...
    def ngettext(self, singular: str, plural: str, n: int, /) -> str: ...
    def day(self, day: date, /) -> str: ...
    def apart(self, text: str, /) -> str:
        """A text that keeps its own direction among words of the other direction."""
        ...

    def word(self, text: str, /) -> str:
        """A value that is a word or sentence of ours by itself; anything else as it is."""
        ...


class Said(str):
    """A text of ours that remembers how it was made."""

    kind: ClassVar[str] = ""
    _kinds: ClassVar[dict[str, type[Said]]] = {}

    def __init_subclass__(cls) -> None:
        Said._kinds[cls.kind] = cls

    def told(self, language: Tongue) -> str:
        """The text in another language."""
        raise NotImplementedError

    def parts(self) -> Any:
        """How it was made, as JSON may hold it."""
        raise NotImplementedError

    @classmethod
    def of_parts(cls, parts: Any) -> Said:
        """The text that ``parts`` came from."""
        raise NotImplementedError


class Sentence(Said):
    """A template with its values."""

    kind = "say"
    template: str
    values: Mapping[str, object]

    @classmethod
    def of(cls, template: str, values: Mapping[str, object]) -> Sentence:
        made = cls(_VALUE.sub(lambda name: _english(values.get(name[1], name[0])), template))
        made.template, made.values = template, dict(values)
        return made

    def told(self, language: Tongue) -> str:
        values = {name: tell(value, language) for name, value in self.values.items()}
        return _VALUE.sub(lambda name: values.get(name[1], name[0]), language.gettext(self.template))

    def filled(self, **values: object) -> Sentence:
        """The same with more of its values."""
        return Sentence.of(self.template, {**self.values, **values})

    def parts(self) -> Any:
        return [self.template, {name: as_data(value) for name, value in self.values.items()}]

    @classmethod
    def of_parts(cls, parts: Any) -> Said:
        template, values = parts
        return cls.of(template, {name: of_data(value) for name, value in values.items()})


class Day(Said):
    """A day in words: "29 February 2024"."""

    kind = "day"
    day: date

    @classmethod
    def of(cls, day: date) -> Day:
        made = cls(f"{day.day} {MONTHS[day.month - 1]} {day.year}")
        made.day = day
        return made

    def told(self, language: Tongue) -> str:
        return language.day(self.day)

    def parts(self) -> Any:
        return self.day.isoformat()

    @classmethod
    def of_parts(cls, parts: Any) -> Said:
        return cls.of(date.fromisoformat(parts))


class Count(Said):
    """So many of something: "1 day", "3 days"."""

    kind = "count"
    number: int
    forms: tuple[str, str]

    @classmethod
    def of(cls, number: int, one: str, many: str) -> Count:
        made = cls(f"{number} {one if number == 1 else many}")
        made.number, made.forms = number, (one, many)
        return made

    def told(self, language: Tongue) -> str:
        one, many = self.forms
        return language.ngettext(f"%(num)s {one}", f"%(num)s {many}", self.number) % {"num": self.number}

    def parts(self) -> Any:
        return [self.number, *self.forms]

    @classmethod
    def of_parts(cls, parts: Any) -> Said:
        return cls.of(*parts)


class JoinedText(Said):
    """Texts one after the other: with a space between sentences, or with a sign of ``_PAIRS``; ``last`` is
    what stands before the last one of a list."""

    kind = "several"
    texts: tuple[str, ...]
    sign: str
    last: str

    @classmethod
    def of(cls, texts: Iterable[str], sign: str = " ", last: str | None = None) -> JoinedText:
        kept = tuple(texts)
        last = sign if last is None else last
        head = sign.join(kept[:-1])
        made = cls(f"{head}{last}{kept[-1]}" if len(kept) > 1 else "".join(kept))
        made.texts, made.sign, made.last = kept, sign, last
        return made

    def told(self, language: Tongue) -> str:
        told = [tell(text, language) for text in self.texts]
        if not told:
            return ""
        found = told[0]
        for number, text in enumerate(told[1:], 2):
            found = _both(found, text, self.last if number == len(told) else self.sign, language)
        return found

    def parts(self) -> Any:
        return [[as_data(text) for text in self.texts], self.sign, self.last]

    @classmethod
    def of_parts(cls, parts: Any) -> Said:
        texts, sign, last = parts
        return cls.of((str_of(text) for text in texts), sign, last)


class Whole(Said):
    """A text that begins with a capital; as a sentence of its own with a stop, where it has no end."""

    kind = "whole"
    inner: str
    stop: bool

    @classmethod
    def of(cls, text: str, *, stop: bool = True) -> Whole:
        made = cls(_whole(text, stop))
        made.inner, made.stop = text, stop
        return made

    def told(self, language: Tongue) -> str:
        return _whole(tell(self.inner, language), self.stop)

    def parts(self) -> Any:
        return [as_data(self.inner), self.stop]

    @classmethod
    def of_parts(cls, parts: Any) -> Said:
        return cls.of(str_of(parts[0]), stop=parts[1])


class Cited(Said):
    """What is cited as it is written, in every language: a source, a name in Latin letters."""

    kind = "cited"

    def told(self, language: Tongue) -> str:
        return language.apart(str.__str__(self))

    def parts(self) -> Any:
        return str.__str__(self)

    @classmethod
    def of_parts(cls, parts: Any) -> Said:
        return cls(parts)


def say(template: str, /, **values: object) -> Said:
    """A sentence of ours. ``{name}`` in the template stands for a value: a text, a number, a day, a
    sentence; the template is what translators see, so names say what they stand for."""
    return Sentence.of(template, values)


def fill(text: str, **values: object) -> Sentence:
    """A text with places for values, with these of its values filled in."""
    return text.filled(**values) if isinstance(text, Sentence) else Sentence.of(text, values)


def tell(value: object, language: Tongue) -> str:
    """A value in another language; a text that is no sentence of ours as the word that it may be."""
    if isinstance(value, Said):
        return value.told(language)
    if isinstance(value, date):
        return language.day(value)
    return language.word(value) if isinstance(value, str) else str(value)


def as_data(value: object) -> Any:
    """A value as JSON may hold it, so that :func:`of_data` finds it again."""
    if isinstance(value, Said):
        return {value.kind: value.parts()}
    if isinstance(value, date):
        return {"date": value.isoformat()}
    return value if isinstance(value, int | float) else str(value)


def of_data(data: Any) -> object:
    """The value that ``data`` was made from. Raises ValueError for what no value is made of."""
    if not isinstance(data, dict):
        return data
    ((kind, parts),) = data.items()
    if kind == "date":
        return date.fromisoformat(parts)
    if kind not in Said._kinds:
        raise ValueError(f"{kind} is no kind of sentence")
    return Said._kinds[kind].of_parts(parts)


def str_of(data: Any) -> str:
    """The text that ``data`` was made from."""
    value = of_data(data)
    return value if isinstance(value, str) else str(value)


_MADE = "\x1d"  # a sign that nobody types, before a text that holds how it was made


def as_text(text: str) -> str:
    """A text for a column of letters, so that :func:`of_text` finds the sentence again. Nothing typed can
    pass for one: the sign is taken out of it."""
    if isinstance(text, Said):
        return f"{_MADE}{json.dumps(as_data(text), ensure_ascii=False)}"
    return text.replace(_MADE, "")


def of_text(text: str) -> str:
    """What :func:`as_text` wrote; any other text as it is."""
    return str_of(json.loads(text[1:])) if text.startswith(_MADE) else text


def _both(first: str, last: str, sign: str, language: Tongue) -> str:
    if sign not in _PAIRS:
        return f"{first}{sign}{last}"
    return language.gettext(_PAIRS[sign]) % {"first": first, "last": last}


def _english(value: object) -> str:
    return value.isoformat() if isinstance(value, date) else str(value)


def _whole(text: str, stop: bool) -> str:
    text = text.strip()
    ends = not stop or plain(text).endswith((".", "?", "!"))
    return text[:1].upper() + text[1:] + ("" if ends else ".")


SENTENCES = {"sentences": True}
"""Context in which a model is written and read with its sentences whole; otherwise they are their English."""


class MaySay:
    """Marks a text that may be a sentence of ours, as the last of its annotations."""

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_wrap_validator_function(
            _read,
            handler(source),
            serialization=core_schema.plain_serializer_function_ser_schema(
                _write, info_arg=True, return_schema=core_schema.any_schema()
            ),
        )

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return handler(core_schema.str_schema())


def _read(value: Any, handler: Callable[[Any], Any], info: core_schema.ValidationInfo) -> Any:
    if isinstance(value, Said):
        handler(str.__str__(value))
        return value
    return of_data(value) if isinstance(value, dict) and _whole_wanted(info) else handler(value)


def _whole_wanted(info: core_schema.ValidationInfo | core_schema.SerializationInfo) -> bool:
    return bool(info.context and info.context.get("sentences"))


def _write(value: Any, info: core_schema.SerializationInfo) -> Any:
    if value is None:
        return None
    return as_data(value) if _whole_wanted(info) else str.__str__(value)


SaidText = Annotated[str, MaySay]
"""A text of a model that may be a sentence of ours."""

SaidLine = Annotated[str, StringConstraints(min_length=3), MaySay]
"""Such a text that can't be empty."""
