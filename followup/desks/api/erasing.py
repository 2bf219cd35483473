"""A patient asks who looked, or to be erased: what goes, what is kept until when, and who asked."""

from __future__ import annotations

from datetime import date, datetime

from followup.care.house.erasing import EraseAct, asked, erase, erasing_of, in_words
from followup.care.records.opening import who_opened
from followup.desks.api.base import Code, Given, router_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.records.desk.erasing import Erasing

router = router_of("Pharmacy and manager")


class ErasingOut(Given):
    """What erasing does, or did. ``says``: what goes and what is kept, in sentences.

    ``kept_until``: the last day on which the record must be kept; ``record_goes``: it goes too. ``followed``:
    nothing can be erased yet. ``asked_at``: since then what is not the record is gone; ``gone_at``: all is.
    """

    code: str
    name: str
    last_seen: date | None
    kept_until: date
    record_goes: bool
    followed: bool
    asked_at: datetime | None
    asked_by: str
    gone_at: datetime | None
    says: list[str]


class OpeningOut(Given):
    """``actor``, a log-in name, opened something of the patient; told once a day."""

    actor: str
    at: datetime


@router.get("/patients/{code}/openings")
def openings(hand: AnyHand, code: Code) -> list[OpeningOut]:
    """Who opened this patient, newest first. Lists with many names are not counted."""
    return [OpeningOut.of(one) for one in who_opened(hand, code)]


@router.get("/erasings")
def all_asked(hand: AnyHand) -> list[ErasingOut]:
    """Everybody who asked to be erased, first whose record goes first; names are not told."""
    return [_out(hand, one) for one in asked(hand)]


@router.get("/patients/{code}/erasing")
def look(hand: AnyHand, code: Code) -> ErasingOut:
    """What erasing this patient would do now, or did."""
    return _out(hand, erasing_of(hand, code))


@router.post("/patients/{code}/erasing")
def erase_patient(hand: AnyHand, code: Code, sent: EraseAct) -> ErasingOut:
    """Erase what may be erased now. It can't be taken back."""
    return _out(hand, erase(hand, code, sent))


def _out(hand: DeskHand, found: Erasing) -> ErasingOut:
    return ErasingOut.of(found, says=[str(line) for line in in_words(found, hand.today)])
