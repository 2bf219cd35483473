"""``followup due`` and ``overdue``: the day's visits, and whom to reach, in order."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import click

from followup.cli.contract import CommandOutcome, visible
from followup.cli.files import DayOption
from followup.cli.opening import folder_option, opened, settings_from
from followup.cli.words import long_day
from followup.clinical.english import counted, listed
from followup.clinical.protocol.load import load_protocol
from followup.language.catalogues import translator
from followup.recall.jobs.lists import DueLine, ReachLine, due_lines, reach_lines
from followup.records.house.clinics import get_clinic
from followup.typed import one_line


@click.command()
@folder_option
@click.option("--on", type=DayOption(), help="The day; without it today at the clinic.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, one object a visit.")
def due(folder: str | None, on: date | None, as_json: bool) -> CommandOutcome:
    """Print who comes today."""
    settings = settings_from(folder)
    with opened(settings) as store, store.read() as session:
        zone = ZoneInfo(get_clinic(session).zone)
        now = _moment(on, zone)
        day = now.astimezone(zone).date()
        lines = due_lines(session, day, now, load_protocol(settings.protocol).kinds)
    head = f"{long_day(day)}: {counted(len(lines), 'visit', 'visits')}"
    return CommandOutcome(_json(lines) if as_json else _text([head, *(_due(line) for line in lines)]))


@click.command()
@folder_option
@click.option("--on", type=DayOption(), help="The day it is taken to be; without it now.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, one object a person.")
def overdue(folder: str | None, on: date | None, as_json: bool) -> CommandOutcome:
    """Print whom to reach, most pressing first, and why."""
    settings = settings_from(folder)
    with opened(settings) as store, store.read() as session:
        zone = ZoneInfo(get_clinic(session).zone)
        now = _moment(on, zone)
        protocol = load_protocol(settings.protocol)
        lines = reach_lines(session, now, translator("en", "desk"), protocol.kinds, protocol.recall)
    day = now.astimezone(zone).date()
    head = f"{long_day(day)}: {counted(len(lines), 'person', 'people')} to reach"
    return CommandOutcome(_json(lines) if as_json else _text([head, *(_reach(line) for line in lines)]))


def _moment(on: date | None, zone: ZoneInfo) -> datetime:
    """Now, or noon of the day asked for: lateness changes at midnight only."""
    return datetime.combine(on, time(12), zone) if on else datetime.now(UTC)


def _text(lines: Sequence[str]) -> str:
    return visible("\n".join(lines)) + "\n"


def _json(lines: Sequence[DueLine] | Sequence[ReachLine]) -> str:
    return json.dumps([asdict(line) for line in lines], indent=2, ensure_ascii=False, default=str) + "\n"


def _due(line: DueLine) -> str:
    return (
        f"{_who(line)}: {line.standing}; visit {line.visit} for {listed(line.for_what)}; "
        f"last day {long_day(line.last_day)}; {listed(line.telephones) or 'no telephone'}"
    )


def _reach(line: ReachLine) -> str:
    checks = f" For {listed(line.for_what)}." if line.for_what else ""
    return f"{line.kind}: {_who(line)}. {line.why}{checks} {listed(line.telephones) or 'No telephone'}."


def _who(line: DueLine | ReachLine) -> str:
    eyes = "both eyes" if len(line.eyes) == 2 else listed(f"{eye} eye" for eye in line.eyes)
    return f"{line.code} {one_line(line.name)}, {line.age}, {eyes}"
