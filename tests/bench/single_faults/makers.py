"""All makers together: the faults of a file."""

from __future__ import annotations

from functools import cache

from single_faults import maker_data, maker_python, maker_queries
from single_faults.fault import Fault, named
from single_faults.program import files, text_of


@cache
def faults_of(file: str) -> tuple[Fault, ...]:
    text = text_of(file)
    if file.endswith(".toml"):
        return tuple(named(file, text, maker_data.edits(text)))
    if file.endswith(".py"):
        return tuple(named(file, text, [*maker_python.edits(text), *maker_queries.edits(text)]))
    return ()


def all_faults() -> list[Fault]:
    return [fault for file in files() for fault in faults_of(file)]
