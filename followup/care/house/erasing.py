"""A patient asks to be erased: what goes now, what the law keeps and until when, in words."""

from __future__ import annotations

from datetime import date

from followup.care.act import Act, Password
from followup.care.hand import Hand
from followup.care.password_again import must_match
from followup.records.desk import erasing
from followup.records.desk.erasing import Erasing
from followup.records.jobs.backup import MONTHS
from followup.said import Day, say
from followup.typed import typed


class EraseAct(Act):
    """Erasing can't be taken back: whoever does it gives the own password again."""

    password: Password


def erasing_of(hand: Hand, code: str) -> Erasing:
    """What erasing would do, or did. Error ``patient.unknown``."""
    with hand.store.read() as session:
        return erasing.erasing_of(session, code, hand.now)


def asked(hand: Hand) -> tuple[Erasing, ...]:
    """Everybody who asked to be erased."""
    with hand.store.read() as session:
        return erasing.asked_to_be_erased(session)


def erase(hand: Hand, code: str, act: EraseAct) -> Erasing:
    """Erase what may go now.

    Errors: ``password.wrong``, ``patient.unknown``, ``erase.followed``, ``erase.gone``.
    """
    must_match(hand, act.password)
    with hand.store.write(hand.actor, hand.now) as unit:
        done = erasing.erase(unit, code=code)
    hand.store.settle()
    return done


def in_words(found: Erasing, today: date) -> list[str]:
    """What goes, what is kept, why and until when: each a sentence."""
    if found.followed:
        return [
            say(
                "Nothing can be erased while the patient is followed: without a telephone nobody could be"
                " reached. End the plan, or write down why the patient is not followed any more."
            )
        ]
    if found.gone_at is not None:
        return [
            say("Nothing is kept of {code} but the code itself.", code=typed(found.code)),
            *_kept_anyway(today),
        ]
    if found.record_goes:
        goes = say(
            "Everything of {code} is erased: name, day of birth, record, plans, visits, sheets, messages and"
            " calls. The record had to be kept until {day}.",
            code=typed(found.code),
            day=Day.of(found.kept_until),
        )
        return [goes, *_kept_anyway(today)]
    return [
        say(
            "Of {code} telephone numbers, who helps at home, consent to messages, messages, and numbers and"
            " notes of calls are erased. Nothing is sent any more.",
            code=typed(found.code),
        ),
        say(
            "The medical record with the name is kept until {day}, as the law wants it; after that day"
            " erasing takes it too.",
            day=Day.of(found.kept_until),
        ),
        *_kept_anyway(today),
    ]


def _kept_anyway(today: date) -> list[str]:
    """What no erasing reaches, and when it is gone."""
    month = today.month - 1 + MONTHS
    last = date(today.year + month // 12, month % 12 + 1, 1)
    return [
        say("The journal keeps its entries: code, what was done and reasons that staff typed."),
        say(
            "Backups and daily lists of before still hold it. By their rules the last of them is deleted"
            " after {day}; whatever was copied or printed elsewhere stays with whoever has it.",
            day=Day.of(last),
        ),
    ]
