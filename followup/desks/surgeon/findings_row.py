"""The row of findings: what is measured, the signs of an infection, what else is asked today."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from followup.care.fields.checked import RecordError
from followup.care.fields.shape import RECORD, Field, Group
from followup.desks.forms.sheet import FormView
from followup.desks.page.posted import Posted, first
from followup.errors import FollowupError

PREFIX = "reviews.0."
_GIVEN = ("eye", "date", "by")
_MEASURED = ("vision", "pinhole", "pressure", "cells", "flare")
# Each has its own yes and no; one press says no to those that nobody has answered.
SIGNS = ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin")
NONE_OF_THEM = "signs_none"
_ALSO = ("drops_taken", "technique_seen", "eye_confirmed", "cornea", "chamber", "leak", "epithelial_defect")


@dataclass(frozen=True)
class FindingsRow:
    """The fields of a look in the order in which an eye is looked at; ``rest`` folds away.

    ``asked``: the names of those that the protocol asks for today; ``also`` begins with them.
    """

    measured: tuple[Field, ...]
    signs: tuple[Field, ...]
    also: tuple[Field, ...]
    rest: tuple[Field, ...]
    asked: frozenset[str]

    @property
    def every(self) -> tuple[Field, ...]:
        """All of them, in order."""
        return (*self.measured, *self.signs, *self.also, *self.rest)


def findings_row(asked: Iterable[str] = (), fitting: Iterable[str] = ()) -> FindingsRow:
    """The row of a look that is asked for the findings of these names, ``fitting`` ones beside them."""
    shape, wanted = RECORD.member("reviews"), tuple(asked)
    assert isinstance(shape, Group)
    fields = {m.name: m for m in shape.members if isinstance(m, Field) and m.name not in _GIVEN}
    own = [name for name in wanted if name in fields and name not in (*_MEASURED, *SIGNS)]
    also = tuple(dict.fromkeys((*own, *fitting, *_ALSO)))
    rest = tuple(field for name, field in fields.items() if name not in (*_MEASURED, *SIGNS, *also))
    measured, signs, others = (tuple(fields[name] for name in part) for part in (_MEASURED, SIGNS, also))
    return FindingsRow(measured, signs, others, rest, frozenset(wanted))


def with_none_of_them(form: Posted) -> Posted:
    """What was posted, with "no" to each sign left open where that was said of all of them."""
    if first(form, NONE_OF_THEM) != "yes":
        return form
    left = (name for sign in SIGNS if not first(form, name := f"{PREFIX}{sign}"))
    return form | {name: ["no"] for name in left}


def again(form: Posted, exc: FollowupError) -> FormView:
    """The row as it was typed. Problems carry the look's place in the record; on the page it is 0."""
    problems = exc.problems if isinstance(exc, RecordError) else {}
    named = {f"{PREFIX}{name.split('.')[-1]}": text for name, text in problems.items()}
    return FormView(form, named, focus=next(iter(named), ""))
