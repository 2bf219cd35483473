"""The record's form as the page needs it: what is told, what folds away, what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from followup.care.fields import values as flat
from followup.care.fields.shape import RECORD, Field, Group, Member
from followup.care.fields.values import fill_form
from followup.clinical.record import Record, WakingDay
from followup.desks.forms.chips import AllergyChip, ChipGroup, allergy_chips, chip_group
from followup.desks.forms.layout import (
    APART,
    ASKED_TOO,
    CHIPS,
    HISTORY,
    ILLNESSES,
    LEANS,
    PATIENT,
    STORY,
    leftovers,
    operation_shape,
    patient_shape,
)
from followup.desks.forms.told_view import ToldView
from followup.language.catalogues import N_
from followup.language.typed_days import Lean
from followup.records.people.patients import DECIDED_OF_OPERATION


@dataclass(frozen=True)
class FormPart:
    """A heading and what stands below it."""

    title: str
    prefix: str
    members: tuple[Member, ...]


@dataclass(frozen=True)
class HistoryPart:
    """An eye before the operation: what is typed of it, the rest, and whether it stands open."""

    eye: str
    prefix: str
    members: tuple[Member, ...]
    rest: tuple[Member, ...]
    open: bool


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
    ``usual``: the routine answers to the fields of an operation. ``told``: what was told, and its marks.
    """

    values: Mapping[str, Sequence[str]]
    problems: Mapping[str, str] = field(default_factory=dict)
    focus: str = ""
    decides: bool = True
    usual: Mapping[str, str] = field(default_factory=dict)
    told: ToldView = field(default_factory=ToldView)

    @property
    def patient_told(self) -> tuple[Member, ...]:
        return tuple(patient_shape().member(name) for name in PATIENT)

    @property
    def patient_folds(self) -> tuple[FormPart, ...]:
        """The rest of the patient, and what was asked beside the chips of the illnesses."""
        rest = leftovers(patient_shape(), (*PATIENT, *APART))
        illnesses = patient_shape().member("conditions")
        assert isinstance(illnesses, Group)
        chips = (*CHIPS[ILLNESSES], *ASKED_TOO[ILLNESSES])
        giver = patient_shape().member("drops_by")
        assert isinstance(giver, Group)
        # Who gives them is told above.
        more = replace(giver, members=tuple(m for m in giver.members if not _required(m)))
        return (
            FormPart(N_("More about the patient"), "patient.", (*rest, more)),
            FormPart(N_("More about illnesses"), ILLNESSES, leftovers(illnesses, chips)),
        )

    @property
    def asked_too(self) -> FormPart:
        """What is asked with the illnesses and has more answers than yes and no."""
        illnesses = patient_shape().member("conditions")
        assert isinstance(illnesses, Group)
        return FormPart("", ILLNESSES, tuple(illnesses.member(name) for name in ASKED_TOO[ILLNESSES]))

    @property
    def histories(self) -> tuple[HistoryPart, ...]:
        """Both eyes before the operation; that of the eye that is told stands open."""
        eyes = patient_shape().member("eyes")
        assert isinstance(eyes, Group)
        last = self.operations[-1].eye
        return tuple(_history(eye, f"patient.eyes.{eye.name}.", last, self) for eye in eyes.members)

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

    @cached_property
    def routine(self) -> dict[str, str]:
        """The routine answer of every field that has one, by the field's full name: each field asks."""
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
            for name in (*self.problems, *self._said, *self.told.marks, self.focus)
        )

    @property
    def _said(self) -> Iterator[str]:
        """The names of what is answered otherwise than a record has it by itself."""
        usual = {f"patient.waking.{name}": str(value) for name, value in WakingDay().model_dump().items()}
        return (
            name for name, given in self.values.items() if any(given) and list(given) != [usual.get(name)]
        )

    @staticmethod
    def lean(of: str) -> Lean:
        """Which year is meant where the day ``of`` is typed without one."""
        return LEANS.get(of, "near")

    def chips(self, prefix: str) -> ChipGroup:
        """The chips below ``prefix``."""
        return chip_group(self.values, prefix)

    @property
    def allergy_list(self) -> Member:
        return patient_shape().member("allergies")

    @property
    def allergy_asked(self) -> Member:
        return patient_shape().member("no_other_allergy")

    @property
    def allergies(self) -> tuple[AllergyChip, ...]:
        return allergy_chips(self.values)


def with_another_row(form: flat.Flat, name: str, group_defaults: Mapping[str, list[str]]) -> FormView:
    """The form with one more line of the repeating group ``name``, ready to be typed in."""
    number = flat.rows(form, name)
    first = _first_field(name)
    fresh = {f"{name}.{number}.{first}": [""], **group_defaults}
    return FormView({**form, **fresh}, focus=f"{name}.{number}.{first}")


def without_row(form: flat.Flat, name: str) -> dict[str, list[str]]:
    """The form without the line ``name`` of a list; the lines after it move up."""
    head, _, number = name.rpartition(".")
    kept: dict[str, list[str]] = {}
    for field_name, values in form.items():
        inside = field_name.startswith(f"{head}.") and number.isdecimal()
        at, dot, rest = field_name[len(head) + 1 :].partition(".") if inside else ("", "", "")
        if not at.isdecimal() or int(at) < int(number):
            kept[field_name] = list(values)
        elif int(at) > int(number):
            kept[f"{head}.{int(at) - 1}{dot}{rest}"] = list(values)
    return kept


def _history(eye: Member, prefix: str, operated: str, form: FormView) -> HistoryPart:
    assert isinstance(eye, Group)
    told = tuple(eye.member(name) for name in HISTORY)
    open_ = eye.name == operated or form.says_something(eye.members, prefix)
    return HistoryPart(eye.name, prefix, told, leftovers(eye, (*HISTORY, *CHIPS[prefix])), open_)


def _required(member: Member) -> bool:
    return isinstance(member, Field) and member.required


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
