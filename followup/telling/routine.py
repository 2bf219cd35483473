"""Which routine answers may stand for what was not told (clinical.md, 10.15)."""

from __future__ import annotations

from collections.abc import Mapping

from followup.telling.model import Telling, ToldValue
from followup.telling.tables import table


def routine_for(telling: Telling, answers: Mapping[str, ToldValue]) -> dict[str, ToldValue]:
    """The routine ``answers`` (fields of an operation) for what the telling leaves unsaid, by field path.

    None where something that hangs together with the field was told otherwise: a torn capsule leaves
    nothing routine about the vitreous. Nothing at all for a text that was refused.
    """
    if telling.refused is not None:
        return {}
    unusual = {
        one.field.removeprefix("operation.")
        for one in telling.fields
        if one.kind == "doubtful"
        or one.value not in (answers.get(one.field.removeprefix("operation.")), False)
    }
    shut = {name for group in _groups() if unusual & set(group) for name in group}
    told = {one.field for one in telling.fields}
    return {
        f"operation.{name}": value
        for name, value in answers.items()
        if f"operation.{name}" not in told and name not in shut
    }


def _groups() -> tuple[tuple[str, ...], ...]:
    return tuple(map(tuple, table("together")["groups"]))
