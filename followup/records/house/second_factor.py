"""The key of a second factor: begun, set once a code of it was given, and taken off."""

from __future__ import annotations

from followup.errors import FollowupError
from followup.records.duties import PROGRAM
from followup.records.house.staff_rows import known_row, row_here, staff_of
from followup.records.store.store import Unit
from followup.records.tables import StaffRow
from followup.records.views import Staff
from followup.said import say


def begin_second_factor(unit: Unit, *, sealed: str) -> None:
    """Keep the key of whoever acts; it does not count yet. Error ``second.set`` where one counts already."""
    row = known_row(unit.session, unit.actor.login)
    if row.second_since is not None:
        raise FollowupError(
            "second.set",
            say("a second factor is needed at your log-in already"),
            fix=say("take it off first, then set up another"),
        )
    row.second_key, row.second_step = sealed, 0
    unit.session.add(row)
    unit.log("second factor begun", f"staff:{row.login}")


def set_second_factor(unit: Unit, *, sealed: str, step: int) -> None:
    """From now on the log-in of whoever acts needs a code. ``step``: of the code that was given.

    Error ``second.changed`` where the key is another one by now.
    """
    row = known_row(unit.session, unit.actor.login)
    if row.second_key != sealed or row.second_since is not None:
        raise FollowupError(
            "second.changed", say("the second factor was changed meanwhile"), fix=say("begin again")
        )
    row.second_since, row.second_step = unit.now, step
    unit.session.add(row)
    unit.log("second factor set", f"staff:{row.login}")


def take_off_second_factor(unit: Unit, *, login: str) -> Staff:
    """The password alone opens the log-in again: one's own, or anybody's by the command line.

    Errors: ``role.missing``, ``staff.unknown``, ``second.none``.
    """
    row = row_here(unit.session, login)
    if row.login != unit.actor.login:
        unit.need_role(PROGRAM)
    if row.second_since is None:
        raise FollowupError(
            "second.none",
            say("this log-in has no second factor"),
            fix=say("there is nothing to take off"),
        )
    row.second_key, row.second_since, row.second_step = "", None, 0
    unit.session.add(row)
    unit.log("second factor taken off", f"staff:{row.login}")
    return staff_of(row)


def use_step(row: StaffRow, step: int | None) -> None:
    """Note the step of the code that opens a log-in: each opens one. Error ``login.code``."""
    if row.second_since is None:
        return
    if step is None or step <= row.second_step:
        raise FollowupError(
            "login.code", say("this code was used already"), fix=say("wait for the next one and type that")
        )
    row.second_step = step
