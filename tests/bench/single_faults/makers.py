"""All makers together: the faults of a file."""

from __future__ import annotations

from functools import cache

from single_faults import maker_clock, maker_data, maker_python, maker_queries, maker_roles, maker_templates
from single_faults.fault import Fault, named
from single_faults.program import files, text_of

DUTIES = "records/duties.py"


@cache
def faults_of(file: str) -> tuple[Fault, ...]:
    text = text_of(file)
    if file.endswith(".toml"):
        made = maker_data.edits(text)
    elif file.endswith(".py"):
        made = (
            *maker_python.edits(text),
            *maker_queries.edits(text),
            *maker_roles.edits(text, text_of(DUTIES)),
            *maker_clock.edits(text),
        )
    else:
        made = maker_templates.edits(file, text)
    return tuple(named(file, text, made))


def all_faults() -> list[Fault]:
    return [fault for file in files() for fault in faults_of(file)]
