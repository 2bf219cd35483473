"""What every part of a protocol's files shares: closed to unknown keys, and where it comes from."""

from __future__ import annotations

from typing import Literal, TypeAlias

from pydantic import BaseModel, ConfigDict

from followup.said import SaidLine

Mark: TypeAlias = Literal["P", "S", "M", "C"]
"""P published text seen, S seen in a secondary copy, M from memory, C common practice, no source."""


class ProtocolPart(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Sourced(ProtocolPart):
    """A part with a figure: where that comes from, and how well it is known."""

    source: SaidLine
    mark: Mark


class Reasoned(Sourced):
    """A part that says why as well."""

    because: SaidLine
