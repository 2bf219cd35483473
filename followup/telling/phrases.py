"""The sentences in which a telling is answered."""

from __future__ import annotations

from collections.abc import Mapping

from followup.said import Said, say
from followup.telling.model import WhyAsked

QUESTIONS: Mapping[WhyAsked, Said] = {
    "hedged": say("It was told as not certain. What holds?"),
    "two readings": say("The telling can be read in two ways. What holds?"),
    "contradiction": say("The telling says two different things. What holds?"),
    "bounds": say("The figure lies outside what is possible. What was meant?"),
    "counted": say("This was counted from what was told. Is it right?"),
    "missing": say("It was named, but not what became of it. What holds?"),
    "kind": say("It is not sure that this tells of an operation that was done now. What holds?"),
    "heard": say("The words were not clear. Is this what was meant?"),
    "more": say("The sentence says more than was understood. Is this what was meant?"),
}

ELSEWHERE: Mapping[str, Said] = {
    "cataract": say("the cataract and its grade"),
    "lens": say("the lens, its kind and make"),
    "cuts": say("other incisions"),
    "technique": say("instruments, settings and technique"),
    "iris": say("how the iris behaved"),
    "medicine": say("a medicine that the record has no field for"),
    "measured": say("a measurement that the record has no field for"),
    "event": say("an event that the record has no field for"),
    "afterwards": say("what is planned afterwards"),
    "people": say("people, place and course of the day"),
    "other eye": say("the other eye"),
}
"""What the record has no field for, by the word of the lexicons."""

EMPTY = say("nothing was told; type or paste what was done")
TOO_LONG = say("the telling is too long for one operation; tell one operation only")
CONTROL = say("the telling holds a control character; paste it as plain text")
BOTH_EYES = say("the telling is about an operation on both eyes; tell each eye by itself")
ANOTHER_OPERATION = say("the telling is about another operation, not about a cataract; nothing was read")
NOT_DONE = say(
    "the telling reads as a plan, a lesson, a letter or a later look, not as an operation that was done; "
    "nothing was read"
)
NOTHING = say("nothing in the telling is about an operation on the eye; nothing was read")


def another_eye(told: str, eye: str) -> Said:
    """The telling names another eye than the one that was entered."""
    return say(
        "the telling says the {told} eye, but the {eye} eye was entered; find out which eye it is",
        told=told,
        eye=eye,
    )
