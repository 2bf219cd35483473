"""Every kind of change that a surgeon signs is kept with the plan as it was."""

from __future__ import annotations

from followup.clinical.adjustments import CourseAdded, CourseEdit, NeedAdded
from followup.records.plans.plans import plan


def test_changed_steps_an_added_course_and_an_added_look_come_back_as_they_were(ward):
    day = ward.day(7)
    edits = (
        CourseEdit(course="right:steroid", starts=day, steps=((8, 7), (6, 7)), reason="cells", by="Dr Sen"),
        CourseAdded(
            eye="right", medicine="dorzolamide-2", starts=day, steps=((3, 28),), reason="27 mmHg", by="Dr Sen"
        ),
        NeedAdded(
            eye="right",
            need="pressure",
            earliest=day,
            target=day,
            latest=day,
            reason="measure again",
            by="Dr Sen",
        ),
    )
    drafted = ward.draft(ward.enter(), edits=edits)
    with ward.store.read() as session:
        assert plan(session, drafted.id).edits == edits
