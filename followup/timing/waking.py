"""The waking day: the hourly slots at which a patient can put in drops.

Slot 0 is the minute of rising, slot ``n`` is ``n`` hours later. A day that runs past midnight
keeps counting; its late slots belong to the date of rising.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from followup.errors import FollowupError
from followup.said import say

MINUTES_A_DAY = 24 * 60
SHORTEST_WAKING_HOURS = 12
LONGEST_WAKING_HOURS = 18

_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")


@dataclass(frozen=True)
class WakingHours:
    """``rise`` in minutes after midnight, ``hours`` whole hours from rising to the last slot.

    Raises :class:`FollowupError` ``rounds.waking`` unless 12 to 18 hours are spent awake: on a
    longer or shorter day the program asks and never guesses when the patient sleeps.
    """

    rise: int
    hours: int

    def __post_init__(self) -> None:
        if not 0 <= self.rise < MINUTES_A_DAY:
            raise FollowupError(
                "rounds.waking", say("rising at minute {rise} is not on the clock", rise=self.rise)
            )
        _check_awake(self.hours * 60)

    @classmethod
    def of(cls, rise: str, bedtime: str) -> WakingHours:
        """The waking day between two clock times; a bedtime before rising is after midnight.

        >>> WakingDay.of("06:30", "22:00").clock(15)
        '21:30'
        """
        up = minutes_of(rise)
        awake = (minutes_of(bedtime) - up) % MINUTES_A_DAY
        _check_awake(awake, f"from {rise} to {bedtime}")
        return cls(up, awake // 60)

    @property
    def slots(self) -> int:
        """How many hourly slots there are, rising and bedtime both included."""
        return self.hours + 1

    def clock(self, slot: int) -> str:
        """The clock time of a slot, ``HH:MM``."""
        minutes = self._minute(slot) % MINUTES_A_DAY
        return f"{minutes // 60:02d}:{minutes % 60:02d}"

    def slot_of(self, clock: str) -> int:
        """The slot nearest to a clock time, the earlier of two equally near.

        A time during the night goes to bedtime or to rising, whichever is nearer.
        """
        after_rising = (minutes_of(clock) - self.rise) % MINUTES_A_DAY
        return min(range(self.slots), key=lambda slot: _apart(after_rising, slot * 60))

    def _minute(self, slot: int) -> int:
        if not 0 <= slot < self.slots:
            raise FollowupError("rounds.waking", say("slot {slot} is outside the waking day", slot=slot))
        return self.rise + slot * 60


def _apart(one: int, other: int) -> int:
    """Minutes between two times of the day, the shorter way round the clock."""
    forward = (one - other) % MINUTES_A_DAY
    return min(forward, MINUTES_A_DAY - forward)


def minutes_of(clock: str) -> int:
    """Minutes from midnight to a clock time. Error: ``rounds.waking``."""
    match = _CLOCK.fullmatch(clock)
    if match is None:
        raise FollowupError(
            "rounds.waking",
            say('"{clock}" is not a clock time', clock=clock),
            fix=say("write HH:MM, such as 06:30"),
        )
    return int(match[1]) * 60 + int(match[2])


def _check_awake(minutes: int, when: str = "in all") -> None:
    if not SHORTEST_WAKING_HOURS * 60 <= minutes <= LONGEST_WAKING_HOURS * 60:
        raise FollowupError(
            "rounds.waking",
            say(
                "{hours} h {minutes} min awake {when}",
                hours=minutes // 60,
                minutes=format(minutes % 60, "02d"),
                when=when,
            ),
            fix=say(
                "ask when the patient rises and goes to bed: {shortest_waking_hours} to "
                "{longest_waking_hours} hours awake can be planned",
                shortest_waking_hours=SHORTEST_WAKING_HOURS,
                longest_waking_hours=LONGEST_WAKING_HOURS,
            ),
        )
