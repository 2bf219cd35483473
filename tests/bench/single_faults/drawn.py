"""A sample of faults: the same tree draws the same everywhere."""

from __future__ import annotations

import hashlib
import random
from collections import defaultdict

from single_faults.fault import Fault
from single_faults.program import TESTS, files, path_of


def seed() -> str:
    """What the program, its data and its tests hold, as a few letters."""
    summed = hashlib.sha256()
    tests = [path for ending in ("py", "toml") for path in TESTS.rglob(f"*.{ending}")]
    for path in [*(path_of(file) for file in files()), *sorted(tests)]:
        summed.update(path.read_bytes())
    return summed.hexdigest()[:12]


def sample(faults: list[Fault], size: int, seed: str) -> list[Fault]:
    """``size`` faults: each kind in turn gives one, so that rare kinds are there too."""
    chance = random.Random(seed)
    by_kind: dict[str, list[Fault]] = defaultdict(list)
    for fault in faults:
        by_kind[fault.kind].append(fault)
    for held in by_kind.values():
        chance.shuffle(held)
    drawn: list[Fault] = []
    while len(drawn) < size and any(by_kind.values()):
        for kind in sorted(by_kind):
            if by_kind[kind] and len(drawn) < size:
                drawn.append(by_kind[kind].pop())
    return drawn
