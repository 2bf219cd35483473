"""A told operation and the record's form: what was read goes in, what is doubtful is asked.

Between one sending and the next the form itself carries what came from the telling ("read:"), how a field
that is asked stood before ("was:"), the answer that was pressed ("asked:") and in which line of a list a line
that was told stands ("place:"). What a person typed is never overwritten: where it differs it is asked.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from followup.care.fields.shape import RECORD, Field, Group, member_at
from followup.care.fields.values import Flat, written
from followup.care.records.telling import Read
from followup.clinical.record import Eye
from followup.telling.model import FieldTold, Telling, ToldValue
from followup.telling.places import form_name

READ, WAS, ASKED, PLACE = "read:", "was:", "asked:", "place:"
# What says which line of a list is meant, the first that was told of it.
_KEYS = ("medicine", "to", "described", "number", "date")
Texts = list[str]


@dataclass(frozen=True)
class Where:
    """Which operation of the form is told. ``usual``: its routine answers by the form's names, where nobody
    has stored it yet; else every answer counts as somebody's own."""

    eye: Eye
    operation: int
    usual: Mapping[str, str] = field(default_factory=dict)

    def name(self, told: str) -> str:
        """The form's name of a field that was told."""
        return form_name(told, self.eye, self.operation)


@dataclass(frozen=True)
class CarriedForm:
    """What a form carries of a telling. ``was``: how each field that is asked stood at the reading, and when
    the page was last shown; ``answered``: those that a person has answered since."""

    read: Mapping[str, Texts] = field(default_factory=dict)
    was: Mapping[str, tuple[Texts, Texts]] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=dict)
    answered: frozenset[str] = frozenset()

    def name(self, told: str, where: Where) -> str:
        """The form's name of a field that was told; "" where its line was taken out of the list."""
        line = line_of(told)
        if not line:
            return where.name(told)
        place = self.places.get(line, "")
        return place and place + told.removeprefix(line)

    def hidden(self, form: Flat) -> Iterator[tuple[str, str]]:
        """What the page sends along: names and values."""
        yield from ((READ + name, json.dumps(texts)) for name, texts in self.read.items())
        yield from ((PLACE + line, place) for line, place in self.places.items())
        for name, (first, _) in self.was.items():
            yield WAS + name, json.dumps([first, said(form, name)])


def carried(form: Flat) -> tuple[dict[str, Texts], CarriedForm]:
    """The form with the answers that were pressed in it, and what it carries.

    A field that was typed in since the page was shown wins over the answer that was pressed.
    """
    ours = (READ, WAS, ASKED, PLACE)
    kept = {name: list(given) for name, given in form.items() if not name.startswith(ours)}
    was = {name: pair for name, raw in _below(form, WAS) if (pair := _pair(raw))}
    pressed = {name: texts for name, raw in _below(form, ASKED) if (texts := _texts(raw)) is not None}
    answered: set[str] = set()
    for name, (_, shown) in was.items():
        typed = not same(said(form, name), shown)
        if typed or name in pressed:
            answered.add(name)
        if name in pressed and not typed:
            _put(kept, name, pressed[name])
    return kept, CarriedForm(
        {name: texts for name, raw in _below(form, READ) if (texts := _texts(raw)) is not None},
        was,
        {line: place for line, place in _below(form, PLACE) if _of_a_line(place)},
        frozenset(answered),
    )


def read_into(
    form: Flat, before: CarriedForm, found: Read | None, where: Where
) -> tuple[dict[str, Texts], CarriedForm]:
    """The form with what was read, in place of what an earlier reading left in it; None: nothing was told."""
    filled = {name: list(given) for name, given in form.items()}
    for name, texts in before.read.items():
        if same(said(filled, name), texts):
            filled.pop(name, None)
    typed = {
        name: texts for name in filled if (texts := said(filled, name)) and texts != [where.usual.get(name)]
    }
    telling = found.telling if found else Telling("", "")
    _routine(filled, typed, found, where)
    places = _places(telling, typed, where)
    made = CarriedForm(places=places)
    read: dict[str, Texts] = {}
    was: dict[str, tuple[Texts, Texts]] = {}
    for one in telling.fields:
        name = made.name(one.field, where)
        texts = texts_of(name, one.value)
        here = typed.get(name, [])
        if one.kind == "read" and not here:
            for put in _put(filled, name, texts):
                read[put] = said(filled, put)
        elif one.kind == "doubtful" or not same(here, texts):
            if not here:
                filled.pop(name, None)
            was[name] = here, here
    return filled, CarriedForm(read, was, places)


def _routine(filled: dict[str, Texts], typed: Mapping[str, Texts], found: Read | None, where: Where) -> None:
    """A routine answer stands where nothing that was told speaks against it."""
    may = {where.name(told) for told in found.routine} if found else set(where.usual)
    for name, answer in where.usual.items():
        if name in typed:
            continue
        if name in may:
            filled[name] = [answer]
        else:
            filled.pop(name, None)


def _places(telling: Telling, typed: Mapping[str, Texts], where: Where) -> dict[str, str]:
    """In which line of the form each line of a list stands that was told: in the one that a person typed of
    the same thing, else in one of its own."""
    lines: dict[str, list[FieldTold]] = {}
    for one in telling.fields:
        if line := line_of(one.field):
            lines.setdefault(line, []).append(one)
    found: dict[str, str] = {}
    for line, fields in lines.items():
        head = where.name(line).rpartition(".")[0]
        used = {int(part) for name in typed if (part := _number_in(name, head))}
        told = {one.field.removeprefix(line + "."): one.value for one in fields}
        key = next((key for key in _KEYS if key in told), "")
        alike = [
            number
            for number in sorted(used)
            if key and same(typed.get(name := f"{head}.{number}.{key}", []), texts_of(name, told[key]))
        ]
        free = (n for n in range(len(used) + len(lines) + 1) if n not in used)
        taken = set(found.values())
        ways = (f"{head}.{number}" for number in (*alike, *free))
        found[line] = next(way for way in ways if way not in taken)
    return found


def line_of(told: str) -> str:
    """The line of a list that a field lies in, "in_use.0" of "in_use.0.mg"; "" where it lies in none."""
    parts = told.split(".")
    at = next((i for i, part in enumerate(parts) if part.isdecimal()), None)
    return ".".join(parts[: at + 1]) if at else ""


def texts_of(name: str, value: ToldValue | None) -> Texts:
    """A value that was told, as the field of the form holds it."""
    if value is None:
        return []
    member = member_at(name)
    if isinstance(member, Field):
        return written(member, value)
    return ["yes"] if value is True else []


def said(form: Flat, name: str) -> Texts:
    """What a field of the form says, without blanks."""
    return [text.strip() for text in form.get(name, ()) if text.strip()]


def same(first: Sequence[str], last: Sequence[str]) -> bool:
    """Whether two fields say the same, in whatever order and however a figure is written."""
    return sorted(map(_figure, first)) == sorted(map(_figure, last))


def _figure(text: str) -> str:
    try:
        return f"{float(text):g}"
    except ValueError:
        return text


def _put(form: dict[str, Texts], name: str, texts: Texts) -> list[str]:
    """Fill in a field and tick the groups that it lies in; the names of all that was filled in."""
    if not texts:
        form.pop(name, None)
        return [name]
    form[name] = list(texts)
    above = [group for group in _ticked(name) if not said(form, group)]
    form.update((group, ["yes"]) for group in above)
    return [name, *above]


def _ticked(name: str) -> Iterator[str]:
    """The groups above a field that a tick says are there."""
    parts = name.split(".")
    for end in range(1, len(parts)):
        group = member_at(".".join(parts[:end]))
        if isinstance(group, Group) and group is not RECORD and group.optional:
            yield ".".join(parts[:end])


def _below(form: Flat, head: str) -> Iterator[tuple[str, str]]:
    for name, given in form.items():
        if name.startswith(head) and given and given[0]:
            yield name.removeprefix(head), given[0]


def _number_in(name: str, head: str) -> str:
    if not name.startswith(f"{head}."):
        return ""
    part = name[len(head) + 1 :].partition(".")[0]
    return part if part.isascii() and part.isdecimal() and len(part) < 4 else ""


def _of_a_line(place: str) -> bool:
    head, _, number = place.rpartition(".")
    return bool(head) and number.isascii() and number.isdecimal() and len(number) < 4


def _texts(raw: str) -> Texts | None:
    found = _sent(raw)
    return found if _are_texts(found) else None


def _pair(raw: str) -> tuple[Texts, Texts] | None:
    found = _sent(raw)
    if not isinstance(found, list) or len(found) != 2 or not all(map(_are_texts, found)):
        return None
    return found[0], found[1]


def _sent(raw: str) -> Any:
    try:
        return json.loads(raw)
    except (ValueError, RecursionError):
        return None


def _are_texts(found: Any) -> bool:
    return isinstance(found, list) and all(isinstance(one, str) for one in found)
