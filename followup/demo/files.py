"""The sample clinic as files: its sheets, the day's visits and those to reach."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from followup.care.hand import hand_for
from followup.care.sheets.content import content_of
from followup.desks.door.hand import Desk
from followup.errors import FollowupError
from followup.language.catalogues import translator
from followup.recall.jobs.lists import DueLine, ReachLine, as_csv, due_lines, reach_lines
from followup.records.plans.plans import plans_in_force
from followup.records.plans.sheets import sheets_of
from followup.records.store.store import Session
from followup.records.views import SheetView
from followup.sheets.paper.pdf import render_pdf

MARK = "sample-clinic.txt"
_OURS = {MARK, "sheets", "due.csv", "overdue.csv", "recall-keys.json"}
_DATABASE = "followup.sqlite3"
# The database while its weeks are told: nobody takes it for a clinic, and a kill leaves no half of one.
_UNFINISHED = "being-told.sqlite3"


@dataclass(frozen=True)
class Written:
    """How many sheets and lines were written."""

    sheets: int
    due: int
    to_reach: int


def claim_folder(folder: Path) -> bool:
    """Make ``folder`` an empty one of ours; an earlier demonstration in it is taken away.

    True where that one had not been told to its end. Error ``demo.folder`` where the folder holds anything
    else: nothing of another's is ever touched.
    """
    if folder.exists() and not folder.is_dir():
        raise FollowupError("demo.folder", "it is a file", where=str(folder), fix="name a folder")
    found = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    strange = [name for name in found if name not in _OURS and not name.startswith((_DATABASE, _UNFINISHED))]
    sheets = folder / "sheets"
    strange += [path.name for path in sheets.iterdir() if path.suffix != ".pdf"] if sheets.is_dir() else []
    if found and (MARK not in found or strange):
        raise FollowupError(
            "demo.folder",
            f"the folder holds other things, such as {(strange or found)[0]}",
            where=str(folder),
            fix="name an empty or a new folder",
        )
    for name in found:
        path = folder / name
        shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / MARK).write_text("An invented sample clinic. It may be deleted at any time.\n", "utf-8")
    return _UNFINISHED in found


def unfinished(folder: Path) -> Path:
    """The database of a sample clinic in ``folder`` while it is told."""
    return folder / _UNFINISHED


def finish(folder: Path) -> None:
    """Give the database, closed and told to its end, the name under which a clinic's is looked for."""
    for path in sorted(folder.glob(f"{_UNFINISHED}*"), reverse=True):
        path.rename(path.with_name(path.name.replace(_UNFINISHED, _DATABASE)))


def write_files(
    desk: Desk, folder: Path, now: datetime, tell: Callable[[str], None] = lambda _line: None
) -> Written:
    """Write every sheet in force as PDF and the two lists as CSV; ``tell`` is told when it begins."""
    hand = hand_for(desk.store, desk.protocol, desk.keyring, now=now)
    with desk.store.read() as session:
        kinds = desk.protocol.kinds
        due = due_lines(session, hand.today, now, kinds)
        reach = reach_lines(session, now, translator("en", "desk"), kinds, desk.protocol.recall)
        sheets = [sheet for patient in sorted(plans_in_force(session)) for sheet in _newest(session, patient)]
        contents = [content_of(session, hand, sheet) for sheet in sheets]
    tell(f"Setting {len(sheets)} sheets")
    (folder / "sheets").mkdir(exist_ok=True)
    # One sheet is made ready and looked over while the typesetter, a process of its own, sets another.
    with ThreadPoolExecutor(2) as pool:
        for sheet, pdf in zip(sheets, pool.map(render_pdf, contents), strict=True):
            (folder / "sheets" / f"{sheet.patient_code}-{sheet.issue}.pdf").write_bytes(pdf)
    (folder / "due.csv").write_bytes(as_csv(DueLine, due).encode())
    (folder / "overdue.csv").write_bytes(as_csv(ReachLine, reach).encode())
    return Written(len(sheets), len(due), len(reach))


def _newest(session: Session, patient_id: int) -> tuple[SheetView, ...]:
    """The patient's newest sheet of the plan in force, if one was printed."""
    return tuple(sheet for sheet in sheets_of(session, patient_id) if sheet.replaced_at is None)[-1:]
