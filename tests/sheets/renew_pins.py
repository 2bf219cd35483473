"""Pin the paper as it comes out now: see ``test_pinned.py``.

``python tests/sheets/renew_pins.py [--look FOLDER]``; with a folder nothing is pinned, the pages lie there.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS / "shared"), str(TESTS / "sheets")]

from conftest import FORMULARY  # noqa: E402
from outline import outline  # noqa: E402
from paper import refusal, set_  # noqa: E402
from pinned_sheets import BY_NAME, PROTOCOLS, refused  # noqa: E402
from pins import pin, versions  # noqa: E402
from time_lines import DRAWINGS  # noqa: E402


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--look", type=Path, metavar="FOLDER")
    look = parser.parse_args(arguments).look
    made = {name: set_(job(FORMULARY)) for name, job in BY_NAME.items()}
    made |= {name: set_(job) for name, job in PROTOCOLS.items()}
    if look:
        look.mkdir(parents=True, exist_ok=True)
        for name, pdf in made.items():
            (look / f"{name}.pdf").write_bytes(pdf)
        return
    for name, pdf in made.items():
        pin(name, outline(pdf))
    for name, drawn in DRAWINGS.items():
        pin(name, drawn())
    pin("refused", [f"{what}: {refusal(job)}" for what, job in refused(FORMULARY).items()])
    pin("made_with", [f"{name}=={version}" for name, version in versions().items()])


if __name__ == "__main__":
    main(sys.argv[1:])
