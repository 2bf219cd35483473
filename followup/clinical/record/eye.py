"""One operated eye's view of the record: where a fact's field is found and what it is called there."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from followup.clinical.record import Eye, Findings, Operation, Record, SteroidGiven
from followup.clinical.record.ages import oldest, youngest
from followup.clinical.record.base import UNSEEN, MedicineRole
from followup.clinical.record.fields import Held, held, leads
from followup.clinical.record.patient import EyeHistory

OTHER: Mapping[Eye, Eye] = {"right": "left", "left": "right"}


@dataclass(frozen=True)
class EyeContext:
    """An eye under follow-up: its latest operation, and the record around it.

    ``as_of`` is the day the plan is made for; later reviews in the record are not looked at. ``roles``
    are what the medicines of the formulary are for, ``recent_days`` how long the protocol lets an earlier
    operation on the eye count.
    """

    record: Record
    index: int
    as_of: date
    roles: Mapping[str, MedicineRole] = field(default_factory=dict, compare=False, repr=False)
    recent_days: int = 0

    @property
    def operation(self) -> Operation:
        return self.record.operations[self.index]

    @property
    def eye(self) -> Eye:
        return self.operation.eye

    @property
    def history(self) -> EyeHistory:
        return history_of(self.record, self.eye)

    @property
    def day0(self) -> date:
        return self.operation.date

    @property
    def reviews(self) -> tuple[Findings, ...]:
        """This eye's reviews since its operation, oldest first, up to the as-of day."""
        mine = (r for r in self.record.reviews if r.eye == self.eye and self.day0 <= r.date <= self.as_of)
        return tuple(sorted(mine, key=lambda r: (r.date, r.time or "")))

    def value(self, path: str) -> Any:
        """What the record says at ``path`` (``eye.glaucoma``, ``operation.cut_mm``...); None if nothing."""
        root, _, rest = path.partition(".")
        if root == "derived":
            return _DERIVED[rest].of(self)
        found: Any = {
            "patient": self.record.patient,
            "eye": self.history,
            "other_eye": history_of(self.record, OTHER[self.eye]),
            "operation": self.operation,
        }[root]
        for name in rest.split("."):
            if found is None:
                return None
            found = getattr(found, name)
        return found

    def fields(self, path: str) -> tuple[str, ...]:
        """The same path as fields of the record, as a reader of the file would name them."""
        root, _, rest = path.partition(".")
        if root == "derived":
            return tuple(f for p in _DERIVED[rest].paths for f in self.fields(p))
        if root in ("reviews", "in_use"):
            return (path,)
        home = {
            "patient": "patient",
            "eye": f"patient.eyes.{self.eye}",
            "other_eye": f"patient.eyes.{OTHER[self.eye]}",
            "operation": f"operations.{self.index}",
        }[root]
        return (f"{home}.{rest}",)


@dataclass(frozen=True)
class Derived:
    """A value worked out from fields: the fields it came from, how, and the types it can have."""

    paths: tuple[str, ...]
    of: Any
    kinds: tuple[Any, ...] = (int,)


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
        values = [getattr(review, name) for review in context.reviews if review.date > context.day0]
        seen = [value for value in values if value not in UNSEEN]
        return seen[-1] if seen else None

    return Derived((f"reviews.{name}",), of, held(f"reviews.{name}").kinds)


def _ever(name: str, *bad: str) -> Derived:
    """The worst that a look since surgery saw, else what the last one saw."""

    def of(context: EyeContext) -> Any:
        values = [getattr(review, name) for review in context.reviews]
        seen = [value for value in values if value not in UNSEEN]
        return next((value for value in seen if value in bad), seen[-1] if seen else None)

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
}


def known_path(path: str) -> bool:
    """Whether ``path`` leads somewhere in the record, whatever a record says there."""
    root, _, rest = path.partition(".")
    return rest in _DERIVED if root == "derived" else leads(path)


def held_at(path: str) -> Held:
    """What the field at a known ``path`` can hold."""
    root, _, rest = path.partition(".")
    return Held(_DERIVED[rest].kinds) if root == "derived" else held(path)
