"""What the words around a phrase make of it: denied, hedged, planned, of another eye or person, tried.

After NegEx (Chapman and others, J Biomed Inform 2001;34:301) and ConText (Harkema and others, J Biomed
Inform 2009;42:839): triggers before or after a phrase, a scope that ends at a terminating word or after a
few words, and pseudo-triggers that look like one and are none. The trigger lists are our own. Narrower
than theirs: a denial reaches the nearest phrase and those that "or", "nor", "and" or a comma add to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from followup.telling.matching import WITHIN, Place, Sentence

Verdict = Literal["yes", "no", "hedged", "unclear", "unused", "other eye", "tried"]
_KINDS = ("negated_before", "negated_after", "negated", "hedged_before", "hedged_after", "unused", "tried")


@dataclass(frozen=True)
class Cue:
    kind: str
    place: Place


def cues_of(sentence: Sentence) -> tuple[Cue, ...]:
    """The triggers of a sentence: of those that overlap the longest, pseudo-triggers taken out after."""
    found = [
        Cue(kind, place)
        for kind, phrases in sentence.lexicon.cues.items()
        for phrase in phrases
        for place in sentence.phrase(phrase)
    ]
    found.sort(key=lambda cue: (-len(cue.place.at), cue.kind != "pseudo", cue.place.first))
    kept: list[Cue] = []
    for cue in found:
        if not any(cue.place.meets(one.place) and len(one.place.at) > len(cue.place.at) for one in kept):
            kept.append(cue)
    return tuple(sorted((cue for cue in kept if cue.kind != "pseudo"), key=lambda cue: cue.place.at))


@dataclass(frozen=True)
class Scopes:
    """The cues of a sentence, ready to judge the phrases found in it."""

    sentence: Sentence
    cues: tuple[Cue, ...]

    def judged(self, places: Sequence[Place]) -> dict[Place, Verdict]:
        """The verdict on each place; the strongest cue wins."""
        found: dict[Place, Verdict] = dict.fromkeys(places, "yes")
        for place in places:
            found[place] = self._around(place)
        for cue in self.cues:
            if cue.kind in ("negated_before", "negated", "negated_after"):
                for place, verdict in self._denied(cue, places).items():
                    if found[place] in ("yes", "hedged"):
                        found[place] = verdict
        return found

    def _around(self, place: Place) -> Verdict:
        for cue in self.cues:
            if cue.place.meets(place) and set(cue.place.at) & set(place.at):
                continue
            if cue.kind == "unused" and self._reaches(cue, place):
                return "unused"
            if cue.kind == "tried" and self._reaches(cue, place):
                return "tried"
        for cue in self.cues:
            if set(cue.place.at) & set(place.at):
                continue
            if cue.kind == "hedged_before" and self._reaches(cue, place):
                return "hedged"
            if cue.kind == "hedged_after" and self._follows(cue, place):
                return "hedged"
        return "yes"

    def _reaches(self, cue: Cue, place: Place) -> bool:
        """Whether a cue before a phrase, or inside it, holds for it."""
        if place.first < cue.place.first < place.last:
            return True
        if cue.place.last >= place.first:
            return False
        return not self._ended(cue.place.last + 1, place.first)

    def _follows(self, cue: Cue, place: Place) -> bool:
        if cue.place.first <= place.last:
            return False
        return not self._ended(place.last + 1, cue.place.first) and (
            self.sentence.weight(place.last + 1, cue.place.first) <= WITHIN
        )

    def _ended(self, start: int, end: int) -> bool:
        tokens = self.sentence.tokens[start:end]
        if any(token.word in (",", ":") for token in tokens):
            return True
        return any(cue.kind == "ends" and start <= cue.place.first < end for cue in self.cues)

    def _denied(self, cue: Cue, places: Iterable[Place]) -> dict[Place, Verdict]:
        others = [place for place in places if not set(place.at) & set(cue.place.at)]
        inside = [place for place in others if place.first < cue.place.first < place.last]
        if inside:
            return dict.fromkeys(inside, "no")
        before = [place for place in others if place.last < cue.place.first]
        after = [place for place in others if place.first > cue.place.last]
        if cue.kind != "negated_before" and (found := self._just_before(cue, before)):
            return dict.fromkeys(found, "no")
        return {} if cue.kind == "negated_after" else self._after(cue, after)

    def _just_before(self, cue: Cue, before: list[Place]) -> list[Place]:
        last = max((place.last for place in before), default=-1)
        between = self.sentence.tokens[last + 1 : cue.place.first]
        if last < 0 or not all(
            token.word in self.sentence.lexicon.skip or token.word in (":", "-", "=") for token in between
        ):
            return []
        return [place for place in before if place.last == last]

    def _after(self, cue: Cue, after: list[Place]) -> dict[Place, Verdict]:
        if not after:
            return {}
        first = min(place.first for place in after)
        if self._ended(cue.place.last + 1, first):
            return {}
        if self.sentence.weight(cue.place.last + 1, first) > WITHIN:
            return {}
        found: dict[Place, Verdict] = {place: "no" for place in after if place.first == first}
        return found | self._chained(found, after)

    def _chained(self, found: dict[Place, Verdict], after: list[Place]) -> dict[Place, Verdict]:
        """What "or", "nor", "and" or a comma adds to what is denied."""
        more: dict[Place, Verdict] = {}
        last = max(place.last for place in found)
        for place in sorted(after, key=lambda place: place.at):
            if place.first <= last:
                if place not in found and place.first > min(one.first for one in found):
                    more[place] = "no"
                    last = max(last, place.last)
                continue
            between = [token.word for token in self.sentence.tokens[last + 1 : place.first]]
            joints = [
                word for word in between if (word,) in self.sentence.lexicon.cues["joint"] or word in ",/"
            ]
            rest = [word for word in between if word not in joints and word not in self.sentence.lexicon.skip]
            if not joints or rest:
                break
            sure = any((word,) in self.sentence.lexicon.cues["joint_or"] for word in joints)
            more[place] = "no" if sure else "unclear"
            last = place.last
        return more
