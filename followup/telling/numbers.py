"""Figures in a sentence: in digits or in words, with their units."""

from __future__ import annotations

from dataclasses import dataclass

from followup.telling.matching import Place, Sentence


@dataclass(frozen=True)
class Figure:
    """A number with its unit; "" where none was said. ``part``: a half or quarter of something."""

    value: float
    unit: str
    place: Place


def figures_of(sentence: Sentence) -> tuple[Figure, ...]:
    """Every figure of a sentence, none inside another."""
    found: list[Figure] = []
    at = 0
    while at < len(sentence.tokens):
        read = _digits(sentence, at) or _in_words(sentence, at)
        if read is None:
            at += 1
            continue
        value, end = read
        unit, after = _unit(sentence, end)
        found.append(Figure(value, unit, Place(tuple(range(at, after)))))
        at = after
    return tuple(found)


def _digits(sentence: Sentence, at: int) -> tuple[float, int] | None:
    token = sentence.tokens[at]
    if token.kind != "number":
        return None
    value = float(token.word.replace(",", "."))
    point = sentence.lexicon.cues["point"]
    after = at + 1
    # "2 point 4", as dictated.
    if "." not in token.word and any(
        (sentence.tokens[after].word,) in point for _ in "1" if after + 1 < len(sentence.tokens)
    ):
        part = _digits_after_point(sentence, after + 1)
        if part is not None:
            return float(f"{int(value)}.{part[0]}"), part[1]
    return value, after


def _digits_after_point(sentence: Sentence, at: int) -> tuple[str, int] | None:
    """The digits said one by one after a point."""
    digits = ""
    while at < len(sentence.tokens):
        token = sentence.tokens[at]
        value = sentence.lexicon.number_words.get(token.word)
        if token.kind == "number" and token.word.isdecimal():
            digits += token.word
        elif value is not None and value == int(value) and (value < 10 or not digits):
            digits += str(int(value))
        else:
            break
        at += 1
    return (digits, at) if digits else None


def _in_words(sentence: Sentence, at: int) -> tuple[float, int] | None:
    words, tokens = sentence.lexicon.number_words, sentence.tokens
    point, joint = sentence.lexicon.cues["point"], sentence.lexicon.cues["number_joint"]
    total, start, last = 0.0, at, 0.0
    while at < len(tokens):
        word = tokens[at].word
        if word in words:
            value = words[word]
            if at > start and not _goes_on(last, value):
                break
            total = total * value if value in (100, 1000) and total else total + value
            last, at = value, at + 1
        elif at > start and tokens[at].word == "-" and at + 1 < len(tokens) and tokens[at + 1].word in words:
            at += 1
        elif at > start and (word,) in joint and at + 1 < len(tokens) and tokens[at + 1].word in words:
            if not _goes_on(last, words[tokens[at + 1].word]):
                break
            at += 1
        else:
            break
    if at + 1 < len(tokens) and (tokens[at].word,) in point:
        part = _digits_after_point(sentence, at + 1)
        if part is not None:
            return float(f"{int(total)}.{part[0]}"), part[1]
    return (total, at) if at > start else None


def _goes_on(last: float, value: float) -> bool:
    """Whether a number word belongs to the one before: "twenty two", "two hundred", "two and a half"."""
    if value in (100, 1000):
        return last < value
    return (
        (last >= 20 and value < 10 and value > 0)
        or last in (100, 1000)
        or (value in (0.5, 0.25) and last >= 1)
    )


def _unit(sentence: Sentence, at: int) -> tuple[str, int]:
    """The unit after a number and where it ends."""
    start = at
    while start < len(sentence.tokens) and sentence.tokens[start].word in ("-", "a"):
        start += 1
    best = ("", at)
    for unit, phrases in sentence.lexicon.units.items():
        for phrase in phrases:
            end = start + len(phrase)
            if tuple(token.word for token in sentence.tokens[start:end]) == phrase and end > best[1]:
                best = (unit, end)
    return best
