"""One eye's view of the record: where a fact's field is found and what it is called there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache, cached_property
from typing import Any

from followup.clinical.record import Eye, Findings, Operation, Record, SteroidGiven
from followup.clinical.record.ages import oldest, youngest
from followup.clinical.record.base import BOTH_EYES, UNSEEN, MedicineRole
from followup.clinical.record.fields import Held, held, leads
from followup.clinical.record.given import AllergyTold, GivenMedicine, TabletTaken
from followup.clinical.record.patient import EyeHistory

OTHER: Mapping[Eye, Eye] = {"right": "left", "left": "right"}


@dataclass(frozen=True)
class ReadFrom:
    """What the record says somewhere, and the fields that say it.

    ``answers`` are the fields that could settle or change it, where these are others too.
    """

    value: Any
    fields: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()


@dataclass(frozen=True)
class EyeContext:
    """An eye, its latest operation, and the record around it.

    ``as_of`` is the day the plan is made for; later reviews in the record are not looked at. ``roles``
    are what the medicines of the formulary are for, ``recent_days`` how long the protocol lets an earlier
    operation on the eye count. ``given`` is the medicine that is asked about, where one is. An eye that
    has had no operation has no ``index``, and ``side`` says which it is.
    """

    record: Record
    index: int | None
    as_of: date
    roles: Mapping[str, MedicineRole] = field(default_factory=dict, compare=False, repr=False)
    recent_days: int = 0
    side: Eye | None = None
    given: GivenMedicine | None = None

    @property
    def operation(self) -> Operation:
        assert self.index is not None
        return self.record.operations[self.index]

    @cached_property
    def eye(self) -> Eye:
        return self.side or self.operation.eye

    @cached_property
    def _homes(self) -> Mapping[str, Any]:
        """Where a path begins that leads to something written down."""
        return {
            "patient": self.record.patient,
            "eye": history_of(self.record, self.eye),
            "other_eye": history_of(self.record, OTHER[self.eye]),
        }

    @property
    def history(self) -> EyeHistory:
        return history_of(self.record, self.eye)

    @property
    def day0(self) -> date:
        """The day of the operation; before any look where there was none."""
        return date.min if self.index is None else self.operation.date

    @cached_property
    def reviews(self) -> tuple[Findings, ...]:
        """This eye's reviews since its operation, oldest first, up to the as-of day."""
        mine = (r for r in self.record.reviews if r.eye == self.eye and self.day0 <= r.date <= self.as_of)
        return tuple(sorted(mine, key=lambda r: (r.date, r.time or "")))

    def value(self, path: str) -> Any:
        """What the record says at ``path`` (``eye.glaucoma``, ``operation.cut_mm``...); None if nothing."""
        return self.read(path).value

    def fields(self, path: str) -> tuple[str, ...]:
        """The same path as fields of the record, as a reader of the file would name them."""
        return _fields(path, self.eye, self.index)

    def read(self, path: str) -> ReadFrom:
        """The value at ``path`` with its fields. What hangs on an operation is not recorded without one."""
        root, _, rest = path.partition(".")
        if self.index is None and _of_operation(path):
            return ReadFrom(None)
        said = _DERIVED[rest].of(self) if root == "derived" else self._found(root, rest)
        if isinstance(said, ReadFrom):
            return said
        fields = self.fields(path)
        return ReadFrom(said, fields, fields)

    def last_look(self, finding: str) -> Any:
        """What the last look that saw anything of it saw, the day of surgery counted; None if none did."""
        return last_seen(getattr(review, finding) for review in self.reviews)

    def _found(self, root: str, rest: str) -> Any:
        if root == "last_look":
            return self.last_look(rest)
        found: Any = self.operation if root == "operation" else self._homes[root]
        for name in rest.split("."):
            if found is None:
                return None
            found = getattr(found, name)
        return found


@cache
def _fields(path: str, eye: Eye, index: int | None) -> tuple[str, ...]:
    root, _, rest = path.partition(".")
    if root == "derived":
        return tuple(f for p in _DERIVED[rest].paths for f in _fields(p, eye, index))
    if root == "operation":
        return () if index is None else (f"operations.{index}.{rest}",)
    home = {"eye": f"patient.eyes.{eye}", "other_eye": f"patient.eyes.{OTHER[eye]}"}
    return (f"{home[root]}.{rest}" if root in home else path.replace("last_look.", "reviews."),)


def last_seen(values: Iterable[Any]) -> Any:
    seen = [value for value in values if value not in UNSEEN]
    return seen[-1] if seen else None


@cache
def _of_operation(path: str) -> bool:
    root, _, rest = path.partition(".")
    return any(map(_of_operation, _DERIVED[rest].paths)) if root == "derived" else root == "operation"


@dataclass(frozen=True)
class Derived:
    """A value worked out from fields: the fields it came from, how, and the types it can have.

    ``of`` gives the value, or a :class:`ReadFrom` where which fields it came from differs from record to
    record. ``of_medicine``: it is about the medicine that is asked about, and none is about a rule's eye.
    """

    paths: tuple[str, ...]
    of: Callable[[EyeContext], Any]
    kinds: tuple[Any, ...] = (int,)
    of_medicine: bool = False


def followed_eyes(record: Record, as_of: date) -> tuple[EyeContext, ...]:
    """The eyes under follow-up on ``as_of``: each by its latest operation, in order of surgery."""
    latest: dict[Eye, int] = {}
    for index, operation in enumerate(record.operations):
        if operation.date > as_of:
            continue
        before = latest.get(operation.eye)
        if before is None or record.operations[before].date < operation.date:
            latest[operation.eye] = index
    order = sorted(latest.values(), key=lambda i: (record.operations[i].date, record.operations[i].eye))
    return tuple(EyeContext(record, index, as_of) for index in order)


def history_of(record: Record, eye: Eye) -> EyeHistory:
    eyes = record.patient.eyes
    return eyes.right if eye == "right" else eyes.left


def _age(context: EyeContext, possible: Callable[[date | None, int | None, date], int]) -> int:
    patient = context.record.patient
    return possible(patient.birth_date, patient.birth_year, context.day0)


def _quiet_days(context: EyeContext) -> int | None:
    uveitis = context.history.uveitis
    if uveitis is None or uveitis.never_quiet or uveitis.last_active is None:
        return None
    return (context.day0 - uveitis.last_active).days


def _latest(name: str) -> Derived:
    def of(context: EyeContext) -> Any:
        return last_seen(getattr(review, name) for review in context.reviews if review.date > context.day0)

    return Derived((f"reviews.{name}",), of, held(f"reviews.{name}").kinds)


def _ever(name: str, *bad: str) -> Derived:
    """The worst that a look since surgery saw, else what the last one saw."""

    def of(context: EyeContext) -> Any:
        values = [getattr(review, name) for review in context.reviews]
        return next((value for value in values if value in bad), last_seen(values))

    return Derived((f"reviews.{name}",), of, held(f"reviews.{name}").kinds)


def _recent(context: EyeContext) -> tuple[Operation, ...]:
    """The earlier operations on this eye that still count."""
    return tuple(
        o
        for o in context.record.operations
        if o.eye == context.eye and 0 < (context.day0 - o.date).days <= context.recent_days
    )


def _earlier(name: str) -> Derived:
    def of(context: EyeContext) -> bool | None:
        return True if any(getattr(o, name) for o in _recent(context)) else None

    return Derived(("operation.date", f"operation.{name}"), of, (bool,))


def _steroid_before(context: EyeContext) -> tuple[SteroidGiven, ...]:
    """Steroid of an earlier operation on this eye that may still be at work."""
    return tuple(given for o in _recent(context) for given in o.steroid)


def _roles_in_use(context: EyeContext) -> tuple[MedicineRole, ...]:
    """What the medicines in use in this eye, or by mouth, are for; one that nobody knows is left out."""
    mine = [e for e in context.record.in_use if e.route == "mouth" or e.eye in (context.eye, "both")]
    named = (e.medicine for e in mine if e.medicine is not None)
    return tuple(dict.fromkeys(context.roles[medicine] for medicine in named if medicine in context.roles))


def _roles_before(context: EyeContext) -> tuple[MedicineRole, ...]:
    """What the drops given before the operation were for."""
    given = (drop.medicine for drop in context.operation.drops_before)
    return tuple(dict.fromkeys(context.roles[medicine] for medicine in given if medicine in context.roles))


def _capsule_torn_ever(context: EyeContext) -> ReadFrom:
    """At any operation of the eye, however long ago."""
    mine = [(o.date, i, o) for i, o in enumerate(context.record.operations) if o.eye == context.eye]
    torn = tuple(
        f"operations.{i}.capsule_torn" for _, i, o in sorted(mine, key=lambda one: one[:2]) if o.capsule_torn
    )
    return ReadFrom(bool(torn), torn, torn)


def _look_or_operation(name: str, finding: str) -> Derived:
    """Whether something from the latest operation is there: a later look shows it, or shows it gone."""

    def of(context: EyeContext) -> ReadFrom:
        seen = context.read(f"last_look.{finding}")
        if seen.value is not None or context.index is None:
            return replace(seen, value=None if seen.value is None else seen.value == "yes")
        left = context.read(f"operation.{name}")
        return replace(left, answers=(*left.fields, *seen.fields))

    return Derived((f"last_look.{finding}",), of, (bool,))


def _steroid_response(context: EyeContext) -> ReadFrom:
    """A known rise on steroid, in this eye or in the other."""
    told: list[str] = []
    asked = tuple(f"patient.eyes.{eye}.steroid_responder" for eye in BOTH_EYES)
    for eye, own in zip(BOTH_EYES, asked, strict=True):
        past = history_of(context.record, eye)
        earlier = past.after_earlier_operation
        if past.rise_on_steroid is not None or past.steroid_responder:
            told.append(own)
        if earlier and earlier.pressure_rise_on_steroid:
            told.append(f"patient.eyes.{eye}.after_earlier_operation.pressure_rise_on_steroid")
    fields = tuple(told) or asked
    return ReadFrom(True if told else None, fields, fields)


def _youngest_by_year(context: EyeContext) -> int:
    """The calendar year alone makes the person as young as possible."""
    patient = context.record.patient
    born = patient.birth_date.year if patient.birth_date else patient.birth_year
    assert born is not None
    return context.record.last_operation_day.year - born - 1


def _no_aspirin_in_airway_disease(context: EyeContext) -> ReadFrom:
    """Asthma or polyps, where aspirin is not tolerated."""
    told = context.record.patient.conditions
    if told.tolerates_aspirin is not False:
        return ReadFrom(False)
    names = ("asthma", "nasal_polyps", "tolerates_aspirin")
    fields = tuple(f"patient.conditions.{name}" for name in names)
    return ReadFrom(bool(told.asthma or told.nasal_polyps), fields, fields)


def _sulphur_told(context: EyeContext) -> ReadFrom:
    """Whether the list says which sulfur compound is meant, or the record that none is."""
    patient = context.record.patient
    listed = (i for i, a in enumerate(patient.allergies) if a.to in ("sulfonamide", "sulphite"))
    fields = tuple(f"patient.allergies.{i}.to" for i in listed)
    if not fields:
        return ReadFrom(
            patient.sulphur_is_neither, asked := ("patient.sulphur_is_neither", _ALLERGIES), asked
        )
    return ReadFrom(True, fields, fields)


def _given(of: Callable[[GivenMedicine, EyeContext], Any], kind: Any, *paths: str) -> Derived:
    """A value that is about the medicine asked about."""

    def about(context: EyeContext) -> Any:
        assert context.given is not None, "no medicine is asked about"
        return of(context.given, context)

    return Derived(paths, about, (kind,), of_medicine=True)


def _past_label(given: GivenMedicine, context: EyeContext) -> bool:
    diabetic = context.record.patient.conditions.diabetes not in (None, "no")
    longest = given.label_days_in_diabetes if diabetic else given.label_days
    return longest is not None and given.days > longest


_ALLERGIES, _WORDS = "patient.allergies", "patient.allergy_text"
_BORN = ("patient.birth_date", "patient.birth_year", "operation.date")
_DERIVED: Mapping[str, Derived] = {
    "age_youngest": Derived(_BORN, lambda c: _age(c, youngest)),
    "age_oldest": Derived(_BORN, lambda c: _age(c, oldest)),
    "minutes": Derived(("operation.start", "operation.end"), lambda c: c.operation.minutes),
    "quiet_days": Derived(("eye.uveitis.last_active", "operation.date"), _quiet_days),
    "earlier_capsule_torn": _earlier("capsule_torn"),
    "earlier_vitreous_lost": _earlier("vitreous_lost"),
    "roles_before": Derived(("operation.drops_before",), _roles_before, (tuple[MedicineRole, ...],)),
    "roles_in_use": Derived(("in_use",), _roles_in_use, (tuple[MedicineRole, ...],)),
    "steroid_before": Derived(
        ("operation.date", "operation.steroid"), _steroid_before, held("operation.steroid").kinds
    ),
    "blood_at_look": _latest("blood"),
    "chamber_at_look": _latest("chamber"),
    "leak_at_look": _latest("leak"),
    "blood_since": _ever("blood", "level", "cells only"),
    "leak_since": _ever("leak", "slow", "fast"),
    "operated": Derived((), lambda c: c.index is not None, (bool,)),
    "capsule_torn_ever": Derived((), _capsule_torn_ever, (bool,)),
    "corneal_defect": _look_or_operation("epithelium_scraped", "epithelial_defect"),
    "steroid_response": Derived((), _steroid_response, (bool,)),
    "youngest_by_year": Derived(("patient.birth_date", "patient.birth_year"), _youngest_by_year),
    "no_aspirin_in_airway_disease": Derived((), _no_aspirin_in_airway_disease, (bool,)),
    "sulphur_told": Derived((), _sulphur_told, (bool,)),
    "allergies": _given(lambda given, _: given.allergies, tuple[AllergyTold, ...], _ALLERGIES, _WORDS),
    "unclear_allergy_words": _given(
        lambda given, _: any(a.unclear and a.in_words for a in given.allergies), bool, _WORDS
    ),
    "tablets": _given(lambda given, _: given.tablets, tuple[TabletTaken, ...]),
    "past_label": _given(_past_label, bool, "patient.conditions.diabetes"),
}


def known_path(path: str) -> bool:
    """Whether ``path`` leads somewhere in the record, whatever a record says there."""
    root, _, rest = path.partition(".")
    return rest in _DERIVED if root == "derived" else leads(path)


def held_at(path: str) -> Held:
    """What the field at a known ``path`` can hold."""
    root, _, rest = path.partition(".")
    return Held(_DERIVED[rest].kinds) if root == "derived" else held(path)


def is_of_medicine(path: str) -> bool:
    """Whether ``path`` is about the medicine that is asked about."""
    root, _, rest = path.partition(".")
    return root == "derived" and rest in _DERIVED and _DERIVED[rest].of_medicine


def read_by_facts(path: str) -> bool:
    """Whether a fact can be read at a known ``path``: a list of looks or drops has no one value."""
    return path.partition(".")[0] not in ("reviews", "in_use")
