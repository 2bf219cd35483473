"""The audit in words: tables, what stands behind each figure, and what it can't say."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from followup.clinical.protocol.protocol import Protocol
from followup.exchange.audit.acuity import decimal, log_mar, snellen
from followup.exchange.audit.definitions import AuditDefinitions
from followup.exchange.audit.figures import (
    GROUPS,
    Audit,
    FunnelLine,
    Group,
    How,
    NamedShare,
    VisionLine,
    When,
)
from followup.exchange.audit.masking import MaskedCell
from followup.exchange.audit.shares import AuditShare
from followup.language.languages import known
from followup.said import Cited, Day, Said, say

NOTATIONS = ("6/6", "6/12", "6/18", "6/60", "3/60", "counting fingers", "hand movements")
WITHHELD = Cited("–")
# Translators: first cells of the rows of the audit: what happened at surgery or was found after it.
NAMES = {
    "capsule torn": say("Capsule torn"),
    "vitreous lost": say("Vitreous lost"),
    "lens in the vitreous": say("Piece of lens in the vitreous"),
    "iris torn": say("Iris torn"),
    "wound burn": say("Wound burn"),
    "halted": say("Stopped before its end"),
    "pressure rise": say("Rise of the pressure"),
    "macular oedema": say("Macular oedema"),
    "white level early": say("White level in the chamber, early"),
    "white level late": say("White level in the chamber, late"),
    "infection early": say("Treated as an infection inside the eye, early"),
    "infection late": say("Treated as an infection inside the eye, late"),
    "counting fingers": say("counting fingers"),
    "hand movements": say("hand movements"),
}
LIMITS, CONVENTIONS = say("What this audit can't say"), say("How it was counted")
_GROUPED = {
    "surgeon": say("Surgeon"),
    "month": say("Month"),
    "distance": say("Way to the clinic"),
    "language": say("Language of the sheet"),
}


@dataclass(frozen=True)
class AuditLine:
    """A row: its head, which a month may be, its cells, and the share that is drawn at its end."""

    head: str | date
    cells: tuple[Said, ...]
    drawn: AuditShare | None = None


@dataclass(frozen=True)
class AuditTable:
    """A table of the audit. ``heads`` are of all its columns, that of the lines first."""

    title: Said
    heads: tuple[Said, ...]
    lines: tuple[AuditLine, ...]
    note: str = ""


@dataclass(frozen=True)
class AuditDocument:
    """Everything that page and paper show, in order."""

    title: Said
    span: Said
    tables: tuple[AuditTable, ...]
    conventions: tuple[Said, ...]
    limits: tuple[Said, ...]


def document(found: Audit, protocol: Protocol, definitions: AuditDefinitions) -> AuditDocument:
    """The audit in words."""
    few = definitions.few
    return AuditDocument(
        title=say("Outcome audit"),
        span=say(
            "Operations and visits from {begin} to {end}, as it stood on {today}",
            begin=Day.of(found.begin),
            end=Day.of(found.end),
            today=Day.of(found.today),
        ),
        tables=(
            _vision(found, protocol, few),
            _shares(say("At surgery"), found.events, few),
            _shares(say("After surgery"), found.later, few),
            _refraction(found, definitions),
            *(_funnel(found, name, few) for name in GROUPS),
            _notations(definitions),
        ),
        conventions=tuple(_conventions(protocol, definitions)),
        limits=tuple(_limits(found, protocol, few)),
    )


def cell(count: MaskedCell, few: int) -> Said:
    """A count as it is printed; like every figure it keeps its order among words from right to left.

    >>> cell(MaskedCell(12), 10), cell(MaskedCell(None, "few"), 10), cell(MaskedCell(None, "withheld"), 10)
    ('12', '<10', '–')
    """
    if count.count is not None:
        return Cited(count.count)
    return Cited(f"<{few}") if count.why == "few" else WITHHELD


def percentage(one: AuditShare) -> Said:
    """ "85.3 % (80.1–89.4)", or as much of it as may be told."""
    if one.percent is not None:
        return Cited(f"{one.percent:.1f} % ({one.low:.1f}–{one.high:.1f})")
    return say("under {percent} %", percent=f"{one.most:.1f}") if one.most is not None else WITHHELD


def _missing(count: int | None) -> Said:
    return WITHHELD if count is None else Cited(count)


def _vision(found: Audit, protocol: Protocol, few: int) -> AuditTable:
    heads = (
        say("Vision"),
        say("Measured"),
        say("Good"),
        say("Borderline"),
        say("Poor"),
        say("Good, of 100"),
        say("Median logMAR"),
        say("Not understood"),
        say("Not measured"),
    )
    day = protocol.early_vision.days
    lines = tuple(_vision_line(line, day, few) for line in found.vision)
    note = ""
    if found.gain is not None:
        note = say(
            "Median change of {count} eyes measured before surgery and finally: {change} logMAR; below "
            "nought they see more.",
            count=cell(found.pairs, few),
            change=Cited(f"{found.gain:+.2f}"),
        )
    return AuditTable(say("Vision before and after surgery"), heads, lines, note)


def _vision_line(line: VisionLine, day: int, few: int) -> AuditLine:
    *bands, measured = (cell(one, few) for one in line.bands)
    value = line.log_mar
    told = WITHHELD
    if value is not None:
        told = Cited(f"{value:.2f} ({snellen(value, 6)} · {snellen(value, 20)} · {decimal(value)})")
    rest = (_missing(line.not_understood), _missing(line.not_measured))
    cells = (measured, *bands, percentage(line.good), told, *rest)
    return AuditLine(_time(line.when, line.how, day), cells, line.good)


def _time(when: When, how: How, day: int) -> Said:
    if when == "before":
        return say("before surgery")
    if when == "early":
        if how == "presented":
            return say("before day {day}, as presented", day=day)
        if how == "best":
            return say("before day {day}, with best glasses", day=day)
        return say("before day {day}, through a pinhole", day=day)
    if how == "presented":
        return say("from day {day} on, as presented", day=day)
    if how == "best":
        return say("from day {day} on, with best glasses", day=day)
    return say("from day {day} on, through a pinhole", day=day)


def _shares(title: Said, shares: Iterable[NamedShare], few: int) -> AuditTable:
    heads = (title, say("Recorded"), say("Yes"), say("Of 100"), say("Not recorded"))
    lines = tuple(
        AuditLine(
            NAMES[one.name],
            (
                cell(one.share.of, few),
                cell(one.share.count, few),
                percentage(one.share),
                _missing(one.share.missing),
            ),
            one.share,
        )
        for one in shares
    )
    return AuditTable(title, heads, lines)


def _refraction(found: Audit, definitions: AuditDefinitions) -> AuditTable:
    few, limits = definitions.few, [f"{far:g}" for far in definitions.within]
    names = [say("up to {far} D", far=limits[0])]
    names += [say("over {low} to {far} D", low=low, far=far) for low, far in pairwise(limits)]
    names.append(say("over {low} D", low=limits[-1]))
    names += [say("up to {far} D in all", far=far) for far in limits[1:]]
    lines = tuple(
        AuditLine(name, (cell(one.of, few), cell(one.count, few), percentage(one)), one)
        for name, one in zip(names, (*found.refraction, *found.refraction_within), strict=True)
    )
    heads = (say("Distance from the target"), say("With a target"), say("Eyes"), say("Of 100"))
    written = cell(found.refraction_entered, few)
    note = say("{count} refractions were written down after surgery.", count=written)
    errors = (found.refraction_error, found.refraction_mean, found.refraction_off)
    middle, average, off = ("" if one is None else f"{one:+.2f}" for one in errors)
    if middle:
        note = say(
            "{count} refractions were written down after surgery. Median error {middle} D, mean error "
            "{average} D, mean distance {off} D.",
            count=written,
            middle=Cited(middle),
            average=Cited(average),
            off=Cited(off.removeprefix("+")),
        )
    return AuditTable(say("Refraction"), heads, lines, note)


def _funnel(found: Audit, name: str, few: int) -> AuditTable:
    heads = (
        _GROUPED[name],
        say("Booked"),
        say("In the window"),
        say("Late"),
        say("Lost"),
        say("In the window, of 100"),
    )
    lines = [_funnel_line(line, name, few) for line in found.funnel[name]]
    lines.append(_funnel_line(found.all_visits, "", few))
    titles = {
        "surgeon": say("Visits by surgeon"),
        "month": say("Visits by the month of their last day"),
        "distance": say("Visits by the way to the clinic"),
        "language": say("Visits by the language of the sheet"),
    }
    return AuditTable(titles[name], heads, tuple(lines))


def _funnel_line(line: FunnelLine, of: str, few: int) -> AuditLine:
    *steps, booked = (cell(one, few) for one in line.cells)
    head = group_words(line.group, of) if of else say("All")
    return AuditLine(head, (booked, *steps, percentage(line.in_time)), line.in_time)


def group_words(group: Group, of: str) -> str | date:
    """A group as it is called: a surgeon by name, a month by its first day."""
    if group is None:
        return say("not recorded")
    if isinstance(group, tuple):
        low, high = group
        if high is None:
            return say("over {low} hours", low=format(low, "g"))
        if not low:
            return say("up to {high} hours", high=format(high, "g"))
        return say("over {low} to {high} hours", low=format(low, "g"), high=format(high, "g"))
    if of == "language" and isinstance(group, str):
        spoken = known(group)
        return Cited(spoken.english if spoken else group)
    return Cited(group) if isinstance(group, str) else group


def _notations(definitions: AuditDefinitions) -> AuditTable:
    """The same acuity as each chart writes it."""
    values = [(text, log_mar(text, definitions)) for text in NOTATIONS]
    lines = tuple(
        AuditLine(
            NAMES.get(text, Cited(text)),
            tuple(map(Cited, (snellen(value, 6), snellen(value, 20), decimal(value), f"{value:.2f}"))),
        )
        for text, value in values
        if value is not None
    )
    heads = (say("As written"), say("6 metres"), say("20 feet"), say("Decimal"), say("logMAR"))
    return AuditTable(say("Notations of vision"), heads, lines)


def _conventions(protocol: Protocol, definitions: AuditDefinitions) -> Iterable[Said]:
    bands, sources = protocol.vision_bands, {name: Cited(text) for name, text in definitions.sources.items()}
    yield say(
        "Bands: good is {good} or better, borderline worse, to {borderline}, poor worse than that "
        "({source}).",
        good=Cited(bands.good),
        borderline=Cited(bands.borderline),
        source=Cited(bands.source),
    )
    yield say(
        "Early vision is the last one before day {day} after surgery, final vision the last one from then on "
        "({source}).",
        day=protocol.early_vision.days,
        source=Cited(protocol.early_vision.source),
    )
    yield say(
        "As presented: without a pinhole, with the glasses that the patient wears. Vision through a pinhole "
        "and with best glasses stands apart."
    )
    yield say(
        "The logMAR is minus the decimal logarithm of the acuity, letters more or fewer than a line not "
        "counted. Counting fingers is {fingers}, hand movements {hand} ({source}); light, seen or not, has "
        "none.",
        fingers=definitions.counting_fingers,
        hand=definitions.hand_movements,
        source=sources["low_vision"],
    )
    response = protocol.review.settings.response
    yield say(
        "Rise of the pressure: {pressure} mmHg or more, and {rise} more than before surgery, at any look "
        "({source}).",
        pressure=format(response.pressure, "g"),
        rise=format(response.rise, "g"),
        source=Cited(response.source),
    )
    yield say(
        "An infection inside the eye is one that it was treated for, proven or not. Where a look says "
        "nothing of it, having seen no white level counts as none. Late is from day {day} after surgery on "
        "({source}).",
        day=definitions.late_from_day,
        source=sources["infection"],
    )
    yield say(
        "Refraction is the last one written down after surgery, as its spherical equivalent: sphere and half "
        "of the cylinder. It is compared with what was aimed at; an eye without a target is not counted."
    )
    yield say(
        "For comparison, published standard: {near} of 100 up to {low} D from the target, {further} up to "
        "{high} D ({source}).",
        near=definitions.benchmark[0],
        low=format(definitions.within[0], "g"),
        further=definitions.benchmark[1],
        high=format(definitions.within[1], "g"),
        source=sources["refraction_benchmark"],
    )
    yield say(
        "A visit counts once its last day has passed: by the month of that day, and for the surgeon of the "
        "latest operation before it."
    )
    yield say(
        "Intervals in brackets hold {percent} of 100: Wilson's score method, without continuity correction "
        "({source}), computed by scipy.stats.binomtest.",
        percent=definitions.percent,
        source=sources["interval"],
    )
    yield say(
        "Fewer than {few} people are shown as {mark}; – is withheld, because a small number could be "
        "computed from it, or because there is nothing to tell. How much was not written down is not "
        "masked.",
        few=definitions.few,
        mark=Cited(f"<{definitions.few}"),
    )


def _limits(found: Audit, protocol: Protocol, few: int) -> Iterable[Said]:
    yield say(
        "Of {all} operations {young} are less than {day} days old: their final vision is still to come.",
        all=cell(found.operations, few),
        young=cell(found.young, few),
        day=protocol.early_vision.days,
    )
    yield say(
        "Only whoever came back was seen: eyes that do well and eyes that do badly may both stay away, so "
        "a share of those seen is no share of all."
    )
    yield say("Follow-up ends with the record: what happened later or elsewhere is not in it.")
    yield say("What nobody wrote down is missing, and never counts as good.")
    yield say(
        "Surgeons and groups had different patients: nothing is adjusted for that, and none is compared."
    )
    yield say("Two audits of overlapping days can be subtracted from each other: hand on one of them.")
