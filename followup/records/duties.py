"""Whose work it is: the second control, in the use case itself, behind the door of pages and programs.

Every use case that changes care asks :meth:`~followup.records.store.store.Unit.need_role` before it looks at
anything. Whose patient it is, the session says: one that is bound to a site finds no other's. What holds
for every site asks :meth:`~followup.records.store.store.Unit.need_whole_clinic` as well.

The program has a role of its own, which no member of staff can have. It stores what a file says, drafts,
prints, writes the day's messages and completes what is over. It never signs, answers, looks, marks an
arrival or hands over. Putting a backup back has no page and no actor: it is for whoever has the computer
and its files in hand, and is written into the journal.
"""

from __future__ import annotations

from typing import Final

PROGRAM: Final = "program"
SURGEON: Final = ("surgeon",)
CLINICAL: Final = ("counsellor", "surgeon")
WINDOW: Final = ("reception",)
FRONT: Final = ("reception", "counsellor", "surgeon")
DESKS: Final = ("counsellor", "reception")
MANAGER: Final = ("manager",)
STORE: Final = ("pharmacy", "manager")
