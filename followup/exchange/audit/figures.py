"""The figures of the audit, counted over rows of operations and visits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import mean, median
from typing import Literal

from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import Response
from followup.clinical.record.vision import spherical_equivalent
from followup.exchange.audit.acuity import log_mar
from followup.exchange.audit.definitions import AuditDefinitions
from followup.exchange.audit.masking import MaskedCell, masked_line, masked_table
from followup.exchange.audit.rows import EVENTS, AuditedOperation, AuditedVisit, SeenVision
from followup.exchange.audit.shares import AuditShare, of_cells, share

When = Literal["before", "early", "final"]
WHENS: tuple[When, ...] = ("before", "early", "final")
How = Literal["presented", "pinhole", "best"]
HOWS: tuple[How, ...] = ("presented", "pinhole", "best")
BANDS = ("good", "borderline", "poor")
STEPS = ("in time", "late", "never")
GROUPS = ("surgeon", "month", "distance", "language")
Group = str | date | tuple[float, float | None] | None
"""A surgeon, the first day of a month, hours from and to, the tag of a language; None: not written down."""


@dataclass(frozen=True)
class VisionLine:
    """The vision of a time, as presented, through a pinhole or with best glasses. ``bands``: good,
    borderline, poor, and how many were measured. ``log_mar``: its median, of ``with_log_mar`` eyes; None of
    few. The other two are None where they would tell how many were measured."""

    when: When
    how: How
    bands: tuple[MaskedCell, ...]
    good: AuditShare
    not_understood: int | None
    not_measured: int | None
    with_log_mar: MaskedCell
    log_mar: float | None


@dataclass(frozen=True)
class NamedShare:
    """A share and what it is of: an event, or a finding after surgery."""

    name: str
    share: AuditShare


@dataclass(frozen=True)
class FunnelLine:
    """Visits of one group: seen in time, late, not seen, and all that were booked."""

    group: Group
    cells: tuple[MaskedCell, ...]
    in_time: AuditShare


@dataclass(frozen=True)
class Audit:
    """The outcome audit of operations from ``begin`` to ``end``, both included, as it stood on ``today``.

    ``young``: operations too recent for a final vision. ``gain``: median change of the logMAR of eyes seen
    before and finally, below nought where they see more; ``refraction``: eyes by how far their spherical
    equivalent lies from the target, up to each limit and beyond; ``refraction_within``: up
    to each further limit in all; ``refraction_error``, ``refraction_mean`` and ``refraction_off``: median and
    mean of what it is more than the target, and mean of how far it lies from it. ``funnel``: by ``GROUPS``.
    """

    begin: date
    end: date
    today: date
    operations: MaskedCell
    young: MaskedCell
    vision: tuple[VisionLine, ...]
    pairs: MaskedCell
    gain: float | None
    events: tuple[NamedShare, ...]
    later: tuple[NamedShare, ...]
    refraction: tuple[AuditShare, ...]
    refraction_entered: MaskedCell
    refraction_within: tuple[AuditShare, ...]
    refraction_error: float | None
    refraction_mean: float | None
    refraction_off: float | None
    all_visits: FunnelLine
    funnel: dict[str, tuple[FunnelLine, ...]]


@dataclass(frozen=True)
class _Counting:
    """The rules that the rows are counted by."""

    protocol: Protocol
    definitions: AuditDefinitions
    operations: MaskedCell

    def share_of(self, name: str, answers: Iterable[bool | None]) -> NamedShare:
        told = Counter(answers)
        missing = None if self.operations.why else told[None]
        return NamedShare(name, share(told[True], told[True] + told[False], missing, self.definitions))

    def median_of(self, values: Sequence[float]) -> float | None:
        return median(values) if len(values) >= self.definitions.few else None

    def mean_of(self, values: Sequence[float]) -> float | None:
        return mean(values) if len(values) >= self.definitions.few else None


def audit(
    operations: Sequence[AuditedOperation],
    visits: Sequence[AuditedVisit],
    span: tuple[date, date],
    today: date,
    protocol: Protocol,
    definitions: AuditDefinitions,
) -> Audit:
    """Count the rows of a span; ``protocol`` gives the bands, the day of final vision and what a rise is."""
    few = definitions.few
    by = _Counting(protocol, definitions, _alone(len(operations), few))
    young = sum((today - one.day).days < protocol.early_vision.days for one in operations)
    pairs = _pairs(operations, definitions)
    errors = _errors(operations)
    booked = masked_line(_steps(visits), few)
    return Audit(
        begin=span[0],
        end=span[1],
        today=today,
        operations=by.operations,
        young=_alone(young, few),
        vision=tuple(
            _vision(operations, when, how, by) for when in WHENS for how in HOWS if _told(when, how)
        ),
        pairs=_alone(len(pairs), few),
        gain=by.median_of(pairs),
        events=tuple(by.share_of(name, (one.events[name] for one in operations)) for name in EVENTS),
        later=_later(operations, by),
        refraction=_refraction(errors, definitions),
        refraction_within=_within(_refraction(errors, definitions), definitions),
        refraction_entered=_alone(sum(bool(one.refraction) for one in operations), few),
        refraction_error=by.median_of(errors),
        refraction_mean=by.mean_of(errors),
        refraction_off=by.mean_of([abs(error) for error in errors]),
        all_visits=_funnel_line(None, booked, definitions),
        funnel={name: _funnel(visits, _KEYS[name](definitions), booked, definitions) for name in GROUPS},
    )


def _told(when: When, how: How) -> bool:
    """The record has one vision before surgery."""
    return how == "presented" or when != "before"


def _alone(count: int, few: int) -> MaskedCell:
    return MaskedCell(None, "few") if 0 < count < few else MaskedCell(count)


def _vision(operations: Sequence[AuditedOperation], when: When, how: How, by: _Counting) -> VisionLine:
    seen: list[SeenVision] = [getattr(one, when) for one in operations]
    written = [text for one in seen if (text := getattr(one, how))]
    found = Counter(by.protocol.vision_bands.band(text) for text in written)
    bands = masked_line([found["good"], found["borderline"], found["poor"]], by.definitions.few)
    measured = [value for text in written if (value := log_mar(text, by.definitions)) is not None]
    tells = bool(bands[-1].why or by.operations.why)
    return VisionLine(
        when,
        how,
        bands,
        of_cells(bands[0], bands[-1], None, by.definitions),
        not_understood=None if tells else found[None],
        not_measured=None if tells else len(operations) - len(written),
        with_log_mar=share(len(measured), len(written) - found[None], None, by.definitions).count,
        log_mar=by.median_of(measured),
    )


def _pairs(operations: Iterable[AuditedOperation], definitions: AuditDefinitions) -> list[float]:
    """By how much the logMAR of each eye changed that was measured before and finally, as presented."""
    both = (
        (log_mar(one.before.presented, definitions), log_mar(one.final.presented, definitions))
        for one in operations
        if one.before.presented and one.final.presented
    )
    return [after - before for before, after in both if before is not None and after is not None]


def _errors(operations: Iterable[AuditedOperation]) -> list[float]:
    """By how many dioptres each eye came out above its target; without either it is not counted."""
    found = ((spherical_equivalent(one.refraction or ""), one.target) for one in operations)
    # To a hundredth, as lenses are told: sums of decimal fractions lie a little beside a limit.
    return [round(power - aim, 2) for power, aim in found if power is not None and aim is not None]


def _refraction(errors: Iterable[float], definitions: AuditDefinitions) -> tuple[AuditShare, ...]:
    far = Counter(sum(abs(error) > limit for limit in definitions.within) for error in errors)
    cells = masked_line([far[i] for i in range(len(definitions.within) + 1)], definitions.few)
    return tuple(of_cells(cell, cells[-1], None, definitions) for cell in cells[:-1])


def _within(bands: Sequence[AuditShare], definitions: AuditDefinitions) -> tuple[AuditShare, ...]:
    """Each further limit in all, added up from what is shown alone: so it tells nothing more."""
    found = []
    for last in range(2, len(bands)):
        shown = [one.count.count for one in bands[:last]]
        open_ones = [count for count in shown if count is not None]
        all_shown = len(open_ones) == len(shown)
        cell = MaskedCell(sum(open_ones)) if all_shown else MaskedCell(None, "withheld")
        found.append(of_cells(cell, bands[0].of, None, definitions))
    return tuple(found)


def _later(operations: Sequence[AuditedOperation], by: _Counting) -> tuple[NamedShare, ...]:
    rise, day = by.protocol.review.settings.response, by.definitions.late_from_day
    return (
        by.share_of("pressure rise", (_risen(one, rise) for one in operations)),
        by.share_of("macular oedema", (one.macula for one in operations)),
        by.share_of("white level early", (_any(one.white_level, lambda on: on < day) for one in operations)),
        by.share_of("white level late", (_any(one.white_level, lambda on: on >= day) for one in operations)),
        by.share_of("infection early", (_any(one.infection, lambda on: on < day) for one in operations)),
        by.share_of("infection late", (_any(one.infection, lambda on: on >= day) for one in operations)),
    )


def _risen(one: AuditedOperation, rule: Response) -> bool | None:
    """Whether the highest pressure after surgery is a rise; None where before or after it is unknown."""
    if one.pressure_before is None or not one.pressures:
        return None
    highest = max(one.pressures)
    return highest >= rule.pressure and highest - one.pressure_before >= rule.rise


def _any(seen_on: Iterable[tuple[int, bool]], within: Callable[[int], bool]) -> bool | None:
    seen = [there for day, there in seen_on if within(day)]
    return any(seen) if seen else None


def _steps(visits: Iterable[AuditedVisit]) -> list[int]:
    found = Counter(one.result for one in visits)
    return [found["in time"], found["late"], found["never"]]


def _funnel_line(group: Group, cells: tuple[MaskedCell, ...], definitions: AuditDefinitions) -> FunnelLine:
    return FunnelLine(group, cells, of_cells(cells[0], cells[-1], None, definitions))


def _funnel(
    visits: Iterable[AuditedVisit],
    key: Callable[[AuditedVisit], Group],
    total: tuple[MaskedCell, ...],
    definitions: AuditDefinitions,
) -> tuple[FunnelLine, ...]:
    grouped: dict[Group, list[AuditedVisit]] = {}
    for one in visits:
        grouped.setdefault(key(one), []).append(one)
    # What nobody wrote down stands last.
    names = sorted(
        grouped, key=lambda name: (name is None, name[0] if isinstance(name, tuple) else str(name))
    )
    rows = masked_table([_steps(grouped[name]) for name in names], total, definitions.few)
    return tuple(_funnel_line(name, row, definitions) for name, row in zip(names, rows, strict=True))


def _surgeon(_definitions: AuditDefinitions) -> Callable[[AuditedVisit], Group]:
    return lambda one: one.surgeon or None


def _month(_definitions: AuditDefinitions) -> Callable[[AuditedVisit], Group]:
    return lambda one: one.last.replace(day=1)


def _distance(definitions: AuditDefinitions) -> Callable[[AuditedVisit], Group]:
    edges = (0.0, *definitions.hours, None)

    def band(one: AuditedVisit) -> Group:
        if one.hours is None:
            return None
        number = sum(one.hours > edge for edge in definitions.hours)
        return (edges[number] or 0.0, edges[number + 1])

    return band


def _language(_definitions: AuditDefinitions) -> Callable[[AuditedVisit], Group]:
    return lambda one: one.language


_KEYS: dict[str, Callable[[AuditDefinitions], Callable[[AuditedVisit], Group]]] = {
    "surgeon": _surgeon,
    "month": _month,
    "distance": _distance,
    "language": _language,
}
