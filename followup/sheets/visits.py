"""The visits on the sheet: weekday, day and month in words, each with its reason."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.careplan import BeforeLeaving, Trip
from followup.clinical.record import Eye
from followup.sheets.inputs import SheetInputs, once
from followup.sheets.model import SheetSection, SheetVisit
from followup.sheets.wording import BEFORE_LEAVING, REASONS

# The pupil is widened then, and nobody may drive home: it must not be missed among other reasons.
_FIRST = "retina"
# Why a look is there where the eye has no steroid drops: the usual reason would speak of them.
_WITHOUT_STEROID = {"pressure": "pressure-alone", "taper-end": "calm"}


def next_visit(inputs: SheetInputs) -> SheetVisit | None:
    """The visit that comes next, with all its reasons; None where none is to come."""
    return next((_visit(inputs, trip) for trip in inputs.plan.to_come(inputs.printed_on)), None)


def _visit(inputs: SheetInputs, trip: Trip) -> SheetVisit:
    return SheetVisit(
        day=when(inputs, trip),
        reasons=reasons(inputs, trip),
        notes=tuple(place(inputs, trip)),
        native=inputs.native_day(trip.date),
    )


def when(inputs: SheetInputs, trip: Trip) -> str:
    """The day of a visit, with its hour where one was given."""
    day = inputs.opening_day(trip.date)
    if trip.hour is None:
        return day
    # Translators: the day of a visit, then its hour.
    return inputs.words.gettext("%(day)s, at %(time)s") % {"day": day, "time": inputs.hour(trip.hour)}


def reasons(inputs: SheetInputs, trip: Trip) -> tuple[str, ...]:
    """Why the patient comes, in a few words each, with the eye where both were operated."""
    return once(_with_eye(inputs, eye, reason) for eye, reason in whys(inputs, trip))


def whys(inputs: SheetInputs, trip: Trip) -> tuple[tuple[Eye | None, str], ...]:
    """Why the patient comes, each with its eye; what the patient must prepare for comes first."""
    needs = {need.key: need for need in inputs.plan.needs}
    served = [needs[key] for key in trip.serves if key in needs]
    served.sort(key=lambda need: need.kind != _FIRST)
    known = [need for need in served if need.kind in REASONS] or served
    found = [(need.eye, _reason(inputs, need.kind, need.eye)) for need in known]
    return tuple(dict.fromkeys(found or _between(inputs, trip)))


def _reason(inputs: SheetInputs, kind: str, eye: Eye | None) -> str:
    if kind in _WITHOUT_STEROID and not _has_steroid_drops(inputs, eye):
        kind = _WITHOUT_STEROID[kind]
    return inputs.say(REASONS.get(kind, REASONS["other"]))


def _with_eye(inputs: SheetInputs, eye: Eye | None, reason: str) -> str:
    if eye is None or len(inputs.eyes) < 2:
        return reason
    # Translators: which eye a visit is for, where both eyes were operated, then the reason.
    return inputs.words.gettext("%(eye)s: %(reason)s") % {"eye": inputs.eye(eye), "reason": reason}


def _has_steroid_drops(inputs: SheetInputs, eye: Eye | None) -> bool:
    """Whether the plan gives this eye a steroid drop, over or not: a look after its end is because of it."""
    courses = (c for c in inputs.plan.courses if c.role == "steroid" and c.state in ("active", "held"))
    return any(c.eye is not None and eye in (None, c.eye) for c in courses)


def _between(inputs: SheetInputs, trip: Trip) -> list[tuple[Eye | None, str]]:
    """Why a visit that serves no need is there: no stretch between two looks may grow too long.

    The rules at work on the visit have its reasons; a plan of before they were kept has all of them.
    """
    gaps = [gap for gap in inputs.plan.gaps if set(gap.reasons) & set(trip.reasons)] or inputs.plan.gaps
    found: list[tuple[Eye | None, str]] = [(gap.eye, _reason(inputs, gap.look, gap.eye)) for gap in gaps]
    return found or [(None, inputs.say(REASONS["other"]))]


def place(inputs: SheetInputs, trip: Trip) -> Iterator[str]:
    """Where and when, where that is not the clinic as for every other visit."""
    if trip.place is None:
        return
    place = {"place": inputs.name(trip.place)}
    if trip.hours is None:
        # Translators: a visit that is not at the clinic as usual; the place as the clinic wrote it.
        yield inputs.words.gettext("You are seen at: %(place)s.") % place
        return
    opens, closes = (inputs.hour(clock) for clock in trip.hours)
    # Translators: the same, with the hours between which the patient comes.
    yield inputs.words.gettext("You are seen at: %(place)s. Come between %(opens)s and %(closes)s.") % {
        **place,
        "opens": opens,
        "closes": closes,
    }


def before_leaving(inputs: SheetInputs) -> SheetSection | None:
    """Checks in the hours after the operation; they matter on that day only."""
    _ = inputs.words.gettext
    today = {o.eye for o in inputs.record.operations if o.date >= inputs.printed_on}
    lines = once(_check(inputs, check) for check in inputs.plan.before_leaving if check.eye in today)
    if not lines:
        return None
    return SheetSection(heading=_("Today, before you leave"), lines=lines)


def _check(inputs: SheetInputs, check: BeforeLeaving) -> str:
    _ = inputs.words.gettext
    text = inputs.say(BEFORE_LEAVING.get(check.kind, BEFORE_LEAVING["other"]))
    if check.earliest and check.latest:
        # Translators: a check before going home, then the hours between which it is done.
        return _("%(check)s Be there between %(earliest)s and %(latest)s.") % {
            "check": text,
            "earliest": inputs.hour(check.earliest),
            "latest": inputs.hour(check.latest),
        }
    return text
