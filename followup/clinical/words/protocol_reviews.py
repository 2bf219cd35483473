"""The rules for reviews in words, for the print of a protocol."""

from __future__ import annotations

from followup.clinical.english import listed, sentence, steps_words, window_words
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import (
    BeforeSteroid,
    Cell,
    Column,
    Flag,
    InflamedEyes,
    OfferRule,
    OtherFinding,
    PressureRow,
    ReviewRules,
    ReviewSettings,
    ToSee,
)
from followup.clinical.review.others import said
from followup.clinical.words.entry import ProtocolEntry, ProtocolSection, origin
from followup.said import fill

_COLUMNS: dict[Column, str] = {
    "quiet": "on steroid, healthy nerve, no cells",
    "inflamed": "cells or uveitis",
    "frail": "damaged nerve, only eye or vein occlusion",
}
_NUMBERS = "The numbers that reviews go by"


def review_sections(protocol: Protocol) -> tuple[ProtocolSection, ...]:
    rules = protocol.review
    return (
        ProtocolSection("Reviews: cells", _cells(protocol)),
        ProtocolSection(
            "Reviews: findings for a senior the same day", tuple(_flag(flag) for flag in rules.flag)
        ),
        ProtocolSection(
            "Reviews: pressure", (*(_row(row, rules) for row in rules.pressure), _offers(protocol))
        ),
        ProtocolSection("Reviews: other findings", tuple(_other(o, protocol) for o in rules.other)),
        ProtocolSection("Reviews: what a look must hold", tuple(_to_see(entry) for entry in rules.to_see)),
        ProtocolSection(
            "Reviews: asked before a proposal for the steroid",
            tuple(_before_steroid(entry) for entry in rules.before_steroid),
        ),
    )


def _cells(protocol: Protocol) -> tuple[ProtocolEntry, ...]:
    rules = protocol.review
    expected = [
        ProtocolEntry(
            f"Expected, {eye} eye",
            tuple(f"From day {r.from_day}: {r.cells} or fewer." for r in rules.expected if r.eye == eye),
        )
        for eye in ("quiet", "uveitic")
    ]
    return (
        *expected,
        ProtocolEntry(_NUMBERS, tuple(map(sentence, _numbers(rules.settings))), origin(rules.settings)),
        ProtocolEntry(
            "Steroid response", (sentence(_response(rules.settings)),), origin(rules.settings.response)
        ),
        ProtocolEntry(
            "Inflamed eyes, worst first",
            tuple(map(sentence, _inflamed(rules.inflamed))),
            origin(rules.inflamed),
        ),
        ProtocolEntry(
            "Responders", (sentence(_six_weeks(rules.settings)),), origin(rules.settings.six_weeks)
        ),
    )


def _inflamed(rules: InflamedEyes) -> tuple[str, ...]:
    return (
        f"the surgeon's list holds the last {rules.days} days; what is worse: {', then '.join(rules.worst)}",
        f"cells count from {rules.cells_from} on, flare from {rules.flare_from}; pus, fibrin and such flare "
        "are always listed, cells where they are more than expected",
    )


def _response(s: ReviewSettings) -> str:
    return (
        f"a steroid response is named from day {s.response_from_day} on, at {s.response.pressure:g} mmHg or "
        f"more and a rise of {s.response.rise:g} or more"
    )


def _six_weeks(s: ReviewSettings) -> str:
    test = s.six_weeks
    return (
        f"after {test.days} days of {test.medicine} {test.count} a day: low under {test.bands[0]:g} mmHg, "
        f"middle to {test.bands[1]:g}, high over it"
    )


def _numbers(s: ReviewSettings) -> tuple[str, ...]:
    return (
        f"from day {s.rise_from_day}, {s.rise_cells} or {s.rise_steps} steps up: at least "
        f"{s.least_count} a day for {s.least_days} days; on {s.least_count} or more: "
        f"{steps_words(s.hourly_then)}; seen again {window_words(s.see_again)}",
        f"then the later steps of taper {s.later_steps_uveitic} in a uveitic eye, of taper "
        f"{s.later_steps_other} in any other",
        f"{s.senior_cells} or more from day {s.senior_cells_from_day}, {s.senior_cells_any_day} on any day: "
        "senior the same day",
        f"over what is expected and not worse: the step is held {s.step_back_days} days; one step worse: "
        f"back one count for {s.step_back_days} days",
        f"{s.rebound_cells} after the taper, up to {s.rebound_days} days, or on its way down in an eye that "
        f"was quiet, and in a uveitic eye from day {s.rebound_uveitic_from_day} on: "
        f"{steps_words(s.rebound_steps)}",
        "drops that were stopped, ran out or were lost: what was ordered is started again, and the cells "
        "are read against no drops",
        f"without drops, {s.rescue_cells} or more: the rescue path at once",
        f"{s.persistent_cells} or more after day {s.persistent_after_quiet} (quiet), "
        f"{s.persistent_after_event} (event) or {s.persistent_after_uveitic} (uveitic): look for a cause",
        f"the shortest course is {s.shortest_quiet} days (quiet), {s.shortest_event} (event), "
        f"{s.shortest_uveitic} (uveitic); none in an eye that rises on steroid and has no cells",
        f"where another steroid is needed in an eye that rises on it: none above {s.responder_potency}",
        f"a pressure medicine that was added ends only with a look, {s.pressure_drop_last_look[0]} to "
        f"{s.pressure_drop_last_look[2]} days before its last day",
    )


def _flag(flag: Flag) -> ProtocolEntry:
    days = f" until day {flag.to_day}" if flag.to_day is not None else ""
    high = f", {flag.pressure_at_least:g} mmHg or more" if flag.pressure_at_least is not None else ""
    many = f", cells {flag.cells_at_least} or more" if flag.cells_at_least else ""
    days = (f" from day {flag.from_day}" if flag.from_day else "") + days
    seen = f"{flag.finding.replace('_', ' ')}: {listed(map(str, flag.is_), 'or')}{high}{many}{days}"
    also = f" and {listed(name.replace('_', ' ') for name in flag.when)}" if flag.when else ""
    paused = f"Not given before the eye is seen: {listed(flag.pause)}." if flag.pause else ""
    says = (sentence(seen + also), flag.text, flag.call, paused)
    return ProtocolEntry(flag.id, tuple(text for text in says if text), origin(flag))


def _row(row: PressureRow, rules: ReviewRules) -> ProtocolEntry:
    until = rules.settings.early_until_day
    says = [f"to day {until}: {_cell(row.early)}"]
    says += [
        f"from day {until + 1}, {words}: {_cell(row.cell(column))}" for column, words in _COLUMNS.items()
    ]
    return ProtocolEntry(_range(row), tuple(map(sentence, says)), origin(row))


def _range(row: PressureRow) -> str:
    low = f"{row.at_least:g} or more" if row.at_least is not None else ""
    low = f"over {row.over:g}" if row.over is not None else low
    high = f"under {row.under:g}" if row.under is not None else ""
    high = f"up to {row.up_to:g}" if row.up_to is not None else high
    only = f", if {listed(row.only_if, 'or')}" if row.only_if else ""
    return f"{' and '.join(part for part in (low, high) if part)} mmHg{only}"


def _cell(cell: Cell) -> str:
    first, target, last = cell.look
    text = fill(cell.text, again=window_words(cell.look, cell.hours))
    return f"{text.rstrip('.')} (look after {first}-{target}-{last} days)"


def _offers(protocol: Protocol) -> ProtocolEntry:
    says = tuple(
        f"{offer.kind.capitalize()}: {protocol.formulary[offer.medicine].label}, {offer.count} a "
        f"day{_over(offer)}."
        for offer in protocol.review.offer
    )
    return ProtocolEntry("Offered, unless something speaks against it or the class is in use", says)


def _over(offer: OfferRule) -> str:
    return "" if offer.over is None else f", over {offer.over:g} mmHg or where no drop is left"


def _other(other: OtherFinding, protocol: Protocol) -> ProtocolEntry:
    seen = f"{other.finding.replace('_', ' ')}: {listed(map(str, other.is_), 'or')}"
    if other.from_day:
        seen += f", from day {other.from_day}"
    if other.since_days:
        seen += f", at every look for {other.since_days} days"
    if other.pressure_at_least is not None:
        seen += f", {other.pressure_at_least:g} mmHg or more"
    looks = [f"looks at {look.need} after {'-'.join(map(str, look.days))} days" for look in other.look]
    usual = protocol.usual_medicine("nsaid")
    given = None
    if other.give:
        named = other.give.medicine
        given = protocol.formulary[named] if named else protocol.usual_medicine(other.give.role)
    says = [said(other, other.text, given, usual)]
    if other.careful:
        careful = [name.replace("_", " ") for name in other.careful.when_any]
        high = f"{other.careful.pressure_at_least:g} mmHg or more or not measured"
        says += [
            f"{listed([high, *careful], 'or')}: {said(other, other.nsaid_text, given, usual)} Or: "
            f"{said(other, other.careful.text, given, usual)}"
        ]
    if other.no_raise:
        says += ["no steroid is raised while it lasts"]
    return ProtocolEntry(other.id, tuple(map(sentence, (seen, *says, *looks))), origin(other))


def _to_see(entry: ToSee) -> ProtocolEntry:
    until = f" to day {entry.to_day}" if entry.to_day is not None else " on"
    when = f", {listed(name.replace('_', ' ') for name in entry.when)}" if entry.when else ""
    given = f", while the eye is given a medicine of the role {entry.given}" if entry.given else ""
    return ProtocolEntry(
        entry.finding.replace("_", " ").capitalize(),
        (f"From day {entry.from_day}{until}{when}{given}: {entry.text}",),
    )


def _before_steroid(entry: BeforeSteroid) -> ProtocolEntry:
    when = [f"at cells {entry.cells_at_least} or more"] if entry.cells_at_least else []
    when += ["where the steroid would be raised"] if entry.raises else []
    quiet = " after a look without cells" if entry.after_quiet else ""
    facts = f", {listed(name.replace('_', ' ') for name in entry.when)}" if entry.when else ""
    return ProtocolEntry(
        entry.finding.replace("_", " ").capitalize(),
        (f"From day {entry.from_day} on{facts}, {listed(when, 'or')}{quiet}: {entry.text}",),
    )
