"""Which tests judge a file of the program: ``judges.toml``, first line that fits."""

from __future__ import annotations

import tomllib
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

from single_faults.program import TESTS


@cache
def _lines() -> tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]:
    held = tomllib.loads(Path(__file__).with_name("judges.toml").read_text("utf-8"))["judge"]
    return tuple((tuple(line["of"]), tuple(line["tests"])) for line in held)


@cache
def judges(file: str) -> tuple[str, ...]:
    """The test files, cheapest first, each once."""
    for patterns, tests in _lines():
        if any(fnmatch(file, pattern) for pattern in patterns):
            return tuple(dict.fromkeys(found for test in tests for found in _spread(test)))
    return ()


@cache
def _spread(test: str) -> tuple[str, ...]:
    """A pattern stands for every test file that fits."""
    found = tuple(path.relative_to(TESTS).as_posix() for path in sorted(TESTS.glob(test)))
    assert found, f"judges.toml names {test}, and no test file fits"
    return found
