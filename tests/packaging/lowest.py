"""Print the lowest version of everything that pyproject.toml asks for, as constraints for pip.

    python tests/packaging/lowest.py > oldest.txt && PIP_CONSTRAINT=oldest.txt pip install '.[test]'

What those bring along is the newest that fits, as on a computer that was kept up to date but for them.
"""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def lowest() -> Iterator[str]:
    """Name and lowest version of each dependency, as ``name==version``; tools of style and types apart."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    for line in (*project["dependencies"], *project["optional-dependencies"]["test"]):
        found = re.match(r"([A-Za-z0-9._-]+)(?:\[\w+\])?[=>]=([0-9][0-9.]*)", line)
        if found is None:
            raise SystemExit(f"{line}: no lowest version")
        yield f"{found[1]}=={found[2]}"


if __name__ == "__main__":
    sys.stdout.write("".join(f"{line}\n" for line in lowest()))
