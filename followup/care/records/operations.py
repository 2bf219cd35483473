"""The theatre's list of a day: set in place of the one that stood there, or added to."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from pydantic import Field, StringConstraints

from followup.care.act import Act
from followup.care.hand import Hand
from followup.clinical.record import Eye
from followup.clinical.record.base import Day
from followup.records.people.oplist import ListLine, operation_list, operations_on, put_operation_list
from followup.records.views import OperationOnDay


class Listed(Act):
    """One expected operation."""

    code: Annotated[str, StringConstraints(strip_whitespace=True, pattern=r"^[A-Za-z0-9][A-Za-z0-9-]{0,23}$")]
    name: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
    eye: Eye


class OperationList(Act):
    """The operations of a day in their order."""

    on: Day
    lines: Annotated[list[Listed], Field(max_length=400)]


def set_list(hand: Hand, act: OperationList, *, may_go: str | None = None) -> list[OperationOnDay]:
    """Set the list of a day in place of the one that stood there.

    ``may_go``: the lines that may be taken out (see ``line_keys``), None for any. Where others would be,
    these come back and nothing is stored.
    """
    kept = {(line.code.casefold(), line.eye) for line in act.lines}
    with hand.store.write(hand.actor, hand.now) as unit:
        stored = [line for line in operations_on(unit.session, act.on) if line.on_list]
        out = [line for line in stored if (line.patient_code.casefold(), line.eye) not in kept]
        if out and may_go not in (None, line_keys(out)):
            return out
        put_operation_list(unit, day=act.on, lines=_lines(act))
        return []


def add_to_list(hand: Hand, act: OperationList) -> None:
    """Add lines to the list of a day; one that stands there already stays once."""
    with hand.store.write(hand.actor, hand.now) as unit:
        kept = operation_list(unit.session, act.on)
        known = {(line.patient_code.casefold(), line.eye) for line in kept}
        fresh = [line for line in _lines(act) if (line.patient_code.casefold(), line.eye) not in known]
        if fresh:
            put_operation_list(unit, day=act.on, lines=[*kept, *fresh])


def line_keys(lines: Iterable[OperationOnDay]) -> str:
    """What a confirmation names, so that it holds for exactly these lines."""
    return " ".join(f"{line.patient_code}/{line.eye}" for line in lines)


def _lines(act: OperationList) -> list[ListLine]:
    return [ListLine(line.code, line.name, line.eye) for line in act.lines]
