"""``followup schema NAME``: the JSON Schemas of what goes in and comes out."""

from __future__ import annotations

import json
from typing import Literal

import click
from pydantic import BaseModel

from followup.cli.contract import CommandOutcome
from followup.clinical.careplan import CarePlan
from followup.clinical.record import Findings, Record
from followup.clinical.review.proposal import Outcome as Proposals
from followup.timing.calendar import Calendar

MODELS: dict[str, type[BaseModel]] = {
    "calendar": Calendar,
    "findings": Findings,
    "plan": CarePlan,
    "proposals": Proposals,
    "record": Record,
}
DIALECT = "https://json-schema.org/draft/2020-12/schema"


@click.command()
@click.argument("name", type=click.Choice(sorted(MODELS)))
def schema(name: str) -> CommandOutcome:
    """Print the JSON Schema of a record, a plan, a calendar, findings or their proposals."""
    made = name in ("plan", "proposals")
    mode: Literal["serialization", "validation"] = "serialization" if made else "validation"
    body = {"$schema": DIALECT, **MODELS[name].model_json_schema(mode=mode)}
    return CommandOutcome(json.dumps(body, indent=2, ensure_ascii=False) + "\n")
