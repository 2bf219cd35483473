"""Put every fault of ``mutants.toml`` into a copy of the program and see that a test notices it.

``python tests/bench/run_mutants.py [AREA or number ...]`` prints a line a fault and, at the end, those
that nobody noticed; exit code 1 if there are any. Nothing but the copy is changed.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

import followup

HERE = Path(__file__).resolve().parent
TESTS = HERE.parent
PACKAGE = Path(followup.__file__).resolve().parent
LIMIT = 600


def mutants() -> list[dict]:
    return tomllib.loads((HERE / "mutants.toml").read_text("utf-8"))["mutant"]


def copied(home: Path) -> Path:
    """A fresh copy of the program to be run instead of the installed one."""
    copy = home / "followup"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("templates", "locales"):
        if (PACKAGE.parent / name).is_dir() and not (home / name).exists():
            shutil.copytree(PACKAGE.parent / name, home / name)
    return copy


def passes(tests: list[str], home: Path) -> bool:
    """Whether the tests pass on the copy in ``home``; a run that never ends does not."""
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests],
            cwd=TESTS,
            env={**os.environ, "PYTHONPATH": str(home)},
            capture_output=True,
            text=True,
            timeout=LIMIT,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return False
    if ended.returncode not in (0, 1):
        raise SystemExit(f"the tests could not be run:\n{ended.stdout}\n{ended.stderr}")
    return ended.returncode == 0


def notices(mutant: dict, home: Path) -> bool:
    """Whether the named tests fail on a copy with the fault in it."""
    path = copied(home) / mutant["file"]
    path.write_text(path.read_text("utf-8").replace(mutant["old"], mutant["new"]), "utf-8")
    return not passes(mutant["tests"], home)


def main(wanted: list[str]) -> int:
    chosen = [
        (number, mutant)
        for number, mutant in enumerate(mutants(), 1)
        if not wanted or mutant["area"] in wanted or str(number) in wanted
    ]
    survived = []
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        copied(home)
        every = sorted({test for _, mutant in chosen for test in mutant["tests"]})
        if not passes(every, home):
            raise SystemExit("the tests fail without any fault: mend that first")
        for number, mutant in chosen:
            seen = notices(mutant, home)
            line = f"{number:2} {mutant['area']:8} {mutant['file']}: {mutant['new'].strip()[:60]!r}"
            sys.stdout.write(f"{'noticed ' if seen else 'SURVIVED'} {line}\n")
            sys.stdout.flush()
            survived += [] if seen else [line]
    sys.stdout.write(f"{len(survived)} survived\n" + "".join(f"{line}\n" for line in survived))
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
