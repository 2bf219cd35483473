"""Figures in a sentence: in digits or in words, with their units."""

from __future__ import annotations

from dataclasses import dataclass

from followup.telling.matching import Place, ToldSentence


@dataclass(frozen=True)
class Figure:
    """A number with its unit, "" where none was said; ``clock`` is a time of day such as "09:40".

    ``one``: the word "one" alone, which may be no number at all.
    """

    value: float
    unit: str
    place: Place
    clock: str = ""
    one: bool = False


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
        if clock := self._clock(at):
            return clock
        read = self._digits(at) or self._in_words(at)
        if read is None:
            return None
        value, end = read
        unit, after = self._unit(end)
        if not unit and at and self._is(at - 1, "at") and value == int(value) and 0 < value <= 12:
            unit = "position"
        alone = value == 1 and not unit and self.sentence.tokens[at].kind == "word" and end == at + 1
        return Figure(value, unit, Place(tuple(range(at, after))), one=alone)

    def passed(self, at: int) -> int:
        """The end of a name that holds figures: "10-0", "6/36", "SN60"."""
        if self._thread(at):
            return at + (3 if self.sentence.tokens[at + 1].word in ("-", "/") else 2)
        while at + 2 < len(self.sentence.tokens) and self._bound(at):
            at += 2
        return at + 1

    def _bound(self, at: int) -> bool:
        """Whether a figure is bound to the next by a hyphen before 0, or by a slash."""
        tokens = self.sentence.tokens[at : at + 3]
        if len(tokens) < 3 or tokens[0].kind != "number" or tokens[2].kind != "number":
            return False
        return tokens[1].word == "/" or (tokens[1].word == "-" and tokens[2].word == "0")

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
        return glued or self._bound(at) or (at >= 2 and self._bound(at - 2))

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
            if token.kind == "number" and token.word.isdecimal():
                digits += token.word
            elif value is not None and value == int(value) and (value < 10 or not digits):
                digits += str(int(value))
            else:
                break
            at += 1
        return (digits, at) if digits else None

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
        return (value, after + 1) if value is not None and 0 < value < 1 else None

    def _word(self, at: int) -> float | None:
        if at >= len(self.sentence.tokens):
            return None
        return self.sentence.lexicon.number_words.get(self.sentence.tokens[at].word)

    def _heard(self, at: int) -> float | None:
        if self._is(at, "nought"):
            return 0
        for value, kind in ((2, "heard_two"), (4, "heard_four"), (1, "heard_one")):
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
        return ("mgml", end) if unit == "mg" and self._is(end, "per") else best


def _goes_on(last: float, value: float) -> bool:
    """Whether a number word belongs to the one before: "twenty two", "two hundred and ten"."""
    if value >= 100:
        return 0 < last < value
    return (last >= 20 and last % 10 == 0 and 0 < value < 10) or (last >= 100 and value >= 1)
