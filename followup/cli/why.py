"""``followup plan --why`` and ``--chart``: why a line is so, and the plan as a drawing."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path

from followup.cli.contract import visible
from followup.cli.files import write_out
from followup.clinical.careplan import CarePlan
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.clinical.words.why import why
from followup.drawings.timeline_svg import chart_svg
from followup.errors import FollowupError
from followup.typed import plain

WIDTH = 100


def explained(made: CarePlan, protocol: Protocol, target: str, *, as_json: bool = False) -> str:
    """The chain behind one line of the plan, a sentence a line or as a JSON list."""
    lines = tuple(map(plain, why(made, protocol, target)))
    if as_json:
        return json.dumps(lines, indent=2, ensure_ascii=False)
    return visible("\n".join(_folded(line) for line in lines))


def write_chart(path: str, made: CarePlan, record: Record, protocol: Protocol, never: str) -> None:
    """The time line of every operated eye as an SVG file; ``never`` is the record, kept as it is."""
    if made.refused:
        raise FollowupError(
            "chart.by_hand",
            "a plan that must be made by hand has nothing to draw",
            where=record.patient.code,
            fix="leave --chart out",
        )
    svg = chart_svg([made], record, made.as_of, name=lambda course: protocol.formulary[course.medicine].label)
    write_out(Path(path), svg.encode(), never=never)


def _folded(line: str) -> str:
    return textwrap.fill(line, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
