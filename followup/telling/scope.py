"""What the words around a phrase make of it: denied, hedged, planned, past, of another eye or person, tried.

After NegEx (Chapman and others, J Biomed Inform 2001;34:301) and ConText (Harkema and others, J Biomed
Inform 2009;42:839): triggers before or after a phrase, a scope that ends at a terminating word or after a
few words, and pseudo-triggers that look like one and are none. The trigger lists are our own. Narrower
than theirs: a trigger reaches the nearest phrase and those that "or", "nor", "and" or a comma add to it,
so that in talk without stops one "no" does not reach whatever comes next.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from followup.telling.matching import WITHIN, Place, ToldSentence
from followup.telling.numbers import figures_of

Verdict = Literal["yes", "no", "hedged", "hedged no", "unclear", "past", "unused", "tried"]
_RANK: dict[Verdict, int] = {
    "yes": 0, "hedged": 1, "tried": 2, "unclear": 3, "no": 4, "hedged no": 5, "past": 6, "unused": 7,
}  # fmt: skip
_MEANING: dict[str, Verdict] = {
    "negated_before": "no",
    "negated_after": "no",
    "negated": "no",
    "minus": "no",
    "hedged_before": "hedged",
    "hedged_after": "hedged",
    "hedged": "hedged",
    "tried": "tried",
}
_FAR_KINDS: dict[str, Verdict] = {"unused": "unused", "past_before": "past"}
_AFTER_KINDS: dict[str, Verdict] = {"unused_after": "unused", "past_after": "past"}
_YEAR = re.compile(r"(19|20)\d\d")
_SILENT = frozenset(
    (
        *("goes_on", "or_it_was", "anew", "again", "exception", "verbs", "being"),
        *("undoing", "adding", "of", "roughly", "measure", "said_before"),
    )
)
"""Kinds that judge nothing by themselves: a hedge inside one of them, "or maybe", is one all the same."""
_FAR = 8
"""Words: as far as a plan or a past is followed, where no comma and no terminating word ends it."""


@dataclass(frozen=True)
class Cue:
    kind: str
    place: Place


def cues_of(sentence: ToldSentence) -> tuple[Cue, ...]:
    """The triggers of a sentence. One inside a longer one is none; pseudo-triggers are then left out."""
    found = {
        Cue(kind, place)
        for kind, phrases in sentence.lexicon.cues.items()
        for phrase in phrases
        for place in sentence.phrase(phrase)
    }
    found |= {
        Cue("year", Place((at,))) for at, token in enumerate(sentence.tokens) if _YEAR.fullmatch(token.word)
    }
    numbers = [set(one.place.at) for one in figures_of(sentence) if len(one.place.at) > 1]
    found = {_in_talk(sentence, cue) for cue in found if not any(set(cue.place.at) <= one for one in numbers)}
    found = {cue for cue in found if cue.kind != "minus" or _ends_an_item(sentence, cue.place.last + 1)}
    kept = [
        cue
        for cue in found
        if not any(set(cue.place.at) < set(one.place.at) and one.kind not in _SILENT for one in found)
        and not any(cue.place.at == one.place.at and one.kind == "pseudo" for one in found)
    ]
    if any(cue.kind == "as_planned" for cue in kept):
        kept = [cue for cue in kept if cue.kind not in ("unused", "unused_after")]
    denied = [cue for one in kept for cue in _denial_in(sentence, one)]
    instead = {cue.place.last for cue in denied if _only_joins(sentence, cue.place.last)}
    kept = [cue for cue in kept if cue.kind != "repair" or cue.place.last not in instead]
    return tuple(sorted([*kept, *denied], key=lambda cue: (cue.place.at, cue.kind)))


def _denial_in(sentence: ToldSentence, cue: Cue) -> list[Cue]:
    """The denial at the end of what may be a correction: "torn but no vitreous loss", not "but no, 2.8"."""
    tokens, after = sentence.tokens, cue.place.last + 1
    word = (tokens[cue.place.last].word,)
    if cue.kind != "repair" or len(cue.place.at) < 2 or word not in sentence.lexicon.cues["no"]:
        return []
    if (
        after >= len(tokens)
        or tokens[after].kind != "word"
        or tokens[after].word in sentence.lexicon.number_words
    ):
        return []
    return [Cue("negated_before", Place((cue.place.last,)))]


def _only_joins(sentence: ToldSentence, at: int) -> bool:
    """Whether a "no" behind "but", "well" or another "no" corrects nothing where no comma follows."""
    before = (sentence.tokens[at - 1].word,)
    return any(before in sentence.lexicon.cues[kind] for kind in ("goes_on", "no"))


def _in_talk(sentence: ToldSentence, cue: Cue) -> Cue:
    """ "..., no, ..." corrects what was said; it denies nothing."""
    words = [token.word for token in sentence.tokens]
    at = cue.place.first
    alone = (
        len(cue.place.at) == 1
        and cue.kind == "negated_before"
        and (words[at],) in sentence.lexicon.cues["no"]
    )
    behind = at + 1 < len(words) and words[at + 1] == ","
    return Cue("repair", cue.place) if alone and behind and (at == 0 or words[at - 1] in (",", "?")) else cue


def _ends_an_item(sentence: ToldSentence, at: int) -> bool:
    return at >= len(sentence.tokens) or sentence.tokens[at].word in (",", ")")


@dataclass(frozen=True)
class Scopes:
    """The cues of a sentence, ready to judge the phrases found in it."""

    sentence: ToldSentence
    cues: tuple[Cue, ...]
    deniable: frozenset[Place] = frozenset()
    denials: dict[Place, Place] = field(default_factory=dict)
    """The words that deny a phrase, once it was judged."""
    idle: list[Place] = field(default_factory=list)
    """Denials that reach no phrase, and years: what was so then need not be so now."""
    exceptions: list[Place] = field(default_factory=list)
    """Words that may take back a part of what stands before them."""

    def judged(self, places: Sequence[Place]) -> dict[Place, Verdict]:
        """The verdict on each place. Only ``deniable`` ones are added to a denial."""
        found: dict[Place, Verdict] = dict.fromkeys(places, "yes")
        reached = {cue: self._of(cue, places) for cue in self.cues}
        self.denials.update((place, cue.place) for cue in self.cues if _denies(cue) for place in reached[cue])
        self.idle.extend(cue.place for cue in self.cues if cue.kind == "year")
        self.exceptions.extend(cue.place for cue in self.cues if cue.kind == "exception")
        self.idle.extend(cue.place for cue in self.cues if _denies(cue) and self._idle(cue, places))
        used = {cue.place for cue in self.cues if reached[cue]}
        for cue in self.cues:
            added = self._adds(cue)
            far = cue.kind == "hedged_far" and cue.place not in used
            for place, verdict in (self._at_a_distance(cue, places) if far else reached[cue]).items():
                # "neither a tear nor a loss" denies the loss once.
                found[place] = verdict if added and found[place] == verdict else _both(found[place], verdict)
        return found

    def _idle(self, cue: Cue, places: Sequence[Place]) -> bool:
        """Whether a denial is no part of a phrase, nor of words that deny one; "no" is of the next thing."""
        said = [*places, *self.denials.values()]
        words = (self.sentence.tokens[at].word for at in cue.place.at)
        next_thing = all((word,) in self.sentence.lexicon.cues["determiners"] for word in words)
        # "without any", "without it": of something said before.
        after = self.sentence.tokens[cue.place.last + 1 : cue.place.last + 2]
        next_thing = next_thing and not any(
            (token.word,) in self.sentence.lexicon.cues.get("said_before", ()) for token in after
        )
        return not next_thing and not any(set(cue.place.at) & set(place.at) for place in said)

    def _at_a_distance(self, cue: Cue, places: Sequence[Place]) -> dict[Place, Verdict]:
        """A hedge that reaches nothing near it makes the phrase before it a question, however far."""
        before = [place for place in places if place.last < cue.place.first]
        last = max((place.last for place in before), default=-1)
        return {place: "hedged" for place in before if place.last == last}

    def _adds(self, cue: Cue) -> bool:
        words = tuple(self.sentence.tokens[at].word for at in cue.place.at)
        return words in self.sentence.lexicon.cues["joint_or"]

    def _of(self, cue: Cue, places: Sequence[Place]) -> dict[Place, Verdict]:
        others = [place for place in places if not set(place.at) & set(cue.place.at)]
        if cue.kind in _FAR_KINDS:
            return {place: _FAR_KINDS[cue.kind] for place in others if self._far(cue, place)}
        if cue.kind in _AFTER_KINDS:
            found = self._just_before(cue, others, far=True)
            near = [
                place
                for place in others
                if found
                and found[0].last - (6 if cue.kind == "unused_after" else 3) <= place.last <= found[0].last
            ]
            return dict.fromkeys(near, _AFTER_KINDS[cue.kind])
        if cue.kind == "negated_verb":
            return dict.fromkeys(self._not_so(cue, others), "no")
        if cue.kind not in _MEANING:
            return {}
        verdict = _MEANING[cue.kind]
        inside = [place for place in others if place.first < cue.place.first < place.last]
        if inside:
            # "Visco: not convinced that nothing is left": a hedge inside one thing is of the next as well.
            more = self._after(cue, others, verdict) if cue.kind == "hedged_before" else {}
            return more | dict.fromkeys(inside, verdict)
        if not cue.kind.endswith("_before") and cue.kind != "tried":
            far = cue.kind == "hedged_after"
            if found := self._just_before(cue, others, far=far):
                return dict.fromkeys(found, verdict)
        return {} if cue.kind.endswith("_after") or cue.kind == "minus" else self._after(cue, others, verdict)

    def _far(self, cue: Cue, place: Place) -> bool:
        if place.first < cue.place.first < place.last:
            return True
        start, end = cue.place.last + 1, place.first
        return start <= end and not self._ended(start, end) and self.sentence.weight(start, end) <= _FAR

    def _ended(self, start: int, end: int) -> bool:
        tokens = self.sentence.tokens
        if 1 < start < len(tokens) and tokens[start].word == "," and self._aside(start):
            start += 1
        if any(token.word in (",", ":") for token in self.sentence.tokens[start:end]):
            return True
        return any(
            cue.kind in ("ends", "repair", "erase", "changed") and start <= cue.place.first < end
            for cue in self.cues
        )

    def _aside(self, at: int) -> bool:
        """Whether a hedge between commas ends before a word: "there was, I think, a tear"."""
        return any(
            cue.kind.startswith("hedged")
            and cue.place.last == at - 1
            and cue.place.first > 0
            and self.sentence.tokens[cue.place.first - 1].word == ","
            for cue in self.cues
        )

    def _just_before(self, cue: Cue, places: Iterable[Place], *, far: bool, ends: bool = True) -> list[Place]:
        """The phrases that end right before a cue; ``far``: a few words may stand between."""
        before = [place for place in places if place.last < cue.place.first]
        last = max((place.last for place in before), default=-1)
        start, end = last + 1, cue.place.first
        if last < 0:
            return []
        if ends and any(one.kind == "ends" and start <= one.place.first < end for one in self.cues):
            return []
        signs = any(token.word in (",", "(") for token in self.sentence.tokens[start:end])
        if signs and not far:
            return []
        if self.sentence.weight(start, end) > (WITHIN if far else 0):
            return []
        return [place for place in before if place.last == last]

    def _not_so(self, cue: Cue, places: Sequence[Place]) -> list[Place]:
        """The phrases of which something is said not to be so: "a bandage lens was not applied"."""
        found = self._just_before(cue, places, far=False, ends=False)
        being = self.sentence.lexicon.cues["being"]
        words = self.sentence.tokens[found[0].last + 1 : cue.place.last + 1] if found else ()
        if any((token.word,) in being for token in words):
            return found
        # "Pad not applied", but not "in the bag, not the sulcus": there the next thing is denied.
        after = cue.place.last + 1
        while (
            after < len(self.sentence.tokens)
            and self.sentence.tokens[after].word in self.sentence.lexicon.skip
        ):
            after += 1
        ends = after >= len(self.sentence.tokens) or self.sentence.tokens[after].kind != "word"
        return [] if ends or any(place.first <= after <= place.last for place in places) else found

    def _after(self, cue: Cue, places: Iterable[Place], verdict: Verdict) -> dict[Place, Verdict]:
        after = [place for place in places if place.first > cue.place.last]
        first = min((place.first for place in after), default=-1)
        if first < 0 or self._ended(cue.place.last + 1, first):
            return {}
        if self.sentence.weight(cue.place.last + 1, first) > WITHIN:
            return {}
        words = self.sentence.tokens[cue.place.first : cue.place.last + 1]
        if verdict == "no" and all(
            (token.word,) in self.sentence.lexicon.cues["determiners"] for token in words
        ):
            # "no" belongs to the next thing; what stands behind another word may be another sentence.
            verdict = "unclear" if self.sentence.weight(cue.place.last + 1, first) else verdict
        found: dict[Place, Verdict] = {place: verdict for place in after if place.first == first}
        return found | self._chained(found, after, verdict)

    def _chained(
        self, found: dict[Place, Verdict], after: list[Place], verdict: Verdict
    ) -> dict[Place, Verdict]:
        """What "or", "nor", "and" or a comma adds; without an "or" in the list it is not sure."""
        chain, joints = self._chain(found, after, deniable=verdict in ("no", "unclear"))
        sure = verdict not in ("no", "unclear") or any(
            (word,) in self.sentence.lexicon.cues["joint_or"] for word in joints
        )
        return {place: (verdict if inside or sure else "unclear") for place, inside in chain.items()}

    def _chain(
        self, found: dict[Place, Verdict], after: list[Place], *, deniable: bool
    ) -> tuple[dict[Place, bool], list[str]]:
        """The phrases of a list, whether each overlaps the one before, and what joins them."""
        more: dict[Place, bool] = {}
        joints: list[str] = []
        last = max(place.last for place in found)
        begin = min(place.first for place in found)
        for place in sorted(after, key=lambda place: place.at):
            if place in found:
                continue
            if place.first <= last:
                if deniable and self._ended(begin, place.first):
                    continue
                more[place] = True
                last = max(last, place.last)
                continue
            words = [token.word for token in self.sentence.tokens[last + 1 : place.first]]
            joining = [w for w in words if (w,) in self.sentence.lexicon.cues["joint"] or w in (",", "/")]
            rest = [w for w in words if w not in joining and w not in self.sentence.lexicon.skip]
            either = any((word,) in self.sentence.lexicon.cues["joint_or"] for word in joining)
            if deniable and not either and place not in self.deniable:
                continue
            if not joining or rest or self._verbal(place):
                break
            more[place] = False
            joints += joining
            last = place.last
        return more, joints

    def _verbal(self, place: Place) -> bool:
        """Whether a phrase says by itself that something is or happened: it is not added to a denial."""
        after = place.last + 1
        while (
            after < len(self.sentence.tokens)
            and self.sentence.tokens[after].word in self.sentence.lexicon.skip
        ):
            after += 1
        inside = self.sentence.tokens[place.first : after + 1]
        return any((token.word,) in self.sentence.lexicon.cues["verbs"] for token in inside)


def _denies(cue: Cue) -> bool:
    return cue.kind == "negated_verb" or _MEANING.get(cue.kind) == "no"


def _both(some: Verdict, other: Verdict) -> Verdict:
    """Two verdicts on one phrase: denied twice is not sure, denied with a hedge is a hedge."""
    if some == other == "no":
        return "unclear"
    if {some, other} == {"no", "hedged"}:
        return "hedged no"
    return max(some, other, key=_RANK.__getitem__)
