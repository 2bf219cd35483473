"""What a record tells that no rule turns into drops or looks: said on the plan, so that nothing is lost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.english import day_words, joined
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Operation
from followup.clinical.record.eye import EyeContext
from followup.clinical.record.operation import DropBefore
from followup.said import say


def as_told(contexts: Sequence[EyeContext], protocol: Protocol) -> Iterator[str]:
    """A sentence for each, of the eyes' latest operations."""
    for context in contexts:
        operation = context.operation
        yield from _lens(operation)
        for drop in operation.drops_before:
            yield _before(drop, operation, protocol)


def _lens(operation: Operation) -> Iterator[str]:
    if operation.lens_power is not None:
        yield say(
            "The lens in the {eye} eye has {lens_power} dioptres.",
            eye=operation.eye,
            lens_power=format(operation.lens_power, "g"),
        )
    if operation.toric_axis is not None:
        axis = operation.toric_axis
        yield say(
            "The toric lens in the {eye} eye was left on the axis of {axis} degrees.",
            eye=operation.eye,
            axis=axis,
        )


def _before(drop: DropBefore, operation: Operation, protocol: Protocol) -> str:
    name = label_of(drop.medicine, protocol.formulary)
    often = joined(("", say("{count} a day", count=drop.count_a_day)), ", ") if drop.count_a_day else ""
    since = joined(("", say("since {since}", since=day_words(drop.since)))) if drop.since else ""
    return say(
        "Before the operation the {eye} eye had {medicine}{often}{since}: that ended with the operation, "
        "and what this plan gives comes from new bottles.",
        eye=operation.eye,
        medicine=name,
        often=often,
        since=since,
    )
