"""What the rules for reviews must be before they are used: nothing in them that is not there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.protocol.lines import Source
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import Flag, Give, OtherFinding, PressureRow, ReviewRules, ToSee
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
    """Everything that the review rules need and that is not there, or that could never be so."""
    known = {fact.name for fact in protocol.facts}
    for name in FACTS:
        if name not in known:
            what = f'no fact "{name}", which every review asks for'
            yield source.refuse("protocol.review", what, fix="add it to facts.toml")
    for kind in LOOKS:
        if kind not in protocol.kinds:
            what = f'no kind of look "{kind}", which reviews add'
            yield source.refuse("protocol.review", what, fix="add [kind] to protocol.toml")
    yield from _check_findings(protocol.review, source)
    yield from _check_expected(protocol.review, source)
    yield from _check_pressure(protocol.review.pressure, source)
    for i, other in enumerate(protocol.review.other):
        if other.give:
            yield from _check_other(protocol, source, i, other.give)
    yield from _check_offers(protocol, source)


def _check_findings(rules: ReviewRules, source: Source) -> Iterator[FollowupError]:
    """Every value that a look can never hold."""
    tables: tuple[tuple[str, Sequence[Flag | OtherFinding | ToSee]], ...] = (
        ("to_see", rules.to_see),
        ("before_steroid", rules.before_steroid),
        ("flag", rules.flag),
        ("other", rules.other),
    )
    for table, entries in tables:
        for i, entry in enumerate(entries):
            path = f"reviews.{entry.finding}"
            values = entry.or_is if isinstance(entry, ToSee) else entry.is_
            for value in values if known_path(path) else ():
                if not held_at(path).can_be(value):
                    what = f'{entry.finding} is never "{value}"'
                    yield source.refuse("protocol.review", what, table, i)


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


def _check_other(protocol: Protocol, source: Source, i: int, give: Give) -> Iterator[FollowupError]:
    medicine = protocol.formulary.get(give.medicine or "")
    if medicine and medicine.role != give.role:
        what = f"{give.medicine} is {medicine.role}, not {give.role}"
        yield source.refuse("protocol.review", what, "other", i, "give")
    if not give.medicine and give.role not in protocol.medicines:
        yield source.refuse("protocol.review", f"no usual {give.role}", "other", i, "give")


def _check_offers(protocol: Protocol, source: Source) -> Iterator[FollowupError]:
    for i, offer in enumerate(protocol.review.offer):
        medicine = protocol.formulary.get(offer.medicine)
        if medicine and medicine.route == "mouth" and offer.over is None:
            what = f"{offer.medicine} goes by mouth: say over how many mmHg it is offered"
            yield source.refuse("protocol.review", what, "offer", i, "medicine", fix="add over")
        elif medicine and offer.kind not in medicine.kinds:
            what = f"{offer.medicine} is no {offer.kind}"
            yield source.refuse("protocol.review", what, "offer", i, "medicine")
