"""The audit as one flat table for programs, its own dictionary in it; English, one figure a row."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from datetime import date

from followup.cells import guarded
from followup.exchange.audit.definitions import AuditDefinitions
from followup.exchange.audit.document import AuditDocument, group_words
from followup.exchange.audit.figures import BANDS, GROUPS, STEPS, Audit, FunnelLine, Group, VisionLine
from followup.exchange.audit.masking import MaskedCell, Why
from followup.exchange.audit.shares import AuditShare


@dataclass(frozen=True)
class AuditRow:
    """One figure. What each column means says :func:`dictionary`."""

    table: str
    group: str
    measure: str
    count: int | None = None
    total: int | None = None
    percent: float | None = None
    low: float | None = None
    high: float | None = None
    value: float | None = None
    unit: str = ""
    masked: str = ""


def dictionary(definitions: AuditDefinitions) -> dict[str, str]:
    """What each column of the flat table means."""
    few, percent = definitions.few, definitions.percent
    return {
        "table": "what the row is about; in dictionary, conventions and limits words stand under measure",
        "group": "surgeon, month (YYYY-MM), way to the clinic, language; all: everybody; none: not recorded",
        "measure": "what is counted or measured",
        "count": "eyes, operations or visits of which it is so; empty where it is masked",
        "total": "eyes, operations or visits that were looked at; empty where it is masked",
        "percent": "100 times count through total",
        "low": f"lower end of the {percent} % interval in percent: Wilson's score, scipy.stats.binomtest",
        "high": "upper end of the same interval, in percent",
        "value": "a measured value, a median",
        "unit": "of the value: logMAR, or D for dioptres; of the span: the day",
        "masked": f"few: 1 to {few - 1}; withheld: one of few could be told by it; total: the whole is few",
    }


def flat(found: Audit, told: AuditDocument, definitions: AuditDefinitions) -> tuple[AuditRow, ...]:
    """Every figure of the audit, after its dictionary, its conventions and what it can't say."""
    return (*_words(told, definitions), *_figures(found))


def as_csv(rows: tuple[AuditRow, ...]) -> bytes:
    """The rows as CSV (RFC 4180), UTF-8."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([field.name for field in fields(AuditRow)])
    writer.writerows([_csv_cell(value) for value in asdict(row).values()] for row in rows)
    return text.getvalue().encode()


def _csv_cell(value: object) -> str:
    if value is None:
        return ""
    # A number below nought is no formula.
    return guarded(value) if isinstance(value, str) else str(value)


def _words(told: AuditDocument, definitions: AuditDefinitions) -> Iterator[AuditRow]:
    yield from (AuditRow("dictionary", name, words) for name, words in dictionary(definitions).items())
    yield from (AuditRow("conventions", "", str(words)) for words in told.conventions)
    yield from (AuditRow("limits", "", str(words)) for words in told.limits)


def _figures(found: Audit) -> Iterator[AuditRow]:
    yield AuditRow("span", "", "first day", unit=found.begin.isoformat())
    yield AuditRow("span", "", "last day", unit=found.end.isoformat())
    yield _counted("operations", "all", "operations", found.operations)
    for line in found.vision:
        yield from _vision(line)
    yield AuditRow(
        "vision", "all", "median change, final minus before", value=_rounded(found.gain), unit="logMAR"
    )
    for shares, table in ((found.events, "at surgery"), (found.later, "after surgery")):
        for one in shares:
            yield _share(table, "all", one.name, one.share)
            yield AuditRow(table, "all", f"{one.name}: not recorded", count=one.share.missing)
    yield _counted("refraction", "all", "written down", found.refraction_entered)
    for number, part in enumerate(found.refraction, 1):
        yield _share("refraction", "all", f"distance from the target, band {number}", part)
    for number, part in enumerate(found.refraction_within, 2):
        yield _share("refraction", "all", f"distance from the target, bands 1 to {number}", part)
    for name, value in (
        ("median error", found.refraction_error),
        ("mean error", found.refraction_mean),
        ("mean absolute error", found.refraction_off),
    ):
        yield AuditRow("refraction", "all", name, value=_rounded(value), unit="D")
    yield from _funnel("follow-up", "all", found.all_visits)
    for name in GROUPS:
        for funnel in found.funnel[name]:
            yield from _funnel(f"follow-up by {name}", _group(funnel.group, name), funnel)


def _vision(line: VisionLine) -> Iterator[AuditRow]:
    table = f"vision {line.when} {line.how}"
    yield _counted(table, "all", "measured", line.bands[-1])
    for band, count in zip(BANDS, line.bands, strict=False):
        yield _share(table, "all", band, line.good) if band == "good" else _counted(table, "all", band, count)
    yield AuditRow(table, "all", "not understood", count=line.not_understood)
    yield AuditRow(table, "all", "not measured", count=line.not_measured)
    yield AuditRow(table, "all", "median", value=_rounded(line.log_mar), unit="logMAR")


def _funnel(table: str, group: str, line: FunnelLine) -> Iterator[AuditRow]:
    *steps, booked = line.cells
    yield _counted(table, group, "booked", booked)
    yield _share(table, group, STEPS[0], line.in_time)
    for name, count in zip(STEPS[1:], steps[1:], strict=True):
        yield _counted(table, group, name, count)


def _counted(table: str, group: str, measure: str, count: MaskedCell) -> AuditRow:
    return AuditRow(table, group, measure, count=count.count, masked=count.why)


def _share(table: str, group: str, measure: str, one: AuditShare) -> AuditRow:
    masked: Why | str = one.count.why or ("total" if one.of.why else "")
    percent, low, high = map(_rounded, (one.percent, one.low, one.high))
    return AuditRow(table, group, measure, one.count.count, one.of.count, percent, low, high, masked=masked)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _group(group: Group, of: str) -> str:
    words = "none" if group is None else group_words(group, of)
    return f"{words:%Y-%m}" if isinstance(words, date) else str(words)
