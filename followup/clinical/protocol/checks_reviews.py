"""What the rules for reviews must be before they are used: nothing in them that is not there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.protocol.facts import bare
from followup.clinical.protocol.lines import Source
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import Flag, OtherFinding, OtherLook, PressureRow, ReviewRules, ToSee
from followup.clinical.record.eye import held_at, known_path
from followup.clinical.record.findings import MOST_MMHG
from followup.errors import FollowupError

FACTS = (
    *("uveitic", "quiet_90", "event", "responder", "dropless", "depot_left"),
    *("glaucomatous", "only_seeing", "vein_occlusion"),
)
"""Facts that the review itself asks for, whatever the rules say."""
LOOKS = ("inflammation", "pressure")
"""Kinds of look that a review adds of itself."""


def check_review(protocol: Protocol, source: Source) -> Iterator[FollowupError]:
    """Every finding, fact, look, taper and medicine that the review rules name and that is not there."""
    known = {fact.name for fact in protocol.facts}
    for name in FACTS:
        if name not in known:
            what = f'no fact "{name}", which every review asks for'
            yield source.refuse("protocol.review", what, fix="add it to facts.toml")
    for kind in LOOKS:
        if kind not in protocol.kinds:
            what = f'no kind of look "{kind}", which reviews add'
            yield source.refuse("protocol.review", what, fix="add [kind] to protocol.toml")
    yield from _check_findings(protocol.review, source, known)
    yield from _check_doubles(protocol.review, source)
    yield from _check_expected(protocol.review, source)
    yield from _check_pressure(protocol.review.pressure, source)
    for i, other in enumerate(protocol.review.other):
        yield from _check_other(protocol, source, i, other)
    yield from _check_medicines(protocol, source)


def _check_findings(rules: ReviewRules, source: Source, known: set[str]) -> Iterator[FollowupError]:
    tables: tuple[tuple[str, Sequence[Flag | OtherFinding | ToSee]], ...] = (
        ("to_see", rules.to_see),
        ("before_steroid", rules.before_steroid),
        ("flag", rules.flag),
        ("other", rules.other),
    )
    for table, entries in tables:
        for i, entry in enumerate(entries):
            path = f"reviews.{entry.finding}"
            if not known_path(path):
                yield source.refuse("protocol.review", f'no finding "{entry.finding}"', table, i, "finding")
                continue
            values = entry.or_is if isinstance(entry, ToSee) else entry.is_
            for value in values:
                if not held_at(path).can_be(value):
                    what = f'{entry.finding} is never "{value}"'
                    yield source.refuse("protocol.review", what, table, i)
            for name in entry.when:
                if bare(name) not in known:
                    yield source.refuse("protocol.review", f'no fact "{name}"', table, i, "when")


def _check_doubles(rules: ReviewRules, source: Source) -> Iterator[FollowupError]:
    """Two rows of one name: nobody could say which a proposal came from, or which of them holds."""
    tables: tuple[tuple[str, list[str]], ...] = (
        ("flag", [row.id for row in rules.flag]),
        ("other", [row.id for row in rules.other]),
        ("pressure", [row.id for row in rules.pressure]),
        ("offer", [row.medicine for row in rules.offer]),
        ("before_steroid", [row.finding for row in rules.before_steroid]),
        ("expected", [f"{row.eye} from day {row.from_day}" for row in rules.expected]),
    )
    for table, names in tables:
        for i, name in enumerate(names):
            if name in names[:i]:
                yield source.refuse("protocol.review", f'"{name}" stands twice', table, i, fix="keep one")


def _check_expected(rules: ReviewRules, source: Source) -> Iterator[FollowupError]:
    for eye in ("quiet", "uveitic"):
        if all(row.eye != eye for row in rules.expected):
            what = f"no row says how many cells are expected in a {eye} eye"
            yield source.refuse("protocol.review", what, "expected", fix="add [[expected]]")


def _check_pressure(rows: Sequence[PressureRow], source: Source) -> Iterator[FollowupError]:
    """One row for every pressure but the normal ones, which lie in one stretch between the others."""
    always = [(i, row) for i, row in enumerate(rows) if not row.only_if]
    limits = {x for _, row in always for x in (row.at_least, row.over, row.under, row.up_to) if x is not None}
    bare: list[float] = []
    before: list[int] = [-1]
    for mmhg in sorted({0.0, float(MOST_MMHG), *(x + by for x in limits for by in (-0.01, 0, 0.01))}):
        found = [i for i, row in always if row.holds(mmhg)]
        if len(found) > 1:
            what = f"two rows hold at {mmhg:g} mmHg"
            yield source.refuse("protocol.review", what, "pressure", found[1], fix="part them")
            return
        if not found and before:
            bare.append(mmhg)
        before = found
    if len(bare) > 1:
        what = f"no row holds at {bare[-1]:g} mmHg"
        yield source.refuse("protocol.review", what, "pressure", fix="close the gap between the rows")


def _check_other(protocol: Protocol, source: Source, i: int, other: OtherFinding) -> Iterator[FollowupError]:
    careful = other.careful
    looks: Sequence[OtherLook] = (*other.look, *(careful.look if careful else ()))
    known = {fact.name for fact in protocol.facts}
    for name in careful.when_any if careful else ():
        if bare(name) not in known:
            yield source.refuse("protocol.review", f'no fact "{name}"', "other", i, "careful")
    for look in looks:
        if look.need not in protocol.kinds:
            yield source.refuse("protocol.review", f'no kind of look "{look.need}"', "other", i, "look")
    if other.give and other.give.medicine and other.give.medicine not in protocol.formulary:
        yield _no_medicine(source, other.give.medicine, "other", i, "give")
    elif other.give and other.give.medicine:
        role = protocol.formulary[other.give.medicine].role
        if role != other.give.role:
            what = f"{other.give.medicine} is {role}, not {other.give.role}"
            yield source.refuse("protocol.review", what, "other", i, "give")
    if other.give and not other.give.medicine and other.give.role not in protocol.medicines:
        yield source.refuse("protocol.review", f"no usual {other.give.role}", "other", i, "give")


def _check_medicines(protocol: Protocol, source: Source) -> Iterator[FollowupError]:
    review = protocol.review
    for i, offer in enumerate(review.offer):
        if offer.medicine not in protocol.formulary:
            yield _no_medicine(source, offer.medicine, "offer", i, "medicine")
        elif protocol.formulary[offer.medicine].route == "mouth" and offer.over is None:
            what = f"{offer.medicine} goes by mouth: say over how many mmHg it is offered"
            yield source.refuse("protocol.review", what, "offer", i, "medicine", fix="add over")
        elif offer.kind not in protocol.formulary[offer.medicine].kinds:
            what = f"{offer.medicine} is no {offer.kind}"
            yield source.refuse("protocol.review", what, "offer", i, "medicine")
    if review.settings.six_weeks.medicine not in protocol.formulary:
        yield _no_medicine(source, review.settings.six_weeks.medicine, "settings", "six_weeks", "medicine")
    for key in ("later_steps_uveitic", "later_steps_other"):
        if getattr(review.settings, key) not in protocol.tapers:
            what = f'no taper "{getattr(review.settings, key)}"'
            yield source.refuse("protocol.review", what, "settings", key)


def _no_medicine(source: Source, medicine: str, *place: str | int) -> FollowupError:
    what = f'no medicine "{medicine}" in the formulary'
    return source.refuse(
        "protocol.medicine", what, *place, fix="add it to formulary.toml or correct the name"
    )
