"""What a record tells that no rule turns into drops or looks: said on the plan, so that nothing is lost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.context import EyeContext
from followup.clinical.english import day_words
from followup.clinical.formulary import label_of
from followup.clinical.protocol import Protocol
from followup.clinical.record import Operation
from followup.clinical.record.operation import DropBefore


def as_told(contexts: Sequence[EyeContext], protocol: Protocol) -> Iterator[str]:
    """A sentence for each, of the eyes' latest operations."""
    for context in contexts:
        operation = context.operation
        yield from _lens(operation)
        for drop in operation.drops_before:
            yield _before(drop, operation, protocol)


def _lens(operation: Operation) -> Iterator[str]:
    if operation.lens_power is not None:
        yield f"The lens in the {operation.eye} eye has {operation.lens_power:g} dioptres."
    if operation.toric_axis is not None:
        axis = operation.toric_axis
        yield f"The toric lens in the {operation.eye} eye was left on the axis of {axis} degrees."


def _before(drop: DropBefore, operation: Operation, protocol: Protocol) -> str:
    name = label_of(drop.medicine, protocol.formulary)
    often = f", {drop.count_a_day} a day" if drop.count_a_day else ""
    since = f" since {day_words(drop.since)}" if drop.since else ""
    return (
        f"Before the operation the {operation.eye} eye had {name}{often}{since}: that ended with the "
        "operation, and what this plan gives comes from new bottles."
    )
