"""What a word was meant to be: spelling mistakes and what speech recognition makes of words of the trade.

Only long words of the trade are looked for, only among words that the language does not have, and only
within one letter (from six letters on) or two (from nine on) of how they sound. A word that says no, a
side, a number or a unit is never found this way, and none of them is ever taken for something else; nor is
a word that is one of the trade with "un", "in", "ab" or the like before it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from followup.telling.lexicon import Lexicon
from followup.telling.words import Token

_SHORT, _LONG = 6, 10
_JOINED = 8
"""Letters: shorter words are never put together from several."""
_MOST_PARTS = 5
_BONES, _MANY_BONES = 6, 7
"""Consonants: fewer are never compared by them alone; from so many on, one may differ."""
_BONE = {
    sign: sound
    for signs, sound in (
        *(("bp", "p"), ("fv", "f"), ("ckgq", "k"), ("sz", "s"), ("dt", "t"), ("mn", "n")),
        *(("l", "l"), ("r", "r"), ("j", "j"), ("x", "ks")),
    )
    for sign in signs
}
_SOUNDS = (
    ("ph", "f"), ("ck", "k"), ("qu", "k"), ("ae", "e"), ("oe", "e"), ("rh", "r"), ("th", "t"),
    ("c", "k"), ("q", "k"), ("y", "i"), ("z", "s"), ("x", "ks"), ("ou", "o"), ("ei", "i"),
)  # fmt: skip


@dataclass(frozen=True)
class _Ear:
    """The words that may be found, by their sound."""

    words: tuple[str, ...]
    sounds: tuple[str, ...]
    bones: tuple[str, ...]

    def alike(self, word: str) -> str | None:
        """The one word with the same consonants, whatever the vowels: no more than a guess."""
        bones = bones_of(word)
        if len(bones) < _BONES:
            return None
        most = int(len(bones) >= _MANY_BONES)
        found = process.extract(bones, self.bones, scorer=Levenshtein.distance, score_cutoff=most, limit=4)
        best = {self.words[at] for _, score, at in found if score == found[0][1]}
        word_found = best.pop() if len(best) == 1 else ""
        return word_found if word_found and not _turned(word, word_found) else None

    def nearest(self, word: str) -> str | None:
        """The one word that sounds like this one; none where two do."""
        sound = sound_of(word)
        most = 2 if len(word) >= _LONG else 1
        found = process.extract(sound, self.sounds, scorer=Levenshtein.distance, score_cutoff=most, limit=4)
        if not found:
            return None
        best = {self.words[at] for _, score, at in found if score == found[0][1]}
        word_found = best.pop() if len(best) == 1 else ""
        return word_found if word_found and not _turned(word, word_found) else None


def sound_of(word: str) -> str:
    """A word by its sound, as far as words of Greek and Latin are mistaken for one another."""
    for written, heard in _SOUNDS:
        word = word.replace(written, heard)
    return re.sub(r"(.)\1+", r"\1", word)


def bones_of(word: str) -> str:
    """A word by its consonants in classes that sound alike, none twice in a row."""
    for written, heard in (("ph", "f"), ("ce", "se"), ("ci", "si"), ("cy", "si"), ("sc", "s"), ("gh", "")):
        word = word.replace(written, heard)
    return re.sub(r"(.)\1+", r"\1", "".join(_BONE.get(sign, "") for sign in word))


def as_meant(tokens: Sequence[Token], lexicon: Lexicon) -> tuple[Token, ...]:
    """The tokens, each unknown word replaced by the word of the trade that it was meant to be."""
    found: list[Token] = []
    at = 0
    while at < len(tokens):
        one, after = _joined(tokens, at, lexicon) or (_meant(tokens[at], lexicon), at + 1)
        found.append(one)
        at = after
    return tuple(found)


def _joined(tokens: Sequence[Token], at: int, lexicon: Lexicon) -> tuple[Token, int] | None:
    """A word of the trade that was heard as several."""
    for many in range(_MOST_PARTS, 1, -1):
        run = _run(tokens, at, many)
        parts = [part for part in run if part.kind == "word"]
        if not parts:
            continue
        if word := lexicon.heard.get(tuple(part.word for part in parts)):
            return _one(parts, word), at + len(run)
        joined = "".join(part.word for part in parts)
        if len(joined) < _JOINED or all(part.word in lexicon.known for part in parts):
            continue
        if any(part.word in lexicon.guarded for part in parts):
            continue
        if word := (joined if joined in lexicon.sounds else _ear(lexicon).nearest(joined)):
            return _one(parts, word), at + len(run)
        if word := _ear(lexicon).alike(joined):
            return replace(_one(parts, word), guessed=True), at + len(run)
    return None


def _run(tokens: Sequence[Token], at: int, many: int) -> Sequence[Token]:
    """So many words that follow each other with nothing but a hyphen inside them; none where they do not."""
    end = at
    for number in range(many):
        if number and end + 1 < len(tokens) and tokens[end].word == "-" and _glued(tokens, end):
            end += 1
        if end >= len(tokens) or tokens[end].kind != "word":
            return ()
        end += 1
    return tokens[at:end]


def _glued(tokens: Sequence[Token], at: int) -> bool:
    return tokens[at - 1].end == tokens[at].start and tokens[at].end == tokens[at + 1].start


def _one(parts: Sequence[Token], word: str) -> Token:
    return Token(parts[0].start, parts[-1].end, word, "word", heard=True)


def _meant(token: Token, lexicon: Lexicon) -> Token:
    if word := lexicon.heard.get((token.word,)):
        return replace(token, word=word, heard=True)
    if token.kind != "word" or token.word in lexicon.known or len(token.word) < _SHORT:
        return token
    word = _ear(lexicon).nearest(token.word)
    return replace(token, word=word, heard=True) if word else token


@lru_cache(maxsize=8)
def _ear_of(words: tuple[str, ...]) -> _Ear:
    return _Ear(words, tuple(map(sound_of, words)), tuple(map(bones_of, words)))


def _ear(lexicon: Lexicon) -> _Ear:
    return _ear_of(tuple(sorted(lexicon.sounds)))


_TURNING = ("un", "in", "im", "non", "de", "dis", "ab", "a", "mis", "pre", "re")


def _turned(word: str, found: str) -> bool:
    """Whether one of two words is the other with a part before it that turns its meaning."""
    return any(
        longer.removeprefix(part) == shorter
        for part in _TURNING
        for longer, shorter in ((word, found), (found, word))
        if longer.startswith(part)
    )
