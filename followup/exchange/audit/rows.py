"""What the audit reads of a record and of a visit: a row an operation, a row a visit, no name in either."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, Findings, Operation, Record
from followup.clinical.record.eye import history_of, last_seen


@dataclass(frozen=True)
class SeenVision:
    """Vision as it was written: as presented, through a pinhole, with best glasses; None: not measured."""

    presented: str | None
    pinhole: str | None
    best: str | None = None


@dataclass(frozen=True)
class AuditedOperation:
    """One operation with what was seen until the next one on that eye; None: nobody wrote it down.

    ``early`` and ``final``: before and from the protocol's day of final vision on. ``target``: dioptres.
    ``pressures``: mmHg with the day after surgery. ``white_level`` and
    ``infection``: days after surgery with and without one.
    """

    day: date
    eye: Eye
    surgeon: str
    events: dict[str, bool | None]
    before: SeenVision
    early: SeenVision
    final: SeenVision
    refraction: str | None
    target: float | None
    pressure_before: float | None
    pressures: tuple[float, ...]
    macula: bool | None
    white_level: tuple[tuple[int, bool], ...]
    infection: tuple[tuple[int, bool], ...]


@dataclass(frozen=True)
class AuditedRecord:
    """What the audit reads of one record. ``hours``: one way to the clinic."""

    operations: tuple[AuditedOperation, ...]
    language: str | None
    hours: float | None

    def surgeon_on(self, day: date) -> str:
        """Who did the latest operation up to ``day``; empty where nobody wrote it down."""
        done = [one for one in self.operations if one.day <= day]
        return max(done, key=lambda one: one.day).surgeon if done else ""


@dataclass(frozen=True)
class AuditedVisit:
    """A visit whose last day has passed, with whatever it is grouped by."""

    result: Literal["in time", "late", "never"]
    last: date
    surgeon: str = ""
    hours: float | None = None
    language: str | None = None


EVENTS = ("capsule torn", "vitreous lost", "lens in the vitreous", "iris torn", "wound burn", "halted")


def audited(record: Record, protocol: Protocol) -> AuditedRecord:
    """Each operation of the record with what was seen after it."""
    return AuditedRecord(
        tuple(_operation(record, one, protocol.early_vision.days) for one in record.operations),
        record.patient.language,
        record.patient.travel.hours,
    )


def _operation(record: Record, done: Operation, final_from: int) -> AuditedOperation:
    looks = record.looks_after(done)
    past = history_of(record, done.eye)
    days = [(look, (look.date - done.date).days) for look in looks]
    return AuditedOperation(
        day=done.date,
        eye=done.eye,
        surgeon=(done.surgeon or "").strip(),
        events=dict(zip(EVENTS, _events(done), strict=True)),
        before=SeenVision(past.vision_before, None),
        early=_vision([look for look, day in days if day < final_from]),
        final=_vision([look for look, day in days if day >= final_from]),
        refraction=last_seen(look.refraction for look in looks),
        target=done.target_refraction,
        pressure_before=past.pressure_before,
        pressures=tuple(look.pressure for look in looks if isinstance(look.pressure, float)),
        macula=_oedema({look.macula for look in looks}),
        white_level=tuple(
            (day, look.hypopyon == "yes") for look, day in days if look.hypopyon in ("yes", "no")
        ),
        infection=tuple((day, told) for look, day in days if (told := _infection(look)) is not None),
    )


def _infection(look: Findings) -> bool | None:
    """Whether the eye was treated for one; a look that saw no white level, and says nothing, saw none."""
    if look.infection_treated is not None:
        return look.infection_treated
    return False if look.hypopyon == "no" else None


def _oedema(seen: set[str | None]) -> bool | None:
    """Whether any look saw fluid; None where none saw the macula."""
    return "oedema" in seen if seen & {"oedema", "dry"} else None


def _events(done: Operation) -> tuple[bool | None, ...]:
    torn = False if done.capsule_torn is None and done.capsule_whole else done.capsule_torn
    dropped = None if done.lens_left is None else done.lens_left == "vitreous"
    return torn, done.vitreous_lost, dropped, done.iris_torn, done.wound_burn, done.halted


def _vision(looks: list[Findings]) -> SeenVision:
    return SeenVision(
        last_seen(look.vision for look in looks),
        last_seen(look.pinhole for look in looks),
        last_seen(look.best_corrected for look in looks),
    )
