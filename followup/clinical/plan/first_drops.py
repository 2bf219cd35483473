"""Whoever works at night is awake when the pad may come off: his first drops do not wait until he rises."""

from __future__ import annotations

from followup.clinical.careplan import FirstDropDay
from followup.clinical.english import day_words
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.protocol.protocol import Protocol
from followup.said import say
from followup.timing.waking import MINUTES_A_DAY, WakingHours, minutes_of


def first_drop_day(eye: EyeRules, protocol: Protocol, waking: WakingHours) -> FirstDropDay:
    """F, and the hour of the first drops where they come before the patient rises on that day."""
    rule = eye.first_day_rule
    reasons = (rule.reason,) if rule else ()
    return FirstDropDay(
        eye=eye.eye, day=eye.first_drop_day, at=_before_sleep(eye, protocol, waking), reasons=reasons
    )


def _before_sleep(eye: EyeRules, protocol: Protocol, waking: WakingHours) -> str | None:
    """The first hour awake after the pad may come off, in the night that began on the day of surgery."""
    padded = eye.context.operation.pad is not False and (eye.first_drop_day - eye.day0).days == 1
    off = MINUTES_A_DAY + minutes_of(protocol.pad.off)
    slots = [slot for slot in range(waking.slots) if waking.rise + slot * 60 >= off]
    return waking.clock(slots[0]) if padded and slots else None


def told(first: FirstDropDay) -> str:
    """What the staff read of it."""
    return say(
        "{side} eye: the first drops on {day} at {at}, when the pad may come off and before the "
        "patient sleeps; then by the table. It is one round more.",
        side=first.eye.capitalize(),
        day=day_words(first.day),
        at=first.at,
    )
