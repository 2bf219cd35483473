"""Which tests judge a file of the program: ``judges.toml``, first line that fits."""

from __future__ import annotations

import tomllib
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

from single_faults.program import TESTS


@cache
def _lines() -> list[dict[str, list[str]]]:
    return tomllib.loads(Path(__file__).with_name("judges.toml").read_text("utf-8"))["judge"]


@cache
def judges(file: str) -> tuple[str, ...]:
    """The test files, each once: those named like the file, then those that import it, then the others."""
    for line in _lines():
        if any(fnmatch(file, pattern) for pattern in line["of"]):
            always = [found for test in line["tests"] for found in _spread(test)]
            near = [
                found
                for test in line.get("near", [])
                for found in _spread(test)
                if _distance(file, found) < 2
            ]
            return tuple(sorted(dict.fromkeys([*near, *always]), key=lambda test: _distance(file, test)))
    return ()


def _distance(file: str, test: str) -> int:
    """0 for ``recall/reach/test_ladder.py`` and ``recall/ladder.py``, 1 where the test imports the file."""
    if not file.endswith((".py", ".html", ".typ")):
        return 2
    stem = Path(file).stem.replace("-", "_")
    if Path(test).stem == f"test_{stem}":
        return 0
    module = f"followup.{file.removesuffix('.py').replace('/', '.')}"
    return 1 if file.endswith(".py") and module in _read(test) else 2


@cache
def _read(test: str) -> str:
    return (TESTS / test).read_text("utf-8")


@cache
def _spread(test: str) -> tuple[str, ...]:
    """A pattern stands for every test file that fits."""
    found = tuple(path.relative_to(TESTS).as_posix() for path in sorted(TESTS.glob(test)))
    assert found, f"judges.toml names {test}, and no test file fits"
    return found
