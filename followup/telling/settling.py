"""From all that was said of a field to one reading, or to a question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from followup.clinical.record.fields import held, leads
from followup.telling.model import FieldTold, GivenUp, Passage, Possible, ToldValue, WhyAsked
from followup.telling.phrases import QUESTIONS
from followup.telling.remark import Remark


def settled(field: str, remarks: Sequence[Remark], *, last_counts: bool) -> FieldTold | None:
    """What the remarks on one field come to; None where nothing of it stands in the end.

    ``last_counts``: what is told last of this field is how it was in the end, where it is told as that.
    """
    standing = [one for one in remarks if one.state == "done"] or _only_tried(remarks)
    sure = [one for one in standing if one.why is None]
    # What only names a thing asks nothing once more was said of it, but that it is not there.
    strong = [one for one in standing if not one.weak]
    if strong and all(one.value for one in strong):
        standing = strong
    if not standing:
        return None
    if _is_list(field):
        return _list(field, standing)
    if last_counts and (ended := _in_the_end(sure)) and not _added(field, ended):
        sure, standing = ended, [*ended, *(one for one in standing if one.unsettles)]
    if last_counts and field != "operation.pupil_before_mm":
        standing = [
            replace(one, why="hedged", also=_other(one)) if _at_first(one) else one for one in standing
        ]
        sure = [one for one in standing if one.why is None]
    values = list(dict.fromkeys(one.value for one in sure))
    words = _words(standing)
    if len(values) == 1 and not any(one.value != values[0] or one.also for one in standing if one.why):
        return FieldTold(field, "read", words, values[0])
    why: WhyAsked = "contradiction" if len(values) > 1 else next(one.why for one in standing if one.why)
    return FieldTold(field, "doubtful", words, None, QUESTIONS[why], _possible(standing), why)


def _in_the_end(sure: Sequence[Remark]) -> list[Remark]:
    """What was said to hold last, where that was said."""
    latest = max((one.when for one in sure), default=0)
    return [one for one in sure if one.when == latest] if any(one.when for one in sure) else []


def _added(field: str, ended: Sequence[Remark]) -> bool:
    """Whether what came after is added to what was first, with no word of the end: a block on top."""
    return field == "operation.anaesthesia" and not any(one.when > 0 for one in ended)


def _at_first(one: Remark) -> bool:
    """Whether it was so at first, with no word of the end."""
    return one.when < 0 and one.why is None


def _other(one: Remark) -> tuple[ToldValue, ...]:
    return (not one.value,) if isinstance(one.value, bool) else ()


def _only_tried(remarks: Sequence[Remark]) -> list[Remark]:
    """What was tried, with no word of how it went: asked."""
    return [replace(one, why="hedged") for one in remarks if one.state == "tried"]


def given_up(remarks: Sequence[Remark], fields: Sequence[FieldTold]) -> tuple[GivenUp, ...]:
    """What was tried and given up, or taken back, and is not what holds in the end."""
    asked = {one.field for one in fields if one.kind == "doubtful"}
    found = []
    for one in remarks:
        if one.state == "taken back":
            found.append(GivenUp(one.field, one.value, one.words, "taken back"))
        elif one.state == "given up" or (one.state == "tried" and one.field not in asked):
            found.append(GivenUp(one.field, one.value, one.words, "tried"))
    return tuple(dict.fromkeys(found))


def _is_list(field: str) -> bool:
    return not any(part.isdigit() for part in field.split(".")) and leads(field) and held(field).is_list


def _list(field: str, remarks: Sequence[Remark]) -> FieldTold:
    words = _words(remarks)
    together = _entries(remarks)
    sure = _entries([one for one in remarks if one.why is None])
    if together == sure:
        return FieldTold(field, "read", words, together)
    choices = [Possible(together, words)]
    choices += [Possible(sure, _words([one for one in remarks if one.why is None]))] if sure else []
    why = next(one.why for one in remarks if one.why)
    return FieldTold(field, "doubtful", words, None, QUESTIONS[why], tuple(choices), why)


def _entries(remarks: Sequence[Remark]) -> tuple[str, ...]:
    each = (value if isinstance(value, tuple) else (value,) for value in (one.value for one in remarks))
    return tuple(dict.fromkeys(str(entry) for value in each for entry in value))


def _words(remarks: Sequence[Remark]) -> tuple[Passage, ...]:
    return tuple(sorted({place for one in remarks for place in one.shown or one.words}))


def _possible(remarks: Sequence[Remark]) -> tuple[Possible, ...]:
    found: dict[tuple[type, ToldValue], list[Passage]] = {}
    for one in remarks:
        found.setdefault((type(one.value), one.value), []).extend(one.shown or one.words)
        for also in one.also:
            found.setdefault((type(also), also), [])
    if {kind for kind, _ in found} == {bool}:
        for value in (True, False):
            found.setdefault((bool, value), [])
    return tuple(Possible(value, tuple(dict.fromkeys(words))) for (_, value), words in found.items())
