"""The sample clinic switched off for four days and started again, beside one that was never off."""

from __future__ import annotations

import shutil
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from followup.clinical.protocol.load import load_protocol
from followup.demo.clinic import TIME_ZONE
from followup.language.catalogues import translator
from followup.recall.jobs.daily import Workplace
from followup.recall.jobs.lists import due_lines, reach_lines
from followup.recall.jobs.scheduler import sweep_if_ours
from followup.records.house.staff import open_session
from followup.records.jobs.upkeep import daily_runs, transitions
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.records.views import SYSTEM


def _lived(made: Any, folder: Path, days: tuple[int, ...]) -> tuple[object, ...]:
    """The sample clinic after its jobs ran on these days: lists, files and transitions of the last."""
    folder.mkdir()
    for path in made.folder.glob("followup.sqlite3*"):
        shutil.copy(path, folder / path.name)
    store, protocol = Store.open(sqlite_url(folder / "followup.sqlite3")), load_protocol()
    place, zone = Workplace(store, protocol, folder), ZoneInfo(TIME_ZONE)
    for day in days:
        now = datetime.combine(made.today + timedelta(days=day), time(10), zone)
        # Whoever opens the clinic sees the date: after days off messages wait for that.
        with store.write(SYSTEM, now) as unit:
            open_session(unit, login="reception", lifetime=timedelta(hours=8))
        assert sweep_if_ours(store, "a", now, place=place) is not None
    with store.read() as session:
        due = due_lines(session, now.date(), now, protocol.kinds)
        reach = reach_lines(session, now, translator("en", "desk"), protocol.kinds, protocol.recall)
        turned = {(one.trip_id, one.kind, one.became_at) for one in transitions(session)}
        runs = [run for run in daily_runs(session, since=made.today) if run.job == "day-before reminders"]
    store.close()
    files = {path.name: path.read_text() for path in place.lists.glob(f"{now.date()}-*")}
    return due, reach, turned, files, [run.day for run in runs]


def test_after_four_days_off_the_lists_are_those_of_a_clinic_that_was_never_off(
    made: Any, tmp_path: Path
) -> None:
    never_off = _lived(made, tmp_path / "on", (0, 1, 2, 3, 4))
    off = _lived(made, tmp_path / "off", (0, 4))
    assert off == never_off
    _, reach, turned, files, days = off
    assert len(reach) > 5
    assert len(turned) > 5
    assert {name[11:] for name in files} >= {"due.csv", "to-reach.csv", "pharmacy.csv"}
    assert len(days) == 5
