"""A time line as a picture, as a table beside it, and the picture of all operated eyes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from html import escape

from followup.clinical.careplan import CarePlan
from followup.clinical.english import day_words, listed
from followup.clinical.record import Eye, Record
from followup.sheets.shapes import drawing
from followup.sheets.timeline import Name, Say, Timeline, build_timeline
from followup.sheets.timeline_layout import WIDTH, Layout

_COLUMNS = ("Day", "Date", "Steroid drops a day", "Cells", "Flare", "Pressure, mmHg", "Vision", "Visit")


def timeline_svg(
    plans: Sequence[CarePlan],
    record: Record,
    eye: Eye,
    as_of: date,
    *,
    name: Name | None = None,
    say: Say = str,
) -> str:
    """The time line of one eye as SVG; ``plans`` are its signed versions, oldest first."""
    return _picture(build_timeline(plans, record, eye, as_of, name=name), say)[0]


def timeline_table(
    plans: Sequence[CarePlan],
    record: Record,
    eye: Eye,
    as_of: date,
    *,
    name: Name | None = None,
    say: Say = str,
) -> str:
    """The same as an HTML table: a row for every day on which something changes or was seen."""
    line = build_timeline(plans, record, eye, as_of, name=name)
    head = "".join(f'<th scope="col">{escape(say(column))}</th>' for column in _COLUMNS)
    rows = "\n".join(_row(cells) for cells in timeline_rows(line, say))
    caption = escape(say(_title(line)))
    return f"<table>\n<caption>{caption}</caption>\n<tr>{head}</tr>\n{rows}\n</table>"


def chart_svg(plans: Sequence[CarePlan], record: Record, as_of: date, *, name: Name | None = None) -> str:
    """The time lines of all operated eyes, one under the other."""
    eyes: list[Eye] = [
        e for e in ("right", "left") if any(o.eye == e and o.date <= as_of for o in record.operations)
    ]
    pictures = [_picture(build_timeline(plans, record, eye, as_of, name=name), str) for eye in eyes]
    if len(pictures) == 1:
        return pictures[0][0] + "\n"
    inner, y = [], 0
    for svg, height in pictures:
        inner.append(svg.replace("<svg ", f'<svg y="{y}" ', 1))
        y += height
    body = "\n".join(inner)
    size = f'viewBox="0 0 {WIDTH:g} {y}" width="{WIDTH:g}" height="{y}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>\n{body}\n</svg>\n'


def _picture(line: Timeline, say: Say) -> tuple[str, int]:
    layout = Layout(line, say)
    svg = drawing(
        layout.shapes,
        width=WIDTH,
        height=layout.height,
        id_=f"timeline-{line.eye}",
        title=say(_title(line)),
        description=describe(line),
    )
    return svg, layout.height


def _title(line: Timeline) -> str:
    return f"Time line of the {line.eye} eye, operated on {day_words(line.day0)}"


def describe(line: Timeline) -> str:
    """The drawing in words."""
    steps = listed(f"{s.count} a day on days {s.start} to {s.end}" for s in line.steroid)
    looks = "; ".join(
        f"day {look.day}: cells {look.cells_word}, flare {look.flare}, {look.pressure_word} mmHg, "
        f"vision {look.vision}"
        for look in line.looks
    )
    visits = listed(f"day {v.day} ({v.state})" for v in line.visits)
    told = [
        f"Steroid drops: {steps or 'none'}.",
        f"Looks: {looks}." if looks else "No looks yet.",
        f"Visits: {visits or 'none'}.",
    ]
    return " ".join(told)


def timeline_rows(line: Timeline, say: Say = str) -> Iterator[tuple[str, ...]]:
    """Every day on which the count changes, the eye was seen, or a visit lies, in the columns' order."""
    looks = {look.day: look for look in line.looks}
    visits = {visit.day: say(visit.state) for visit in line.visits}
    turns = {s.start for s in line.steroid} | {s.end + 1 for s in line.steroid}
    for day in sorted({*looks, *visits, *(t for t in turns if t <= line.last)}):
        look = looks.get(day)
        seen = (look.cells_word, look.flare, look.pressure_word, look.vision) if look else ("",) * 4
        yield str(day), day_words(line.date(day)), str(line.count_on(day)), *seen, visits.get(day, "")


def _row(cells: tuple[str, ...]) -> str:
    first, *rest = (escape(cell) for cell in cells)
    return f'<tr><th scope="row">{first}</th>' + "".join(f"<td>{cell}</td>" for cell in rest) + "</tr>"
