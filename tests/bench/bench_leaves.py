"""How many pages every told operation's sheet takes, and in which letters, in every language.

Run it by hand: ``PYTHONPATH=. python tests/bench/bench_leaves.py``, with a paper, ``large``, ``pictures`` or
tags of languages where not all are wanted.

A cell is the first sheet and one that replaces another, each with its pages; a c stands behind those that
needed the least size of letters. Nothing is judged.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import get_args

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "shared"))

from told_sheets import CASES, sheet

from followup.errors import FollowupError
from followup.language.languages import LANGUAGES
from followup.sheets.options import Paper, SheetOptions
from followup.sheets.paper.pdf import laid_out, leaf_pages


def cell(case: str, tag: str, options: SheetOptions) -> tuple[str, int, int]:
    """Both sheets in a few letters; how many of them need more than their leaf, and the least size."""
    said, over, close = [], 0, 0
    for replaced in (False, True):
        content = sheet(case, tag, replaced=replaced, options=options)
        try:
            _, (data,), pages = laid_out(content)
        except FollowupError as refused:
            said.append(refused.code.partition(".")[2])
            over += 1
            continue
        said.append(f"{pages}{'c' if data['close'] else ''}")
        over += pages > leaf_pages(content)
        close += data["close"]
    return " ".join(said), over, close


def _tell(*cells: str) -> None:
    sys.stdout.write(" ".join(cells) + "\n")
    sys.stdout.flush()


def main(arguments: list[str]) -> None:
    paper = next((name for name in get_args(Paper) if name in arguments), "A4")
    options = SheetOptions(
        paper=paper, size="large" if "large" in arguments else "normal", pictures="pictures" in arguments
    )
    tags = [tag for tag in LANGUAGES if tag in arguments] or list(LANGUAGES)
    _tell(f"{'':12}", *(f"{tag:>9}" for tag in tags))
    over = close = 0
    for case in CASES:
        row = [cell(case, tag, options) for tag in tags]
        over, close = over + sum(r[1] for r in row), close + sum(r[2] for r in row)
        _tell(f"{case:12}", *(f"{said:>9}" for said, _, _ in row))
    _tell(f"{len(CASES) * len(tags) * 2} sheets, {close} in the least size, {over} beyond their leaf")


if __name__ == "__main__":
    main(sys.argv[1:])
