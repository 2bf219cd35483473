"""The record's form as the page needs it: what is told, what folds away, what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from followup.care.fields import values as flat
from followup.care.fields.labels import label_of
from followup.care.fields.shape import RECORD, Field, Group, Member
from followup.care.fields.values import fill_form
from followup.clinical.record import Record
from followup.desks.forms.layout import (
    PATIENT,
    STORY,
    leftovers,
    operation_shape,
    patient_shape,
)
from followup.language.catalogues import N_
from followup.records.people.patients import DECIDED_OF_OPERATION


@dataclass(frozen=True)
class FormPart:
    """A heading and what stands below it."""

    title: str
    prefix: str
    members: tuple[Member, ...]


@dataclass(frozen=True)
class OperationPart:
    """One operation: its story, and the rest of it."""

    number: int
    prefix: str
    chapters: tuple[FormPart, ...]
    rest: tuple[Member, ...]
    decided: tuple[Member, ...]
    folded: bool
    eye: str
    date: str


@dataclass(frozen=True)
class FormView:
    """A filled form. ``problems`` says by field name what is wrong; ``focus`` is where to type next.

    ``decides``: whoever fills it in may store what only a surgeon decides; else that is only told.
    ``usual``: the routine answers to the fields of an operation.
    """

    values: Mapping[str, Sequence[str]]
    problems: Mapping[str, str] = field(default_factory=dict)
    focus: str = ""
    decides: bool = True
    usual: Mapping[str, str] = field(default_factory=dict)

    @property
    def patient_told(self) -> tuple[Member, ...]:
        return tuple(patient_shape().member(name) for name in PATIENT)

    @property
    def patient_folds(self) -> tuple[FormPart, ...]:
        """The rest of the patient: groups each under their own heading, single fields together."""
        rest = leftovers(patient_shape(), PATIENT)
        singles = tuple(m for m in rest if isinstance(m, Field))
        folds = [FormPart(N_("More about the patient"), "patient.", singles)]
        for group in rest:
            if isinstance(group, Group):
                folds += _folds_of(group, "patient.")
        return tuple(folds)

    @property
    def operations(self) -> tuple[OperationPart, ...]:
        count = max(self.rows("operations"), 1)
        return tuple(self._operation(number, folded=number < count - 1) for number in range(count))

    def _operation(self, number: int, *, folded: bool) -> OperationPart:
        prefix, shape = f"operations.{number}.", operation_shape()
        told = tuple(name for chapter in STORY for name in chapter.members)
        chapters = tuple(
            FormPart(chapter.title, prefix, tuple(shape.member(name) for name in chapter.members))
            for chapter in STORY
        )
        wrong = any(name.startswith(prefix) for name in self.problems)
        eye, day = (next(iter(self.values.get(prefix + name, ())), "") for name in ("eye", "date"))
        rest = leftovers(shape, told)
        only_told = () if self.decides else tuple(m for m in rest if m.name in DECIDED_OF_OPERATION)
        asked = tuple(m for m in rest if m not in only_told)
        return OperationPart(number, prefix, chapters, asked, only_told, folded and not wrong, eye, day)

    @property
    def in_use(self) -> tuple[Member, ...]:
        return (RECORD.member("in_use"),)

    @property
    def reviews(self) -> tuple[Member, ...]:
        return (RECORD.member("reviews"),)

    @property
    def trips(self) -> tuple[Member, ...]:
        return RECORD.member("trips"), *((RECORD.member("decisions"),) if self.decides else ())

    @property
    def decided(self) -> tuple[Member, ...]:
        """What a surgeon decided of the visits, where it is only told."""
        return () if self.decides else (RECORD.member("decisions"),)

    @property
    def routine(self) -> dict[str, str]:
        """The routine answer of every field that has one, by the field's full name."""
        rows = range(max(self.rows("operations"), 1))
        return {f"operations.{i}.{name}": value for i in rows for name, value in self.usual.items()}

    def rows(self, name: str) -> int:
        """How many lines of a repeating group to show."""
        return flat.rows(self.values, name)

    def says_something(self, members: Iterable[Member], prefix: str) -> bool:
        """Whether anything below is filled in or wrong, so that it must not stay folded."""
        heads = tuple(f"{prefix}{member.name}" for member in members)
        return any(
            name == head or name.startswith(f"{head}.")
            for head in heads
            for name in (*self.problems, *(n for n, given in self.values.items() if any(given)), self.focus)
        )

    @staticmethod
    def is_day(text: str) -> bool:
        """Whether a date control can show this; anything else is kept as it was typed."""
        try:
            return not text or bool(date.fromisoformat(text))
        except ValueError:
            return False


def with_another_row(form: flat.Flat, name: str, group_defaults: Mapping[str, list[str]]) -> FormView:
    """The form with one more line of the repeating group ``name``, ready to be typed in."""
    number = flat.rows(form, name)
    first = _first_field(name)
    fresh = {f"{name}.{number}.{first}": [""], **group_defaults}
    return FormView({**form, **fresh}, focus=f"{name}.{number}.{first}")


def _folds_of(group: Group, prefix: str) -> list[FormPart]:
    if group.name == "eyes":
        return [
            FormPart(label_of(eye.of).text, f"{prefix}eyes.{eye.name}.", eye.members)
            for eye in group.members
            if isinstance(eye, Group)
        ]
    if group.many or group.optional:
        return [FormPart(label_of(group.of).text, prefix, (group,))]
    return [FormPart(label_of(group.of).text, f"{prefix}{group.name}.", group.members)]


def _first_field(name: str) -> str:
    """The first field of a repeating group. Raises KeyError where there is no such list."""
    member: Member = RECORD
    for part in name.split("."):
        if isinstance(member, Group) and not part.isdigit():
            member = member.member(part)
    if not isinstance(member, Group) or not member.many:
        raise KeyError(name)
    return next(m.name for m in member.members if isinstance(m, Field))


def answer_form(record: Record) -> FormView:
    """The record as a form, to take the answers' present values from."""
    return FormView(fill_form(record.model_dump(mode="json", exclude_none=True)))
