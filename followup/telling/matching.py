"""Where the forms of a lexicon stand in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from followup.telling.lexicon import TOPIC_LETTERS, Element, Form, Group, Lexicon
from followup.telling.lexicon import Sequence as Phrase
from followup.telling.model import Passage
from followup.telling.words import Token

_BARRIERS = frozenset((",", "(", ")", ";"))
WITHIN = 5
"""Words that may stand between two parts of a form, those that say nothing left out (NegEx: five)."""


@dataclass(frozen=True)
class Place:
    """The words of a sentence, by number, that a form was found in."""

    at: tuple[int, ...]

    @property
    def first(self) -> int:
        return self.at[0]

    @property
    def last(self) -> int:
        return self.at[-1]

    def covers(self, other: Place) -> bool:
        return self.first <= other.first and other.last <= self.last

    def meets(self, other: Place) -> bool:
        return self.first <= other.last and other.first <= self.last


@dataclass
class ToldSentence:
    """A sentence with what was looked for in it, each thing once."""

    text: str
    tokens: tuple[Token, ...]
    lexicon: Lexicon
    _by_word: dict[str, list[int]] = field(default_factory=dict)
    _possible: set[Form] = field(default_factory=set)
    _elements: dict[Element, tuple[Place, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for number, token in enumerate(self.tokens):
            self._by_word.setdefault(token.word, []).append(number)
        for word in self._by_word:
            self._possible |= self.lexicon.by_word.get(word, set())

    @cached_property
    def beginnings(self) -> frozenset[str]:
        """The first letters of its words, as topics are looked for by them."""
        return frozenset(token.word[:TOPIC_LETTERS] for token in self.tokens)

    def bound(self, at: int) -> bool:
        """Whether a figure is bound to the next, "10-0", "6/36": by a hyphen before 0, or by a slash."""
        tokens = self.tokens[at : at + 3] if at >= 0 else ()
        if len(tokens) < 3 or tokens[0].kind != "number" or tokens[2].kind != "number":
            return False
        return tokens[1].word == "/" or (tokens[1].word == "-" and tokens[2].word == "0")

    def phrase(self, phrase: Phrase) -> Iterator[Place]:
        """Every place where these words follow each other; a hyphen or a slash between them is none.

        None begins with the end of a name: "10-0 nylon" is no "0 nylon".
        """
        for start in self._by_word.get(phrase[0], ()):
            if self.bound(start - 2):
                continue
            at = [start]
            for word in phrase[1:]:
                after = at[-1] + 1
                if after < len(self.tokens) and self.tokens[after].word != word == word.strip("-/"):
                    after += self.tokens[after].word in ("-", "/", "'")
                if after >= len(self.tokens) or self.tokens[after].word != word:
                    break
                at.append(after)
            else:
                yield Place(tuple(at))

    def element(self, element: Element) -> tuple[Place, ...]:
        if element not in self._elements:
            found = {place for phrase in element.phrases for place in self.phrase(phrase)}
            self._elements[element] = tuple(sorted(found, key=lambda place: place.at))
        return self._elements[element]

    def form(self, form: Form) -> list[Place]:
        """Every place of a form: the nearest parts, with no other subject and no comma between them."""
        if form not in self._possible:
            return []
        found = self._group(form.groups[0])
        for group in form.groups[1:]:
            found = self._near(found, self._group(group), reach=form.reach)
            if not found:
                break
        return found

    def any(self, forms: Sequence[Form]) -> list[Place]:
        return [place for form in forms if form in self._possible for place in self.form(form)]

    def words(self, place: Place) -> tuple[Passage, ...]:
        """The text of a place, neighbours joined."""
        runs: list[Passage] = []
        last = -2
        for at in place.at:
            token = self.tokens[at]
            if at == last + 1:
                runs[-1] = Passage(runs[-1].start, token.end)
            else:
                runs.append(token.place)
            last = at
        return tuple(runs)

    def crosses(self, place: Place) -> bool:
        """Whether a place goes on behind a comma."""
        return any(token.word == "," for token in self.tokens[place.first : place.last])

    def skipped(self, start: int, end: int) -> bool:
        """Whether nothing that says anything stands between two words."""
        return all(self.tokens[number].word in self.lexicon.skip for number in range(start, end))

    def weight(self, start: int, end: int) -> int:
        """How many words that say something stand between two."""
        return sum(
            token.kind != "sign" and token.word not in self.lexicon.skip for token in self.tokens[start:end]
        )

    def _group(self, group: Group) -> list[Place]:
        found = list(self.element(group[0]))
        for element in group[1:]:
            later = self.element(element)
            found = [
                Place(one.at + other.at)
                for one in found
                for other in later
                if other.first > one.last and self.skipped(one.last + 1, other.first)
            ]
        return found

    def _near(self, some: list[Place], others: list[Place], *, reach: int) -> list[Place]:
        pairs = sorted(
            (
                (gap, one, other)
                for one in some
                for other in others
                if (gap := self._gap(one, other, reach)) >= 0
            ),
            key=lambda pair: (pair[0], pair[1].at, pair[2].at),
        )
        taken: set[Place] = set()
        found = []
        for _, one, other in pairs:
            if one not in taken and other not in taken:
                taken |= {one, other}
                found.append(Place(tuple(sorted({*one.at, *other.at}))))
        return found

    def _gap(self, one: Place, other: Place, reach: int) -> int:
        """Words between two places; -1 where they do not belong together."""
        if one.meets(other):
            return -1
        start, end = (one.last + 1, other.first) if one.last < other.first else (other.last + 1, one.first)
        if reach == 3:
            return end - start
        between = _without_asides(self.tokens[start:end])
        if any(token.word in self.lexicon.subjects for token in between):
            return -1
        if reach == 1 and any(token.word in _BARRIERS for token in between):
            return -1
        gap = self.weight(start, end)
        return gap if gap <= WITHIN * reach else -1


def _without_asides(tokens: Sequence[Token]) -> list[Token]:
    """Without what stands in parentheses, where they open and close again."""
    found: list[Token] = []
    depth = 0
    for token in tokens:
        depth += token.word == "("
        if not depth:
            found.append(token)
        depth -= depth > 0 and token.word == ")"
    return found if not depth else list(tokens)


def masked(place: Place, masks: Iterable[Place]) -> bool:
    """Whether words of a place belong to a phrase that is no reading."""
    return any(set(mask.at) & set(place.at) and not set(mask.at) <= set(place.at) for mask in masks)
