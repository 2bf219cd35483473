"""What a change does, in the words of the page: said before anything is signed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.clinical.careplan import CarePlan
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.record import Eye
from followup.clinical.words.differences import BottlesDiffer, Difference, NeedDiffers, compare_plans
from followup.clinical.words.differences_told import DifferenceTold, said
from followup.desks.words.texts import Texts


class PlanWords:
    """The staff's language with the protocol's names in it; what it does not know is named by its id."""

    def __init__(self, texts: Texts, protocol: Protocol) -> None:
        self._texts, self._protocol = texts, protocol

    def gettext(self, message: str, /) -> str:
        return self._texts.gettext(message)

    def ngettext(self, singular: str, plural: str, n: int, /) -> str:
        return self._texts.ngettext(singular, plural, n)

    def told(self, text: str, /) -> str:
        return self._texts.told(text)

    def day(self, day: date, /) -> str:
        return self._texts.day(day)

    def eye(self, eye: Eye | None, /) -> str:
        return self._texts.eye(eye)

    def medicine(self, key: str, /) -> str:
        return self._texts.apart(label_of(key, self._protocol.formulary))

    def look(self, kind: str, /) -> str:
        return self._texts.told(text_of(kind, self._protocol.kinds))


def effect(old: CarePlan, new: CarePlan, words: PlanWords) -> tuple[str, ...]:
    """What ``new`` does against ``old``, most important first; empty: nothing that anybody would notice."""
    return tuple(said(one, words).text for one in _to_notice(compare_plans(old, new)))


def effect_or_nothing(plans: tuple[CarePlan, CarePlan], texts: Texts, protocol: Protocol) -> tuple[str, ...]:
    """What the second of the plans does against the first, or that it does nothing."""
    return effect(*plans, PlanWords(texts, protocol)) or (texts.gettext("Nothing changes."),)


def side_by_side(old: CarePlan, new: CarePlan, words: PlanWords) -> tuple[DifferenceTold, ...]:
    """Every difference between two versions, with what was and what is."""
    return tuple(said(one, words) for one in compare_plans(old, new))


def _to_notice(differences: tuple[Difference, ...]) -> Iterator[Difference]:
    """Windows and opening days follow from what is said anyway; a visit that is lost does not."""
    for one in differences:
        quiet = isinstance(one, NeedDiffers) and not one.impossible
        if not quiet and not (isinstance(one, BottlesDiffer) and len(one.was) == len(one.now)):
            yield one
