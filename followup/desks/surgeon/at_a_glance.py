"""What the surgeon must see before signing: who this is, and why the plan is as it is, in a few lines.

Read off the record's own fields: what was told and is no routine stands here, whatever field it is in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from followup.care.fields.shape import Field, Group
from followup.care.plans.plan_view import PlanView
from followup.clinical.careplan import AllergyLine
from followup.clinical.facts.allergies_told import allergy_lines
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, Record
from followup.desks.forms.layout import operation_shape, patient_shape
from followup.desks.words.texts import Texts
from followup.language.catalogues import N_

# Said elsewhere on the page, or no part of what happened.
_NOT_TOLD = ("eye", "eye_drawn", "date", "surgeon", "start", "end", "answers", "choices", "products")
_NO: tuple[object, ...] = (None, False, "no", "none", "not recorded", "", [], {})
# What the sentence of the part is where nothing was told.
_NOTHING = N_("none told")
_ROUTINE = N_("as usual")
# What the part's own title already says.
_PLAIN = ("DropGiver.who", "Travel.how", "Operation.procedure")


@dataclass(frozen=True)
class ToldThing:
    """One thing that was told; ``value`` is empty where the label says it all, ``label`` where the value
    does. Typed words stay as typed."""

    label: str
    value: str

    @property
    def text(self) -> str:
        return ": ".join(filter(None, (self.label, self.value)))


@dataclass(frozen=True)
class GlancePart:
    """A line of the summary. ``empty``: what to say where nothing was told. ``of``: what it is about."""

    of: str
    title: str
    told: tuple[ToldThing, ...]
    empty: str


def at_a_glance(view: PlanView, texts: Texts) -> tuple[GlancePart, ...]:
    """Diagnosis and operation of each eye, allergies, illnesses, who gives the drops, the way home."""
    tell = _Teller(view.record, view.protocol, texts)
    patient = view.record.patient.model_dump(mode="json", exclude_none=True)
    shape, say = patient_shape(), texts.gettext
    parts = []
    for eye in view.eyes:
        history = patient.get("eyes", {}).get(eye, {})
        eyes = shape.member("eyes")
        assert isinstance(eyes, Group)
        diagnosis = tuple(tell.of(eyes.member(eye), history, "eye"))
        title = say(N_("%(eye)s, diagnosis")) % {"eye": texts.eye(eye)}
        parts.append(GlancePart("diagnosis", title, diagnosis, say(_NOTHING)))
        title = say(N_("%(eye)s, operation")) % {"eye": texts.eye(eye)}
        told = tell.operation(eye)
        usual = () if len(told) > 1 else (ToldThing("", say(_ROUTINE)),)
        parts.append(GlancePart("operation", title, (*told, *usual), say(_ROUTINE)))
    allergies = tell.allergies()
    parts.append(GlancePart("allergies", say(N_("Allergies")), allergies, say(_NOTHING)))
    for name, title, empty in (
        ("conditions", N_("Illnesses"), _NOTHING),
        ("drops_by", N_("Who gives the drops"), N_("not told")),
        ("travel", N_("Way home"), N_("not told")),
    ):
        told = tuple(tell.of(shape.member(name), patient.get(name), f"patient.{name}"))
        parts.append(GlancePart(name, say(title), told, say(empty)))
    return tuple(parts)


@dataclass(frozen=True)
class EyeGlance:
    """An eye in a line or two: what the patient has, and the history and operation of this eye."""

    allergies: tuple[ToldThing, ...]
    illnesses: tuple[ToldThing, ...]
    story: tuple[ToldThing, ...]


def eye_at_a_glance(record: Record, protocol: Protocol, eye: Eye, texts: Texts) -> EyeGlance:
    """Allergies, illnesses, and what was told of one eye that is not routine."""
    tell, shape = _Teller(record, protocol, texts), patient_shape()
    patient = record.patient.model_dump(mode="json", exclude_none=True)
    eyes = shape.member("eyes")
    assert isinstance(eyes, Group)
    history = patient.get("eyes", {}).get(eye, {})
    ill = tuple(tell.of(shape.member("conditions"), patient.get("conditions"), "patient.conditions"))
    story = (*tell.of(eyes.member(eye), history, "eye"), *tell.operation(eye))
    return EyeGlance(tell.allergies(), ill, story)


class _Teller:
    def __init__(self, record: Record, protocol: Protocol, texts: Texts) -> None:
        self._record, self._protocol, self._texts = record, protocol, texts
        self._routine = {f"operation.{name}": to for name, to in protocol.routine.typed.items()}

    def operation(self, eye: Eye) -> tuple[ToldThing, ...]:
        """The latest operation of the eye: its procedure, then whatever is not routine."""
        mine = [o for o in self._record.operations if o.eye == eye]
        data = max(mine, key=lambda o: o.date).model_dump(mode="json", exclude_none=True)
        kept = {name: value for name, value in data.items() if name not in _NOT_TOLD}
        return tuple(self._told(operation_shape(), kept, "operation"))

    def allergies(self) -> tuple[ToldThing, ...]:
        """Each of the list, the words about them, and whether any other was asked for."""
        told = tuple(self._allergy(line) for line in allergy_lines(self._record))
        asked = self._record.patient.no_other_allergy
        return (*told, ToldThing("", self._texts.label("Patient.no_other_allergy"))) if asked else told

    def _allergy(self, line: AllergyLine) -> ToldThing:
        """As it is recorded: to what, and how it shows; words as they were typed."""
        if line.words:
            return ToldThing("", f"“{line.words}”")
        to = line.described or (label_of(line.medicine, self._protocol.formulary) if line.medicine else "")
        reaction = self._texts.choice(line.reaction or "")
        return ToldThing(to or self._texts.choice(line.to or ""), reaction)

    def of(self, member: Field | Group, value: Any, path: str) -> Iterator[ToldThing]:
        """What was told in this part of the record, but what a summary leaves out."""
        if isinstance(member, Field):
            if self._says(path, value):
                yield self._line(member, value)
        elif isinstance(value, list):
            for each in value:
                yield from self._told(member, each, path)
        elif value not in _NO:
            yield from self._told(member, value, path)

    def _told(self, group: Group, value: Mapping[str, Any], path: str) -> Iterator[ToldThing]:
        for member in group.members:
            if (told := value.get(member.name)) is not None:
                yield from self.of(member, told, f"{path}.{member.name}")

    def _says(self, path: str, value: Any) -> bool:
        """A routine answer goes without saying; any other is said, "no" too. The procedure always is."""
        if path in self._routine:
            return value is not None and (
                path == "operation.procedure" or self._routine[path] != _plain(value)
            )
        return value not in _NO and self._protocol.summary.says(path, value)

    def _line(self, field: Field, value: Any) -> ToldThing:
        label = "" if field.of in _PLAIN else self._texts.label(field.of)
        if value is True or value == "yes":
            return ToldThing(label, "")
        if field.kind == "medicine":
            return ToldThing(label, label_of(str(value), self._protocol.formulary))
        if field.kind == "date":
            return ToldThing(label, self._texts.day(date.fromisoformat(str(value))))
        values = value if isinstance(value, list) else [value]
        said = (self._texts.found(one, field.kind, field.of) for one in values)
        return ToldThing(label, self._texts.comma.join(said))


def _plain(value: Any) -> str:
    """A value as the form holds it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
