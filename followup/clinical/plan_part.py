"""What every part of a plan is: a value that nobody changes."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class PlanPart(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")
