"""Other medicines that a person takes, told by name: what they mean for the eye, read off their class."""

from __future__ import annotations

from followup.clinical.protocol.names import KnownNames, NameClass
from followup.clinical.record import InUse, Record
from followup.clinical.record.given import TabletTaken

EYE_CLASS = "eye class"


def classes_taken(entry: InUse, names: KnownNames) -> tuple[NameClass, ...]:
    """The classes that matter among those that a tablet outside the formulary names."""
    if entry.medicine is not None or entry.route != "mouth" or entry.described is None:
        return ()
    return tuple(one for one in names.classes_in(entry.described) if one.taken is not None)


def must_be_named(entry: InUse, names: KnownNames) -> bool:
    """Whether a medicine without its name stops the plan: a drop, or a tablet of a class of the eye."""
    if entry.medicine is not None:
        return False
    return entry.route == "eye" or any(one.taken == EYE_CLASS for one in classes_taken(entry, names))


def taken(record: Record, names: KnownNames) -> tuple[TabletTaken, ...]:
    """What the described tablets that go on stand for, such as "blood_thinner"."""
    found = []
    for i, entry in enumerate(record.in_use):
        place = (f"in_use.{i}.described",)
        for one in classes_taken(entry, names) if entry.continues else ():
            assert one.taken is not None
            found.append(TabletTaken(place, place, one.taken))
    return tuple(found)
