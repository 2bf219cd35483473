"""How much of the told operations is read and asked: ``python tests/telling/measure.py [FOLDER ...]``.

Prints the table by kind of text and every miss. Folders lie in ``told``: own (written with the lexicon in
sight), blind (written by somebody who had not seen it), second to tenth (the same, each after the ones
before were tuned on), french, others (nothing of which may be read).
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from told_operations import Judged, ToldOperation, judged, told_operations

from followup.telling.lexicon import lexicon_of
from followup.telling.reading import read_telling

UNSEEN = ("blind", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
LAST = "tenth"
"""Written unseen by another pen, measured once as it came, then mended where whole texts were misjudged."""


def measured(told: Sequence[ToldOperation]) -> list[Judged]:
    """The judgement on every field of every telling."""
    found: list[Judged] = []
    for one in told:
        telling = read_telling(one.text, lexicon_of(one.language), one.eye)
        if (telling.refused is not None) != bool(one.refused) and not (one.refused and not telling.read):
            said = telling.refused.line if telling.refused else "read"
            found.append(Judged(one, "(all)", "missed", one.refused or "a reading", str(said)))
        found += judged(one, telling)
    return found


def counts(found: Sequence[Judged]) -> dict[str, float]:
    """How many fields were told, read right, asked, missed, read wrong; and the two figures aimed at."""
    number = Counter(one.verdict for one in found)
    told = sum(one.verdict not in ("extra", "fine") and one.field != "(all)" for one in found)
    told -= sum(one.verdict in ("wrong", "turned") and one.field not in _told(one) for one in found)
    wrong = number["wrong"] + number["turned"] + number["extra"]
    fine = sum(one.verdict == "fine" and one.found is not None for one in found)
    read = number["right"] + fine + wrong
    return {
        "told": told,
        "right": number["right"],
        "asked": number["asked"],
        "missed": number["missed"],
        "wrong": wrong,
        "turned": number["turned"],
        "right of read": (read - wrong) / read if read else 1.0,
        "read or asked": (number["right"] + number["asked"]) / told if told else 1.0,
    }


def _told(one: Judged) -> frozenset[str]:
    return frozenset((*one.told.expected, *one.told.doubtful))


def table(found: Sequence[Judged]) -> str:
    """The table by kind of text."""
    kinds = list(dict.fromkeys(one.told.kind for one in found))
    rows = [(kind, [one for one in found if one.told.kind == kind]) for kind in kinds]
    lines = [
        "| kind of text | tellings | told | read right | asked | missed | read wrong | right of read "
        "| read or asked |"
    ]
    lines.append("|---|---|---|---|---|---|---|---|---|")
    for kind, some in [*rows, ("all", list(found))]:
        n = counts(some)
        many = len({one.told.id for one in some})
        lines.append(
            f"| {kind} | {many} | {n['told']} | {n['right']} | {n['asked']} | {n['missed']} | {n['wrong']} "
            f"| {n['right of read']:.1%} | {n['read or asked']:.1%} |"
        )
    return "\n".join(lines)


def misses(found: Sequence[Judged]) -> str:
    """Every miss and every wrong reading, one a line."""
    return "\n".join(
        f"{one.verdict:7} {one.told.id}: {one.field}: told {one.expected}, found {one.found}"
        for one in found
        if one.verdict in ("missed", "wrong", "turned", "extra")
    )


def main(folders: Sequence[str]) -> None:
    for folder in folders:
        found = measured(told_operations(folder))
        sys.stdout.write(f"\n{folder}\n\n{table(found)}\n\n{misses(found)}\n")


if __name__ == "__main__":
    main(sys.argv[1:] or ["own", *UNSEEN, LAST, "french", "others"])
