"""What the surgeon must see before signing: who this is, and why the plan is as it is, in a few lines.

Read off the record's own fields: what was told and is not routine stands here, whatever field it is in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from followup.care.fields.shape import Field, Group
from followup.care.plans.plan_view import PlanView
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
_ROUTINE = N_("as usual, nothing else told")


@dataclass(frozen=True)
class ToldThing:
    """One thing that was told; ``value`` is empty where the label says it all. Typed words stay as typed."""

    label: str
    value: str

    @property
    def text(self) -> str:
        return f"{self.label}: {self.value}" if self.value else self.label


@dataclass(frozen=True)
class GlancePart:
    """A line of the summary. ``empty``: what to say where nothing was told."""

    title: str
    told: tuple[ToldThing, ...]
    empty: str


def at_a_glance(view: PlanView, texts: Texts) -> tuple[GlancePart, ...]:
    """Diagnosis and operation of each eye, allergies, illnesses, who gives the drops, the way home."""
    tell = _Teller(view.record, view.protocol, texts)
    patient = view.record.patient.model_dump(mode="json", exclude_none=True)
    shape = patient_shape()
    none, parts = texts.gettext(_NOTHING), []
    for eye in view.eyes:
        history = patient.get("eyes", {}).get(eye, {})
        eyes = shape.member("eyes")
        assert isinstance(eyes, Group)
        diagnosis = tuple(tell.of(eyes.member(eye), history))
        parts.append(GlancePart(_titled(texts, eye, N_("%(eye)s, diagnosis")), diagnosis, none))
        parts.append(
            GlancePart(
                _titled(texts, eye, N_("%(eye)s, operation")), tell.operation(eye), texts.gettext(_ROUTINE)
            )
        )
    for name, title in (("allergies", N_("Allergies")), ("conditions", N_("Illnesses"))):
        told = tuple(tell.of(shape.member(name), patient.get(name)))
        parts.append(GlancePart(texts.gettext(title), told, none))
    for name, title in (("drops_by", N_("Who gives the drops")), ("travel", N_("Way home"))):
        told = tuple(tell.of(shape.member(name), patient.get(name)))
        parts.append(GlancePart(texts.gettext(title), told, texts.gettext(N_("not told"))))
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
    allergies, illnesses = (
        tuple(tell.of(shape.member(name), patient.get(name))) for name in ("allergies", "conditions")
    )
    return EyeGlance(allergies, illnesses, (*tell.of(eyes.member(eye), history), *tell.operation(eye)))


class _Teller:
    def __init__(self, record: Record, protocol: Protocol, texts: Texts) -> None:
        self._record, self._protocol, self._texts = record, protocol, texts

    def operation(self, eye: Eye) -> tuple[ToldThing, ...]:
        """The latest operation of the eye: its procedure, then whatever is not routine."""
        mine = [o for o in self._record.operations if o.eye == eye]
        data = max(mine, key=lambda o: o.date).model_dump(mode="json", exclude_none=True)
        kept = {name: value for name, value in data.items() if name not in _NOT_TOLD}
        return tuple(self._told(operation_shape(), kept, routine=self._protocol.routine.typed))

    def of(self, member: Field | Group, value: Any) -> Iterator[ToldThing]:
        """What was told in this part of the record."""
        if value in _NO:
            return
        if isinstance(member, Field):
            yield self._line(member, value)
        elif isinstance(value, list):
            for each in value:
                yield from self._told(member, each)
        else:
            yield from self._told(member, value)

    def _told(
        self, group: Group, value: Mapping[str, Any], routine: Mapping[str, str] = {}, head: str = ""
    ) -> Iterator[ToldThing]:
        for member in group.members:
            found, name = value.get(member.name), f"{head}{member.name}"
            if isinstance(member, Group) and not member.many and isinstance(found, dict):
                yield from self._told(member, found, routine, f"{name}.")
            elif isinstance(member, Field) and name in routine:
                # A routine answer goes without saying; any other is said, "no" too.
                if found is not None and (name == "procedure" or routine[name] != _plain(found)):
                    yield self._line(member, found)
            else:
                yield from self.of(member, found)

    def _line(self, field: Field, value: Any) -> ToldThing:
        label = self._texts.label(field.of)
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


def _titled(texts: Texts, eye: Eye, title: str) -> str:
    return texts.gettext(title) % {"eye": texts.eye(eye)}
