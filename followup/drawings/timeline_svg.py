"""A time line as a picture, as a table beside it, and the picture of all operated eyes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from html import escape

from followup.clinical.careplan import CarePlan
from followup.clinical.record import Eye, Record
from followup.drawings.shapes import drawing
from followup.drawings.timeline import LookMark, Name, Timeline, build_timeline
from followup.drawings.timeline_layout import NARROW, WIDTH, Layout
from followup.drawings.timeline_words import ENGLISH, TimelineWords


def timeline_svg(
    line: Timeline, words: TimelineWords = ENGLISH, *, width: float = WIDTH, titled: bool = True
) -> str:
    """The time line as SVG; without its title for a page that names eye and day 0 itself."""
    return _picture(line, words, width=width, titled=titled)[0]


def timeline_table(line: Timeline, words: TimelineWords = ENGLISH) -> str:
    """The same as an HTML table: a row for every day on which something changes or was seen."""
    columns = _columns(line, words)
    head = "".join(f'<th scope="col">{escape(column)}</th>' for column in columns)
    rows = "\n".join(_row(columns, cells) for cells in timeline_rows(line, words))
    caption = escape(_title(line, words))
    return f'<table>\n<caption>{caption}</caption>\n<tr class="thead">{head}</tr>\n{rows}\n</table>'


def chart_svg(plans: Sequence[CarePlan], record: Record, as_of: date, *, name: Name | None = None) -> str:
    """The time lines of all operated eyes, one under the other."""
    eyes: list[Eye] = [
        e for e in ("right", "left") if any(o.eye == e and o.date <= as_of for o in record.operations)
    ]
    pictures = [_picture(build_timeline(plans, record, eye, as_of, name=name), ENGLISH) for eye in eyes]
    if len(pictures) == 1:
        return pictures[0][0] + "\n"
    inner, y = [], 0
    for svg, height in pictures:
        inner.append(svg.replace("<svg ", f'<svg y="{y}" ', 1))
        y += height
    body = "\n".join(inner)
    size = f'viewBox="0 0 {WIDTH:g} {y}" width="{WIDTH:g}" height="{y}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>\n{body}\n</svg>\n'


def _picture(
    line: Timeline, words: TimelineWords, *, width: float = WIDTH, titled: bool = True
) -> tuple[str, int]:
    layout = Layout(line, words, width=width, titled=titled)
    svg = drawing(
        layout.shapes,
        width=width,
        height=layout.height,
        id_=f"timeline-{line.eye}-narrow" if width == NARROW else f"timeline-{line.eye}",
        title=_title(line, words),
        description=describe(line, words),
    )
    return svg, layout.height


def _title(line: Timeline, words: TimelineWords) -> str:
    _ = words.gettext
    text = (
        _("Time line of the right eye, operated on {day}")
        if line.eye == "right"
        else _("Time line of the left eye, operated on {day}")
    )
    return text.format(day=words.day(line.day0))


def _columns(line: Timeline, words: TimelineWords) -> tuple[str, ...]:
    _ = words.gettext
    return (
        *(_("Day"), _("Date"), _("Steroid drops a day"), _("Cells"), _("Flare")),
        *(_("Pressure, mmHg"), _("Vision"), _("Visit")),
        *((_("Cells expected, at most"),) if line.expected else ()),
    )


def describe(line: Timeline, words: TimelineWords = ENGLISH) -> str:
    """The drawing in words."""
    _ = words.gettext
    steps = "; ".join(
        _("{count} a day on days {start} to {end}").format(count=s.count, start=s.start, end=s.end)
        for s in line.steroid
    )
    looks = "; ".join(_look(look, words) for look in line.looks)
    visits = "; ".join(
        _("day {day}: {state}").format(day=v.day, state=words.visit(v.state)) for v in line.visits
    )
    told = [
        _("Steroid drops: {steps}.").format(steps=steps) if steps else _("No steroid drops."),
        _("Looks: {looks}.").format(looks=looks) if looks else _("No looks yet."),
        _("Visits: {visits}.").format(visits=visits) if visits else _("No visits."),
    ]
    return " ".join(told)


def _look(look: LookMark, words: TimelineWords) -> str:
    return words.gettext(
        "day {day}: cells {cells}, flare {flare}, pressure {pressure} mmHg, vision {vision}"
    ).format(
        day=look.day,
        cells=look.cells_word,
        flare=look.flare,
        pressure=look.pressure_word,
        vision=look.vision,
    )


def timeline_rows(line: Timeline, words: TimelineWords = ENGLISH) -> Iterator[tuple[str, ...]]:
    """Every day on which the count changes, the eye was seen, or a visit lies, in the columns' order."""
    looks = {look.day: look for look in line.looks}
    visits = {visit.day: words.visit(visit.state) for visit in line.visits}
    turns = {s.start for s in line.steroid} | {s.end + 1 for s in line.steroid}
    for day in sorted({*looks, *visits, *(t for t in turns if t <= line.last)}):
        look = looks.get(day)
        seen = (look.cells_word, look.flare, look.pressure_word, look.vision) if look else ("",) * 4
        told = str(day), words.day(line.date(day)), str(line.count_on(day)), *seen, visits.get(day, "")
        yield (*told, line.expected_on(day)) if line.expected else told


def _row(columns: tuple[str, ...], cells: tuple[str, ...]) -> str:
    first, *rest = (escape(cell) for cell in cells)
    labelled = (
        f'<td data-label="{escape(column)}"><bdi>{cell}</bdi></td>' if cell else "<td></td>"
        for column, cell in zip(columns[1:], rest, strict=True)
    )
    return f'<tr><th scope="row">{first}</th>' + "".join(labelled) + "</tr>"
