"""What the figures of a sentence say of fields: each belongs to the words nearest to it that can take it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from followup.telling.lexicon import Amount
from followup.telling.matching import Place, ToldSentence, masked
from followup.telling.model import ToldValue
from followup.telling.numbers import Figure, figures_of
from followup.telling.remark import BEFORE, LOOSE, Remark
from followup.telling.scope import Verdict

_ACROSS = 16
_THING = 4
"""Letters: shorter words on an "s" are mostly no things."""
_NEAR_AGAIN = 8
"""Words within which a figure alone may say the one before it anew."""


def figured(remark: Remark, verdict: Verdict) -> Iterator[Remark]:
    if verdict == "past" and remark.field.startswith(BEFORE):
        verdict = "yes"
    if verdict in ("yes", "tried"):
        yield remark
    elif verdict in ("hedged", "unclear"):
        yield replace(remark, why=remark.why or "hedged")


def amounts_of(sentence: ToldSentence) -> Iterator[Remark]:
    """Each figure with the nearest words that it can belong to; each of those with one figure."""
    masks = sentence.any(sentence.lexicon.masks)
    figures = [one for one in figures_of(sentence) if not any(set(one.place.at) <= set(m.at) for m in masks)]
    pairs = sorted(_pairs(sentence, figures, masks), key=lambda pair: pair[0])
    used: set[Place] = set()
    heads: set[tuple[str, Place]] = set()
    found: list[Remark] = []
    for _, amount, head, figure in pairs:
        if figure.place in used or (amount.field, head) in heads:
            continue
        used.add(figure.place)
        heads.add((amount.field, head))
        if amount.field:
            found.append(_amount(sentence, amount, head, figure))
    for one in found:
        yield _either(sentence, one, figures, used)
    for figure in figures:
        if figure.place not in used:
            yield from _by_itself(sentence, figure)
        if figure.place not in used and not _a_pronoun(sentence, figure):
            value = int(figure.value) if figure.value == int(figure.value) else figure.value
            words = sentence.words(figure.place)
            yield Remark(LOOSE, value, words, figure.place, unit=figure.unit, figure=figure.place)


def _by_itself(sentence: ToldSentence, figure: Figure) -> Iterator[Remark]:
    """What a figure may be that stands alone between stops: "phaco, 2.4, rhexis 5"."""
    before = figure.place.first - 2
    figures = {at for one in figures_of(sentence) for at in one.place.at}
    if (
        (figure.value == int(figure.value) and not figure.unit)
        or not _alone(sentence, figure.place)
        or before in figures
    ):
        return
    for amount in sentence.lexicon.amounts:
        if amount.alone and _fits(amount, figure) and amount.least <= figure.value <= amount.most:
            yield replace(_amount(sentence, amount, figure.place, figure), why="missing", weak=True)


def _alone(sentence: ToldSentence, place: Place) -> bool:
    around = [at for at in (place.first - 1, place.last + 1) if 0 <= at < len(sentence.tokens)]
    return all(sentence.tokens[at].kind == "sign" for at in around)


def _a_pronoun(sentence: ToldSentence, figure: Figure) -> bool:
    """Whether "one" is no number: "that one was finished", "one more", "the one in the box"."""
    if not figure.one or _alone(sentence, figure.place):
        return False
    first = figure.place.first
    ends = (place.last for phrase in sentence.lexicon.cues["repair"] for place in sentence.phrase(phrase))
    return first - 1 not in ends


_Pair = tuple[tuple[int, ...], Amount, Place, Figure]


def _either(sentence: ToldSentence, remark: Remark, figures: Sequence[Figure], used: set[Place]) -> Remark:
    """A figure that is one of two, "two or three", or that is said anew: "six, well, seven"."""
    for one in figures:
        first, last = sorted((one.place, remark.figure), key=lambda place: place.at)
        between = sentence.tokens[first.last + 1 : last.first]
        if (
            one.place == remark.figure
            or bool(one.clock) != (remark.unit == "clock")
            or not (one.unit == remark.unit or "" in (one.unit, remark.unit))
        ):
            continue
        either = len(between) == 1 and (between[0].word,) in sentence.lexicon.cues["either"]
        if (
            either
            or _or_it_was(sentence, remark, one)
            or (one.place not in used and _again(sentence, remark, one))
        ):
            return replace(remark, why=remark.why or "two readings", also=(round(one.value, 4),))
    return remark


def _or_it_was(sentence: ToldSentence, remark: Remark, one: Figure) -> bool:
    """Whether a figure follows "or was it" and stands for the one before."""
    start, end = remark.figure.last + 1, one.place.first
    ends = (place.last for phrase in sentence.lexicon.cues["or_it_was"] for place in sentence.phrase(phrase))
    return start <= end and end - 1 in ends and sentence.weight(start, end) <= _NEAR_AGAIN


def _again(sentence: ToldSentence, remark: Remark, one: Figure) -> bool:
    """Whether a figure that belongs to nothing says the one before it anew."""
    start, end = remark.figure.last + 1, one.place.first
    if end <= start or one.one or sentence.weight(start, end) > _NEAR_AGAIN:
        return False
    between = [token.word for token in sentence.tokens[start:end]]
    return between == [","] or any((word,) in sentence.lexicon.cues["again"] for word in between)


def _pairs(sentence: ToldSentence, figures: Sequence[Figure], masks: Sequence[Place]) -> list[_Pair]:
    """Every figure with every phrase that it may belong to, and how far apart they are."""
    found: list[_Pair] = []
    for number, amount in enumerate(sentence.lexicon.amounts):
        if amount.needs and not sentence.any(amount.needs):
            continue
        heads = [head for head in dict.fromkeys(sentence.any(amount.heads)) if not masked(head, masks)]
        for head in heads:
            for figure in figures:
                fits = _fits(amount, figure) and (amount.whole or not _of_things(sentence, figure, head))
                gap = _gap(sentence, figure, head, amount.within) if fits else None
                if gap is not None:
                    # What has no field takes a figure away only beside it, not across a comma.
                    gap += _ACROSS * (not amount.field and _crosses(sentence, figure.place, head))
                    found.append(((gap, -len(head.at), number), amount, head, figure))
    return _in_line(sentence, found)


def _crosses(sentence: ToldSentence, figure: Place, head: Place) -> bool:
    first, last = sorted((figure, head), key=lambda place: place.at)
    return any(token.word == "," for token in sentence.tokens[first.last : last.first])


def _in_line(sentence: ToldSentence, pairs: list[_Pair]) -> list[_Pair]:
    """The same, nearer where they stand as the first of their part do: figures before or after
    their words, all through "pupil 7 mm rhexis 5 mm"."""
    commas = [at for at, token in enumerate(sentence.tokens) if token.word == ","]

    def part(place: Place) -> int:
        return sum(comma < place.first for comma in commas)

    first: dict[int, tuple[int, bool]] = {}
    for _, _, head, figure in pairs:
        if part(head) == part(figure.place):
            seen = (min(head.first, figure.place.first), head.first < figure.place.first)
            first[part(head)] = min(first.get(part(head), seen), seen)
    found: list[_Pair] = []
    for (gap, *rest), amount, head, figure in pairs:
        before = head.first < figure.place.first
        against = first.get(part(head), (0, before))[1] != before
        counted = not amount.field and _counts(sentence, figure, head)
        # "five hooks", "two blunt hooks" is no size of anything; "7 mm before" says more than "pupil 7 mm".
        nearer = -12 if counted else -1 if amount.needs else 2 * against
        found.append(((gap + nearer, *rest), amount, head, figure))
    return found


def _counts(sentence: ToldSentence, figure: Figure, head: Place) -> bool:
    """Whether a figure says how many, at most one word that tells which between."""
    between = sentence.tokens[figure.place.last + 1 : head.first]
    if head.first <= figure.place.last or len(between) > 1:
        return False
    return all(token.kind == "word" and token.word not in sentence.lexicon.skip for token in between)


def _of_things(sentence: ToldSentence, figure: Figure, head: Place) -> bool:
    """Whether a figure without a unit counts other things before its words: "two adhesions at the pupil".

    A word with an "s" at its end is taken for several things, as in all languages of the lexicons.
    """
    between = sentence.tokens[figure.place.last + 1 : head.first]
    words = [
        token.word for token in between if token.kind == "word" and token.word not in sentence.lexicon.skip
    ]
    things = any(len(word) >= _THING and word.endswith("s") for word in words)
    return things and not figure.unit and figure.value == int(figure.value)


def _fits(amount: Amount, figure: Figure) -> bool:
    """Whether a figure has the unit of an amount; "one" alone is only taken for a number of things."""
    if figure.unit:
        return figure.unit in amount.units
    if figure.times and not amount.whole:
        return False
    return amount.bare and (not figure.one or amount.whole)


def _gap(sentence: ToldSentence, figure: Figure, head: Place, within: int) -> int | None:
    if set(head.at) & set(figure.place.at):
        return None
    if head.first < figure.place.first and figure.place.last < head.last:
        return 0
    before = head.last < figure.place.first
    if not before and (sentence.tokens[head.last].word,) in sentence.lexicon.cues["towards"]:
        return None
    if not before and _corrects(sentence, figure.place):
        return None
    start, end = (head.last + 1, figure.place.first) if before else (figure.place.last + 1, head.first)
    between = [token.word for token in sentence.tokens[start:end]]
    if any(word in ("(", ")") and end - start > 1 for word in between) or any(
        sentence.tokens[at].kind == "number" for at in range(start, end)
    ):
        return None
    gap = sentence.weight(start, end)
    # Right beside a figure ("5 mm rhexis") is nearer than behind words that say nothing.
    nearest = -1 if start == end else min(end - start, 3)
    return None if gap > within else 8 * gap + 6 * between.count(",") + nearest


def _corrects(sentence: ToldSentence, figure: Place) -> bool:
    """Whether a figure stands alone between commas: "four hooks, no, five, one under the wound"."""
    tokens = sentence.tokens
    alone = figure.last + 1 < len(tokens) and tokens[figure.last + 1].word == ","
    if not alone or figure.first < 2 or tokens[figure.first - 1].word != ",":
        return False
    before = tokens[figure.first - 2].word
    return any(phrase[-1] == before for kind in ("repair", "no") for phrase in sentence.lexicon.cues[kind])


def _of_something_else(sentence: ToldSentence, head: Place, figure: Place) -> bool:
    """Whether a figure is tied to another word than its own: "at the wound, a strip of two millimetres"."""
    cues, tokens = sentence.lexicon.cues, sentence.tokens
    at = figure.first - 1
    while at > head.last and (tokens[at].word,) in cues.get("roughly", ()):
        at -= 1
    if at - 1 <= head.last or (tokens[at].word,) not in cues.get("of", ()):
        return False
    noun = tokens[at - 1]
    return noun.kind == "word" and (noun.word,) not in cues.get("measure", ())


def _amount(sentence: ToldSentence, amount: Amount, head: Place, figure: Figure) -> Remark:
    value = round(figure.value * amount.times, 4)
    told: ToldValue = int(value) if value == int(value) else value
    words = sentence.words(Place(tuple(sorted({*head.at, *figure.place.at}))))
    place = Place(tuple(sorted({*head.at, *figure.place.at})))
    when = 1 if amount.ends else 0
    remark = Remark(
        amount.field, figure.clock or told, words, place, unit=figure.unit, figure=figure.place, when=when
    )
    if figure.clock:
        return remark
    if not amount.least <= value <= amount.most or (amount.whole and value != int(value)):
        tenth = round(value / 10, 4)
        fits = (tenth,) if amount.least <= tenth <= amount.most else ()
        return replace(remark, why="bounds", also=fits)
    if amount.counted:
        return replace(remark, why="counted")
    if _of_something_else(sentence, head, figure.place):
        return replace(remark, why="two readings")
    return replace(remark, why="heard") if figure.heard else remark
