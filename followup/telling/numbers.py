"""Figures in a sentence: in digits or in words, with their units."""

from __future__ import annotations

import re
from dataclasses import dataclass

from followup.telling.matching import Place, ToldSentence

_CLOCK = re.compile(r"(\d\d?)[.,]?(\d\d)")
_SIZES = ("mm", "mg")


@dataclass(frozen=True)
class Figure:
    """A number with its unit, "" where none was said; ``clock`` is a time of day such as "09:40".

    ``one``: the word "one" alone, which may be no number at all. ``heard``: a digit was taken from a word
    that sounds like it. ``times``: "3x", "x2", it counts something.
    """

    value: float
    unit: str
    place: Place
    clock: str = ""
    one: bool = False
    heard: bool = False
    times: bool = False


def figures_of(sentence: ToldSentence) -> tuple[Figure, ...]:
    """Every figure of a sentence, none inside another."""
    reader = _Reader(sentence)
    found: list[Figure] = []
    at = 0
    while at < len(sentence.tokens):
        figure = reader.at(at)
        if figure is not None:
            found.append(figure)
        at = figure.place.last + 1 if figure is not None else max(at + 1, reader.passed(at))
    return tuple(found)


@dataclass(frozen=True)
class _Reader:
    sentence: ToldSentence

    def at(self, at: int) -> Figure | None:
        """The figure that begins at a word."""
        if self._part_of_a_name(at):
            return None
        if clock := self._clock(at) or self._clock_in_words(at):
            return clock
        read = self._digits(at) or self._one_by_one(at) or self._in_words(at)
        heard = read is None and (read := self._sounding_like(at)) is not None
        if read is None:
            return None
        value, end = self._with_a_last_figure(*read)
        heard = heard or (value, end) != read
        # "to point four" can only be two; "two point for" may be something else.
        heard = heard or any(self._heard(number) for number in range(at + 1, end))
        unit, after = self._unit(end)
        if unit and value == int(value) and (rest := self._fraction(after)):
            # "6 millimetres and a half"
            value, after = value + rest[0], rest[1]
        if not unit and at and self._is(at - 1, "at") and value == int(value) and 0 < value <= 12:
            unit = "position"
        value = -value if unit in ("", "dioptres") and self._minus(at) else value
        alone = value == 1 and not unit and self.sentence.tokens[at].kind == "word" and end == at + 1
        return Figure(
            value, unit, Place(tuple(range(at, after))), one=alone, heard=heard, times=self._times(at, end)
        )

    def _minus(self, at: int) -> bool:
        """Whether a figure is below nought: "minus 3", "-3", but not "2-3" and not "rhexis - 5"."""
        tokens = self.sentence.tokens
        if not at or self._is(at - 1, "minus_word"):
            return at > 0
        sign = tokens[at - 1]
        bound = at > 1 and tokens[at - 2].end == sign.start
        return sign.word in ("-", "−", "–") and sign.end == tokens[at].start and not bound

    def _with_a_last_figure(self, value: float, end: int) -> tuple[float, int]:
        """ "Twenty too dioptres": a word that sounds like a number between tens and a unit."""
        last = self._heard(end)
        if last and value >= 20 and value % 10 == 0 and self.sentence.tokens[end - 1].kind == "word":
            return (value + last, end + 1) if self._unit(end + 1)[0] else (value, end)
        return value, end

    def _times(self, at: int, end: int) -> bool:
        tokens = self.sentence.tokens
        after = tokens[end].word if end < len(tokens) else ""
        return after in ("x", "×") or (at > 0 and tokens[at - 1].word in ("x", "×"))

    def _sounding_like(self, at: int) -> tuple[float, int] | None:
        """A word that sounds like a number, right before a unit of size: "for millimetres"."""
        value = self._heard(at)
        return (value, at + 1) if value and self._unit(at + 1)[0] in _SIZES else None

    def _clock_in_words(self, at: int) -> Figure | None:
        """A time of day after "start" or "finish": "fourteen twenty", "ten fifteen", "1420", "9.15"."""
        said = at - 2 if at > 1 and self._is(at - 1, "at") else at - 1
        if said < 0 or not self._is(said, "clock_before"):
            return None
        token = self.sentence.tokens[at]
        if token.kind == "number" and (found := _CLOCK.fullmatch(token.word)):
            hour, minute, end = int(found[1]), int(found[2]), at + 1
        else:
            found_words = self._hour_and_minute(at)
            if found_words is None:
                return None
            hour, minute, end = found_words
        if not 0 <= hour < 24 or not 0 <= minute < 60:
            return None
        return Figure(0, "clock", Place(tuple(range(at, end))), f"{hour:02}:{minute:02}")

    def passed(self, at: int) -> int:
        """The end of a name that holds figures: "10-0", "6/36", "SN60"."""
        if self._thread(at):
            return at + (3 if self.sentence.tokens[at + 1].word in ("-", "/") else 2)
        while self.sentence.bound(at):
            at += 2
        return at + 1

    def _part_of_a_name(self, at: int) -> bool:
        tokens = self.sentence.tokens
        if self._thread(at):
            return True
        if tokens[at].kind != "number":
            return False
        before = tokens[at - 1] if at else None
        glued = (
            before is not None
            and before.kind == "word"
            and before.end == tokens[at].start
            and before.word != "x"
        )
        return glued or self.sentence.bound(at) or self.sentence.bound(at - 2)

    def _thread(self, at: int) -> bool:
        """Whether a number names a thread: "ten oh nylon", "10-zero"."""
        if self._word(at) not in (8, 9, 10) and self.sentence.tokens[at].word not in ("8", "9", "10"):
            return False
        after = at + 1
        if after < len(self.sentence.tokens) and self.sentence.tokens[after].word in ("-", "/"):
            after += 1
        return self._is(after, "nought") or (
            after < len(self.sentence.tokens) and self.sentence.tokens[after].word == "0" and after > at + 1
        )

    def _clock(self, at: int) -> Figure | None:
        tokens = self.sentence.tokens[at : at + 3]
        if len(tokens) < 3 or tokens[1].word not in (":", "h") or tokens[1].start != tokens[0].end:
            return None
        hour, minute = tokens[0].word, tokens[2].word
        if not (
            hour.isdecimal()
            and minute.isdecimal()
            and len(minute) == 2
            and int(hour) < 24
            and int(minute) < 60
        ):
            return None
        return Figure(0, "clock", Place((at, at + 1, at + 2)), f"{int(hour):02}:{minute}")

    def _hour_and_minute(self, at: int) -> tuple[int, int, int] | None:
        """ "fourteen twenty", "8 hours 20", "7 and 50", "fifteen oh five": the hour, the minute, the end."""
        first = self._number(at)
        if first is None:
            return None
        after = first[1] + 1 if self._is(first[1], "clock_joint") else first[1]
        if self._is(after, "nought") and (digit := self._word(after + 1)) is not None and digit < 10:
            return int(first[0]), int(digit), after + 2
        second = self._number(after)
        return (int(first[0]), int(second[0]), second[1]) if second and second[0] >= 10 else None

    def _number(self, at: int) -> tuple[float, int] | None:
        token = self.sentence.tokens[at] if at < len(self.sentence.tokens) else None
        if token is not None and token.word.isdecimal():
            return float(token.word), at + 1
        return self._whole(at)

    def _digits(self, at: int) -> tuple[float, int] | None:
        token = self.sentence.tokens[at]
        if token.kind != "number":
            return None
        value = float(token.word.replace(",", "."))
        if token.word.isdecimal() and self._is(at + 1, "point") and (part := self._after_point(at + 2)):
            return float(f"{int(value)}.{part[0]}"), part[1]
        if token.word.isdecimal() and (fraction := self._fraction(at + 1)):
            return value + fraction[0], fraction[1]
        return value, at + 1

    def _after_point(self, at: int) -> tuple[str, int] | None:
        """The digits that are said after a point, one by one or as one number below a hundred."""
        digits = ""
        while at < len(self.sentence.tokens):
            token = self.sentence.tokens[at]
            value = 0 if self._is(at, "nought") else self._word(at)
            value = self._heard(at) if value is None and not digits else value
            if token.kind == "number" and token.word.isdecimal():
                digits += token.word
            elif value is not None and value == int(value) and (value < 10 or not digits):
                digits += str(int(value))
            else:
                break
            at += 1
        return (digits, at) if digits else None

    def _one_by_one(self, at: int) -> tuple[float, int] | None:
        """Three figures said one by one with a nought between: "one oh five"."""
        first, last = self._word(at), self._word(at + 2)
        if not self._is(at + 1, "nought") or self._thread(at) or first is None or last is None:
            return None
        if not (0 < first < 10 and first == int(first) and 0 <= last < 10 and last == int(last)):
            return None
        return 100 * first + last, at + 3

    def _in_words(self, at: int) -> tuple[float, int] | None:
        start = at
        # "point four", "oh point four", and what is heard for a number before "point": "to point four".
        spoken = self._whole(at)
        if self._is(at, "point") and (part := self._after_point(at + 1)):
            return float(f"0.{part[0]}"), part[1]
        heard = self._heard(at)
        if spoken is None and heard is not None and self._is(at + 1, "point"):
            spoken = (heard, at + 1)
        if spoken is None:
            return None
        total, at = spoken
        if self._is(at, "point") and (part := self._after_point(at + 1)):
            return float(f"{int(total)}.{part[0]}"), part[1]
        if self._word(start) is None:
            return None
        if fraction := self._fraction(at):
            return total + fraction[0], fraction[1]
        return (total, at) if at > start else None

    def _whole(self, at: int) -> tuple[float, int] | None:
        """A number in words: "twenty two", "twenty-two", "a hundred and eighty"."""
        first = self._word(at)
        if first is None:
            return None
        total, last, end = first, first, at + 1
        while True:
            after = end + 1 if self._is(end, "number_joint") else end
            value = self._word(after)
            if value is None or not _goes_on(last, value):
                return total, end
            total = total * value if value >= 100 else total + value
            last, end = value, after + 1

    def _fraction(self, at: int) -> tuple[float, int] | None:
        """ "and a half" after a whole number."""
        if not self._is(at, "number_joint"):
            return None
        after = at + 1
        if (
            after < len(self.sentence.tokens)
            and self.sentence.tokens[after].word in self.sentence.lexicon.skip
        ):
            after += 1
        value = self._word(after)
        if self._is(after + 1, "tenths"):
            token = self.sentence.tokens[after]
            tenths = float(token.word) if token.word.isdecimal() else value
            return (tenths / 10, after + 2) if tenths is not None and 0 < tenths < 10 else None
        return (value, after + 1) if value is not None and 0 < value < 1 else None

    def _word(self, at: int) -> float | None:
        if at >= len(self.sentence.tokens):
            return None
        return self.sentence.lexicon.number_words.get(self.sentence.tokens[at].word)

    def _heard(self, at: int) -> float | None:
        if self._is(at, "nought"):
            return 0
        for value, kind in (
            (2, "heard_two"),
            (4, "heard_four"),
            (1, "heard_one"),
            (8, "heard_eight"),
        ):
            if self._is(at, kind):
                return value
        return None

    def _is(self, at: int, kind: str) -> bool:
        if at >= len(self.sentence.tokens):
            return False
        return (self.sentence.tokens[at].word,) in self.sentence.lexicon.cues.get(kind, ())

    def _unit(self, at: int) -> tuple[str, int]:
        """The unit after a number, and where it ends; "half a milligram", "2-mm"."""
        tokens = self.sentence.tokens
        start = at
        while start < len(tokens) and (
            tokens[start].word == "-" or (tokens[start].word,) in self.sentence.lexicon.cues["unit_joint"]
        ):
            start += 1
        best = ("", at)
        for unit, phrases in self.sentence.lexicon.units.items():
            for phrase in phrases:
                end = start + len(phrase)
                if end > best[1] and tuple(token.word for token in tokens[start:end]) == phrase:
                    best = (unit, end)
        unit, end = best
        # "40 mg per ml", "8 mg/2 ml": how strong it was, and not how much was given.
        strength = self._is(end, "per") or (
            self._is(end, "per_figure") and end + 1 < len(tokens) and tokens[end + 1].kind == "number"
        )
        return ("mgml", end) if unit == "mg" and strength else best


def _goes_on(last: float, value: float) -> bool:
    """Whether a number word belongs to the one before: "twenty two", "two hundred and ten"."""
    if value >= 100:
        return 0 < last < value
    return (last >= 20 and last % 10 == 0 and 0 < value < 10) or (last >= 100 and value >= 1)
