"""The one table of the sheet: what goes in by the clock, day by day, and the visits between."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise, takewhile

from followup.clinical.careplan import CarePlan, Course, Trip
from followup.clinical.day_plan import Bottle, halves
from followup.clinical.plan.course_table import MOST_ROUNDS, BottleMark, DaysRow, VisitRow, course_table
from followup.clinical.statuses import TO_COME
from followup.language.catalogues import N_
from followup.language.dates import day_in_row, opening, row_day, row_days, said_hour
from followup.sheets.day_parts import DAY_PARTS, day_part
from followup.sheets.inputs import SheetInputs, once, sentences
from followup.sheets.medicines import EVERY_DAY, FROM_ON, tablets
from followup.sheets.model import Column, DaysLine, LeafTable, NewSupply, RowMark, VisitLine
from followup.sheets.options import Paper, Size
from followup.sheets.visits import place, whys
from followup.sheets.wording import (
    AMOUNT_TIMES,
    MORE_DOSES,
    MORE_TABLETS,
    NEW_BOTTLE,
    NEW_ROWS,
    NOW,
    TABLETS_MG,
    TODAY,
)
from followup.timing.calendar import every_day
from followup.timing.waking import MINUTES_A_DAY, minutes_of

NO_ROUNDS = N_("No drops at fixed times.")
# Translators: when a bottle is used that goes in very often; both times are included.
EVERY_HOUR = N_("every hour from %(start)s to %(end)s")

_OINTMENTS = ("gel", "ointment")
# So many times in a run are said by their distance.
_LEAST_RUN = 5
# As many columns as a time of day in its least size has room for, beside the column of the dates.
_MOST_COLUMNS: dict[tuple[Paper, Size], int] = {
    ("A4", "normal"): 11,
    ("Letter", "normal"): 11,
    ("A5", "normal"): 6,
    ("A4", "large"): 6,
    ("Letter", "large"): 6,
    ("A5", "large"): 3,
}


def leaf_table(inputs: SheetInputs, previous: CarePlan | None) -> LeafTable:
    """The rows that are not over, with what differs from the sheet of ``previous`` marked."""
    in_columns = _in_columns(inputs)
    times = [time for time in inputs.table.times if any(time in row.times for row in in_columns)]
    news = _News(inputs, previous)
    rows = tuple(_rows(inputs, times, in_columns, news))
    days = [row for row in rows if isinstance(row, DaysLine)]
    return LeafTable(
        heading=inputs.words.gettext("Your drops by the clock"),
        columns=tuple(_column(inputs, time) for time in times),
        rows=rows,
        now=inputs.say(NOW),
        today=inputs.say(TODAY),
        new=inputs.say(NEW_ROWS) if any(row.new for row in rows) else None,
        rules=(*_after_midnight(inputs, times), *_round_rules(inputs)) if days else (),
        none=None if days else inputs.say(NO_ROUNDS),
    )


def _in_columns(inputs: SheetInputs) -> list[DaysRow]:
    """The rows whose times are columns: not those with too many rounds, and as many as there is room for.

    Where there is not, the row with the most rounds is told in words, and so on.
    """
    most = _MOST_COLUMNS[inputs.options.paper, inputs.options.size]
    rows = [row for row in inputs.rows if len(row.times) <= min(MOST_ROUNDS, most)]
    while len({time for row in rows for time in row.times}) > most:
        rows.remove(max(rows, key=lambda row: (len(row.times), row.start)))
    return rows


def _column(inputs: SheetInputs, time: str) -> Column:
    return Column(
        time=inputs.number(time),
        said=said_hour(time, inputs.words.language),
        part=day_part(time),
        part_words=inputs.say(DAY_PARTS[day_part(time)]),
        native=inputs.native(time),
    )


def _rows(
    inputs: SheetInputs, times: Sequence[str], in_columns: Sequence[DaysRow], news: _News
) -> Iterator[DaysLine | VisitLine]:
    told: dict[str, float] = {}  # by mouth: how much each time, as the row before said
    for row in inputs.table.rows:
        if isinstance(row, VisitRow):
            if row.trip.status in TO_COME and row.trip.date >= inputs.printed_on:
                yield _visit(inputs, row, news)
        elif not row.is_over(inputs.printed_on):
            marks = inputs.in_order(row.marks)
            yield DaysLine(
                dates=_dates(inputs, row),
                now=row.holds_on(inputs.printed_on),
                new=news.of_days(row),
                told=row not in in_columns,
                marks=tuple(_mark(inputs, m, times, told.get(m.course.key) == m.tablets) for m in marks),
            )
            told |= {mark.course.key: mark.tablets for mark in marks if mark.tablets is not None}


def _dates(inputs: SheetInputs, row: DaysRow) -> str:
    language = inputs.words.language
    if row.end is not None:
        return row_days(max(row.start, inputs.printed_on), row.end, language)
    if row.start <= inputs.printed_on:
        return inputs.say(EVERY_DAY)
    return opening(inputs.say(FROM_ON) % {"day": day_in_row(row.start, language)})


def _mark(inputs: SheetInputs, mark: BottleMark, times: Sequence[str], as_before: bool) -> RowMark:
    amount, line = _amount(inputs, mark), _times_told(inputs, mark.times)
    bottle = inputs.bottle(mark.course)
    if amount is not None:
        line = inputs.say(AMOUNT_TIMES) % {"amount": amount, "times": line}
        bottle = bottle.model_copy(update={"due": f"{inputs.medicine(mark.course).name}: {amount}"})
    return RowMark(
        bottle=bottle,
        at=tuple(time in mark.times for time in times),
        amount=None if as_before else amount,
        figure=None if mark.tablets is None else inputs.number(halves(mark.tablets)),
        line=line,
        count=len(mark.times),
    )


def _amount(inputs: SheetInputs, mark: BottleMark) -> str | None:
    """How much of it each time, by mouth."""
    if mark.tablets is None:
        return None
    medicine = inputs.medicine(mark.course)
    told = tablets(inputs, medicine, mark.tablets)
    if medicine.tablet_mg is None:
        return told
    mg = inputs.number(f"{mark.tablets * medicine.tablet_mg:g}")
    return inputs.say(TABLETS_MG) % {"tablets": told, "mg": mg}


def _times_told(inputs: SheetInputs, times: Sequence[str]) -> str:
    """The times one by one; a long run at the same distance by its first, its last and how many hours."""
    told, left = [], list(times)
    while left:
        hours, run = max(((hours, _run(left, hours)) for hours in (1, 2)), key=lambda found: found[1])
        if run >= _LEAST_RUN:
            told.append(_every_hours(inputs, hours, left[0], left[run - 1]))
        else:
            run = 1
            told.append(inputs.time(left[0]))
        left = left[run:]
    return ", ".join(told)


def _run(times: Sequence[str], hours: int) -> int:
    """How many of the times from the first on follow each other after so many hours."""
    steps = ((minutes_of(b) - minutes_of(a)) % MINUTES_A_DAY for a, b in pairwise(times))
    return 1 + sum(1 for _ in takewhile(lambda step: step == hours * 60, steps))


def _every_hours(inputs: SheetInputs, hours: int, start: str, end: str) -> str:
    """So many hours from one drop to the next, from the first clock time to the last."""
    values = {"start": inputs.time(start), "end": inputs.time(end)}
    if hours == 1:
        return inputs.say(EVERY_HOUR) % values
    # Translators: the same, with the number of hours from one drop to the next.
    text = inputs.words.ngettext(
        "every %(count)s hour from %(start)s to %(end)s",
        "every %(count)s hours from %(start)s to %(end)s",
        hours,
    )
    return text % {**values, "count": inputs.number(str(hours))}


def _visit(inputs: SheetInputs, row: VisitRow, news: _News) -> VisitLine:
    day = row_day(row.trip.date, inputs.words.language)
    if row.trip.hour is not None:
        hour = inputs.number(row.trip.hour)
        day = inputs.words.gettext("%(day)s, at %(time)s") % {"day": day, "time": hour}
    reasons = whys(inputs, row.trip)
    return VisitLine(
        day=day,
        eyes=tuple(eye for eye in inputs.eyes if any(of in (eye, None) for of, _ in reasons)),
        new=news.of_visit(row.trip),
        reason=reasons[0][1],
        notes=tuple(place(inputs, row.trip)),
        handed=tuple(_handed(inputs, row.bottles)),
    )


def _handed(inputs: SheetInputs, bottles: Sequence[Bottle]) -> Iterator[NewSupply]:
    """New bottles, then single doses, then tablets; one name for several."""
    named = [
        (_supply(inputs, bottle), inputs.bottle(inputs.plan.course(bottle.course))) for bottle in bottles
    ]
    for words in (NEW_BOTTLE, MORE_DOSES, MORE_TABLETS):
        if marks := tuple(mark for sort, mark in named if sort == words):
            yield NewSupply(words=inputs.say(words), bottles=marks)


def _supply(inputs: SheetInputs, bottle: Bottle) -> str:
    if bottle.units is None:
        return NEW_BOTTLE
    single = inputs.medicine(inputs.plan.course(bottle.course)).single_dose
    return MORE_DOSES if single else MORE_TABLETS


class _News:
    """What was not so on the sheet before."""

    def __init__(self, inputs: SheetInputs, previous: CarePlan | None) -> None:
        self._from = inputs.printed_on
        self._before = None if previous is None else course_table(previous)
        self._visits = set()
        if previous is not None:
            self._visits = {(t.date, t.hour) for t in previous.trips if t.status in TO_COME}

    def of_days(self, row: DaysRow) -> bool:
        """Whether a day of the row that the sheet before spoke of had other drops there.

        What goes on past a plan is judged by its first day: it is the same on all.
        """
        before = self._before
        if before is None:
            return False
        start = max(row.start, self._from)
        now = _drops(row)
        days = every_day(start, row.end) if row.end else (start,)
        return any(_drops(before.on(day)) != now for day in days)

    def of_visit(self, trip: Trip) -> bool:
        return self._before is not None and (trip.date, trip.hour) not in self._visits


def _drops(row: DaysRow | None) -> set[tuple[str, tuple[str, ...], float | None]]:
    marks = row.marks if row else ()
    return {(f"{m.course.medicine} {m.course.eye}", m.times, m.tablets) for m in marks}


def _after_midnight(inputs: SheetInputs, times: Sequence[str]) -> tuple[str, ...]:
    """The columns whose times belong to the day before: said in words, for the head has no room for it."""
    return once(told for time in times if (told := inputs.time(time)) != inputs.number(time))


def _round_rules(inputs: SheetInputs) -> tuple[str, ...]:
    """How the bottles of one round follow each other."""
    _ = inputs.words.gettext
    active, shared, minutes = inputs.drops("active"), _shared(inputs), wait_minutes(inputs)
    ointment = any(inputs.medicine(c).form in _OINTMENTS for c in shared)
    return sentences(
        _("Start with the first bottle of the row and go on in the order shown.")
        if len(active) > 1
        else None,
        _("Between one eye and the other you need not wait.") if len({c.eye for c in active}) > 1 else None,
        _before_ointment(inputs, max(inputs.aftercare.drops.ointment_wait_minutes, minutes))
        if ointment
        else None,
    )


def _shared(inputs: SheetInputs) -> list[Course]:
    """The drops of an eye that gets more than one."""
    active = inputs.drops("active")
    return [c for c in active if sum(other.eye == c.eye for other in active) > 1]


def wait_minutes(inputs: SheetInputs) -> int:
    """How long to wait between two bottles of one eye; 0 where no eye gets two."""
    return max((inputs.medicine(c).wait_minutes for c in _shared(inputs)), default=0)


def between_bottles(inputs: SheetInputs, minutes: int) -> str:
    text = inputs.words.ngettext(
        "Between two bottles for the same eye wait at least %(count)s minute.",
        "Between two bottles for the same eye wait at least %(count)s minutes.",
        minutes,
    )
    return text % {"count": inputs.number(str(minutes))}


def _before_ointment(inputs: SheetInputs, minutes: int) -> str:
    text = inputs.words.ngettext(
        "Ointment or gel comes last, %(count)s minute after the drops.",
        "Ointment or gel comes last, %(count)s minutes after the drops.",
        minutes,
    )
    return text % {"count": inputs.number(str(minutes))}
