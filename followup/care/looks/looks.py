"""What is seen of an eye, what that leads to, and that none of it is followed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Annotated, Any

from pydantic import Field

from followup.care.act import Act, Line, Number, OneEye
from followup.care.danger import look_stored, outcome_in
from followup.care.fields.checked import check
from followup.care.hand import Hand
from followup.care.looks.eye_case import DECIDED, EyeCase
from followup.care.plans.planning import draft_plan
from followup.clinical import english
from followup.clinical.careplan import Question
from followup.clinical.record import Findings, Record
from followup.clinical.record.vision import spherical_equivalent
from followup.clinical.review.proposal import Outcome, Proposal
from followup.errors import FollowupError
from followup.records.duties import SURGEON
from followup.records.people.patients import correct_record
from followup.records.plans.plans import open_draft
from followup.records.store.journal import Detail, journal_of
from followup.said import Cited, Said, say
from followup.typed import typed


class Looked(Act):
    """What was seen today: eye and date must be those of the address and of today.

    ``seen`` is the version of the record looked at; a second look of the day replaces the first.
    """

    seen: Number
    look: Findings


class Refusal(Act):
    reason: Annotated[Line, Field(min_length=1)]


def store_findings(hand: Hand, case: EyeCase, sent: Looked) -> None:
    """Store a look of today, in place of an earlier one.

    Errors: ``findings.eye``, ``findings.empty``, ``findings.refraction``, those of the record and of
    ``correct_record``.
    """
    if (sent.look.eye, sent.look.date) != (case.eye, hand.today):
        raise FollowupError(
            "findings.eye",
            "eye and date are not those of the address and of today",
            where="look",
            fix="look at the eye again, then correct whichever is wrong",
        )
    look = sent.look.model_dump(mode="json", exclude_none=True, exclude={"eye", "date", "by"})
    if not look:
        raise FollowupError(
            "findings.empty",
            say("nothing was entered"),
            where=say("findings"),
            fix=say("enter what was seen"),
        )
    _must_be_readable(sent.look.refraction)
    record = with_look(hand, case.record, case.eye, look)
    with hand.store.write(hand.actor, hand.now) as unit:
        correct_record(unit, patient_id=case.who.id, record=record, seen=sent.seen)
        look_stored(unit, hand, case.who.id, record, look_of_today(hand, record, case.eye))


def _must_be_readable(written: str | None) -> None:
    """Refuse a refraction in figures that may mean two eyes, such as one without its sign; words are kept."""
    figures = written is not None and any(character.isdigit() for character in written)
    if written is not None and figures and spherical_equivalent(written) is None:
        raise FollowupError(
            "findings.refraction",
            say("the refraction {written} can't be read", written=typed(written)),
            where=say("findings"),
            fix=say(
                "write sphere, cylinder and axis with their signs, such as {lens} or {sphere}",
                lens=Cited("-0.50/-1.00x90"),
                sphere=Cited("+0.25"),
            ),
        )


def with_look(
    hand: Hand, record: Record, eye: OneEye, look: dict[str, Any], *, beside: bool = False
) -> Record:
    """The record with today's look at this eye in it, once; ``beside`` what was seen today already.

    Errors: those of the record.
    """
    data = record.model_dump(mode="json", exclude_none=True)
    looks, mine = data.get("reviews", []), (eye, hand.today.isoformat())
    others = [one for one in looks if (one["eye"], one["date"]) != mine]
    seen: dict[str, Any] = next((one for one in looks if beside and (one["eye"], one["date"]) == mine), {})
    today = seen | look | {"eye": eye, "date": hand.today.isoformat(), "by": hand.by}
    return check(data | {"reviews": [*others, today]})


def look_of_today(hand: Hand, record: Record, eye: OneEye) -> Findings:
    """Today's look at this eye, where ``record`` holds one."""
    return next(look for look in record.reviews if (look.eye, look.date) == (eye, hand.today))


def outcome_of_today(hand: Hand, case: EyeCase, look: Findings) -> Outcome:
    """What a look of today leads to. Error ``look.over`` on another day: nothing of it is taken over."""
    if look.date != hand.today:
        raise FollowupError(
            "look.over",
            say("proposals of another day are not taken over"),
            fix=say("enter the findings of today"),
        )
    return outcome_of(hand, case, look)


def missing_answers(outcome: Outcome) -> tuple[Question, ...]:
    """What, once it is answered, may have a class of pressure medicine offered: one question a class."""
    refused = {item.kind: item for p in outcome.proposals for item in p.not_offered if item.fields}
    return tuple(
        Question(id=f"offer-{number}", text=item.why, eye=outcome.eye, fields=item.fields, blocks=False)
        for number, item in enumerate(refused.values(), 1)
    )


def answer_missing(hand: Hand, case: EyeCase, data: dict[str, Any]) -> None:
    """Store the record with answers as its next version: the offers are made again from it.

    Errors: those of the record and of ``correct_record``.
    """
    with hand.store.write(hand.actor, hand.now) as unit:
        correct_record(unit, patient_id=case.who.id, record=check(data), seen=case.version.number)
        if open_draft(unit.session, case.who.id):
            draft_plan(unit, hand, case.who.id)


def titles_of(proposals: Iterable[Proposal]) -> Said:
    """The proposals by their titles, a sentence each."""
    return english.joined(english.sentence(proposal.title) for proposal in proposals)


def reason_of(proposals: Iterable[Proposal], reason: str) -> Said:
    """Why a plan is made again: the proposals that are followed, then what the surgeon typed, if anything."""
    return english.joined((titles_of(proposals), *((typed(reason),) if reason else ())))


def nothing_to_change(outcome: Outcome) -> bool:
    """Whether all that is proposed is to go on as planned."""
    return not outcome.senior and not any(p.adjustments or p.treats for p in outcome.proposals)


def go_on(hand: Hand, case: EyeCase, outcome: Outcome) -> None:
    """Note that the plan goes on as it is, where no proposal would change it.

    Errors: ``look.choose``, ``role.missing``.
    """
    if not nothing_to_change(outcome):
        raise FollowupError(
            "look.choose",
            say("there is something to decide"),
            where=say("proposals"),
            fix=say("take a proposal, or follow none and say why"),
        )
    taken = titles_of(outcome.proposals) or say("Go on as planned.")
    _decided(hand, case, outcome, taken=taken, reason="")


def refuse_all(hand: Hand, case: EyeCase, outcome: Outcome, sent: Refusal) -> None:
    """Note that no proposal is followed, and why. Errors: ``look.reason``, ``role.missing``."""
    if not sent.reason:
        raise FollowupError(
            "look.reason",
            say("no reason given"),
            where=say("reason"),
            fix=say("say why no proposal is followed"),
        )
    proposed = titles_of(outcome.proposals)
    _decided(hand, case, outcome, taken="", reason=sent.reason[:500], proposed=proposed)


def _decided(hand: Hand, case: EyeCase, outcome: Outcome, **word: Detail) -> None:
    """Write down what was decided of this look, once."""
    said: dict[str, Detail] = {"eye": case.eye, "day": outcome.date.isoformat(), **word}
    subject = f"patient:{case.who.code}"
    with hand.store.write(hand.actor, hand.now) as unit:
        unit.need_role(*SURGEON)
        decided = [one for one in journal_of(unit.session, subject) if one.action == DECIDED]
        # A form sent twice: the last word about this eye is this one already.
        mine = [one for one in decided if one.details.get("eye") == case.eye][-1:]
        if not mine or (mine[0].actor, mine[0].details) != (hand.actor.login, said):
            unit.log(DECIDED, subject, **said)


def look_of(case: EyeCase, on: date) -> Findings:
    """What was seen on that day. Error: ``look.unknown``."""
    found = next((look for look in case.looks if look.date == on), None)
    if found is None:
        raise FollowupError(
            "look.unknown", say("nothing was entered on {on}", on=on), fix=say("enter the findings first")
        )
    return found


def outcome_of(hand: Hand, case: EyeCase, look: Findings) -> Outcome:
    """What a look leads to beside the plan in force. Errors: those of the review."""
    with hand.store.read() as session:
        return outcome_in(session, hand, case.who.id, case.record, look)


def led_to(hand: Hand, case: EyeCase, look: Findings) -> tuple[Outcome | None, str]:
    """What a look leads to, or why nothing can be proposed."""
    try:
        return outcome_of(hand, case, look), ""
    except FollowupError as exc:
        return None, exc.line
