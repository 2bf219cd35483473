"""The operative record: one file is one patient, with all operations still followed up."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

from pydantic import Field, ValidationError, model_validator

from followup.clinical.record.ages import youngest
from followup.clinical.record.base import Eye, RecordPart
from followup.clinical.record.findings import Findings
from followup.clinical.record.history import InUse, TabletStep, TripRecord, VisitDecision
from followup.clinical.record.operation import Choices, Operation, SteroidGiven, Viscoelastic
from followup.clinical.record.patient import (
    Allergy,
    Conditions,
    DropGiver,
    EyeHistory,
    HerpeticKeratitis,
    Patient,
    Phone,
    Uveitis,
    WakingDay,
)
from followup.errors import FollowupError
from followup.said import say
from followup.validation import problem_words

__all__ = [
    "Allergy",
    "Choices",
    "Conditions",
    "DropGiver",
    "Eye",
    "EyeHistory",
    "Findings",
    "HerpeticKeratitis",
    "InUse",
    "Operation",
    "Patient",
    "Phone",
    "Record",
    "SteroidGiven",
    "TabletStep",
    "TripRecord",
    "Uveitis",
    "Viscoelastic",
    "VisitDecision",
    "WakingDay",
    "first_problem",
    "parse_findings",
    "parse_json_object",
    "parse_record",
]

MAX_BYTES = 1_000_000
OLDEST = 120
"""Years: nobody operated on is older, so a higher age is a slip of the pen."""


class Record(RecordPart):
    """Everything the plan is built from; the plan has no other source of facts."""

    patient: Patient
    operations: tuple[Operation, ...] = Field(min_length=1, max_length=8)
    in_use: tuple[InUse, ...] = Field(default=(), max_length=40)
    reviews: tuple[Findings, ...] = Field(default=(), max_length=400)
    trips: tuple[TripRecord, ...] = Field(default=(), max_length=200)
    decisions: tuple[VisitDecision, ...] = Field(default=(), max_length=60)

    @model_validator(mode="after")
    def _dates_are_possible(self) -> Record:
        born = self.patient.birth_date
        year = self.patient.birth_year
        for i, operation in enumerate(self.operations):
            if (born and operation.date < born) or (year and operation.date.year < year):
                raise ValueError(
                    say(
                        "operations.{number}.date lies before the birth of the patient; correct one", number=i
                    )
                )
            if youngest(born, year, operation.date) > OLDEST:
                raise ValueError(
                    say(
                        "the patient is over {oldest} on operations.{number}.date; correct the birth",
                        oldest=OLDEST,
                        number=i,
                    )
                )
            if operation.date.year < 1990:
                raise ValueError(say("operations.{number}.date is before 1990; correct the year", number=i))
        seen = {(operation.eye, operation.date) for operation in self.operations}
        if len(seen) != len(self.operations):
            raise ValueError(say("two operations have the same eye and date; keep one"))
        for eye, past in (("right", self.patient.eyes.right), ("left", self.patient.eyes.left)):
            _check_history(past, f"patient.eyes.{eye}", self._last_day_of(eye), born.year if born else year)
        for i, review in enumerate(self.reviews):
            days = [o.date for o in self.operations if o.eye == review.eye]
            if not days:
                raise ValueError(
                    say(
                        "reviews.{number}.eye is the {eye} eye, which was not operated; correct the eye",
                        number=i,
                        eye=review.eye,
                    )
                )
            if review.date < min(days):
                raise ValueError(
                    say("reviews.{number}.date lies before the operation; correct the date", number=i)
                )
        for i, trip in enumerate(self.trips):
            if trip.date < self.first_day - timedelta(days=1):
                raise ValueError(
                    say("trips.{number}.date lies before the first operation; correct the date", number=i)
                )
        return self

    @model_validator(mode="after")
    def _decisions_agree(self) -> Record:
        places: dict[date, str | None] = {}
        decided: set[tuple[str, date | None]] = set()
        for i, decision in enumerate(self.decisions):
            if (decision.need, decision.day) in decided:
                raise ValueError(
                    say(
                        "decisions.{number} decides {need} a second time; keep one",
                        number=i,
                        need=decision.need,
                    )
                )
            decided.add((decision.need, decision.day))
            if decision.day is None:
                continue
            if decision.day < self.first_day:
                raise ValueError(
                    say("decisions.{number}.day lies before the first operation; correct the date", number=i)
                )
            if places.setdefault(decision.day, decision.place) != decision.place:
                raise ValueError(
                    say("decisions.{number}: two places on one day; correct the day or the place", number=i)
                )
        return self

    def _last_day_of(self, eye: str) -> date:
        """The eye's latest operation; of an eye that was not operated, that of the other."""
        return max((o.date for o in self.operations if o.eye == eye), default=self.last_operation_day)

    def looks_after(self, operation: Operation) -> list[Findings]:
        """What was seen of that eye from the day after the operation to the day of the next one on it,
        oldest first."""
        mine = (o.date for o in self.operations if o.eye == operation.eye and o.date > operation.date)
        again = min(mine, default=date.max)
        seen = (r for r in self.reviews if r.eye == operation.eye and operation.date < r.date <= again)
        return sorted(seen, key=lambda look: (look.date, look.time or ""))

    @property
    def first_day(self) -> date:
        return min(operation.date for operation in self.operations)

    @property
    def last_operation_day(self) -> date:
        """The default as-of day of a plan."""
        return max(operation.date for operation in self.operations)


def _check_history(past: EyeHistory, place: str, operated: date, born: int | None) -> None:
    """Refuse what an eye can't have had before it was operated, or before the patient was born."""
    active = past.uveitis.last_active if past.uveitis else None
    if active is not None and active > operated:
        raise ValueError(
            say(
                "{place}.uveitis.last_active lies after the operation; correct it, or enter a review "
                "of that day",
                place=place,
            )
        )
    rise, herpes = past.rise_on_steroid, past.herpetic_keratitis
    years = {
        "uveitis.last_active": active.year if active else None,
        "rise_on_steroid.year": rise.year if rise else None,
        "herpetic_keratitis.year": herpes.year if herpes else None,
    }
    for field, year in years.items():
        if year is not None and year > operated.year:
            raise ValueError(
                say("{place}.{field} lies after the operation; correct it", place=place, field=field)
            )
    if active is not None and born is not None and active.year < born:
        raise ValueError(
            say("{place}.uveitis.last_active lies before the birth of the patient; correct it", place=place)
        )


def parse_json_object(text: str | bytes, source: str) -> dict[str, Any]:
    """The JSON object in ``text``, or one line that says where it breaks."""
    if len(text) > MAX_BYTES:
        raise FollowupError(
            "json.size",
            say("larger than {max_bytes} bytes", max_bytes=MAX_BYTES),
            where=source,
            fix=say("send one record only"),
        )
    try:
        data = json.loads(text, object_pairs_hook=_no_doubles)
    except (ValueError, RecursionError) as exc:
        raise FollowupError(
            "json.syntax", say("not valid JSON: {why}", why=exc), where=source, fix=say("correct the file")
        ) from None
    if not isinstance(data, dict):
        raise FollowupError(
            "json.object", say("not a JSON object"), where=source, fix=say("start the file with {")
        )
    return data


def parse_record(data: dict[str, Any], source: str = "record") -> Record:
    """A validated record, or a FollowupError that names the first bad field."""
    try:
        return Record.model_validate(data)
    except ValidationError as exc:
        raise first_problem(exc, source) from None


def parse_findings(data: dict[str, Any], source: str = "findings") -> Findings:
    """What one look saw, or a FollowupError that names the first bad field."""
    try:
        return Findings.model_validate(data)
    except ValidationError as exc:
        raise first_problem(exc, source) from None


def first_problem(exc: ValidationError, source: str) -> FollowupError:
    """The first validation problem as our one-line error."""
    found = exc.errors(include_url=False, include_input=False)
    # A list whose every entry is wrong is also said to be too short; only the entries need mending.
    inner = [p for p in found if not any(q["loc"][: len(p["loc"])] == p["loc"] != q["loc"] for q in found)]
    problem = inner[0]
    field = ".".join(str(part) for part in problem["loc"]) or "record"
    more = len(inner) - 1
    fix = f"correct this field (and {more} more)" if more else "correct this field"
    return FollowupError("record.field", problem_words(problem), where=f"{source}: {field}", fix=fix)


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        keys = [key for key, _ in pairs]
        double = next(key for key in keys if keys.count(key) > 1)
        raise ValueError(say('the key "{double}" stands twice', double=double[:60]))
    return found
