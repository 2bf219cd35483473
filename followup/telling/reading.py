"""A told operation read into the fields of the record."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from followup.clinical.record.base import Eye
from followup.telling.agreement import agreed, asked
from followup.telling.doubts import by_size, taken_back, unsettled
from followup.telling.eyes import SentenceTold, eyes_told, not_this_eye, of_each_eye
from followup.telling.hearing import as_meant
from followup.telling.kind import Kind, kind_of, not_ours, unsure
from followup.telling.lexicon import Lexicon
from followup.telling.matching import ToldSentence
from followup.telling.medicines import DRUG, medicines_told
from followup.telling.model import FieldTold, NoPlace, NotThisText, Passage, Telling
from followup.telling.order import Ordering
from followup.telling.phrases import CONTROL, ELSEWHERE, EMPTY, TOO_LONG
from followup.telling.remark import EYE, LOOSE, Remark
from followup.telling.remarks import elsewhere_of, remarks_of
from followup.telling.scope import Cue, cues_of
from followup.telling.sentences import sentences_of, with_signs
from followup.telling.settling import given_up, settled
from followup.telling.stakes import weighed
from followup.telling.topics import asked_by_topic
from followup.telling.whose import of_this_one
from followup.telling.words import tokens_of

LONGEST = 20_000
"""Characters: nobody tells one operation in more words."""
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufeff]")

_AWAY = frozenset(("other_eye", "another_patient", "mistaken", "instruction", "aside", "family"))
"""What a sentence with one of these says is not of this operation, or not alone."""


def read_telling(text: str, lexicon: Lexicon, eye: Eye | None = None) -> Telling:
    """What ``text`` tells of an operation on ``eye``, in the language of the lexicon.

    ``eye`` is what was typed and pointed at; without it the telling's own eye is only reported. Nothing
    is raised: a text that is not one told operation comes back with ``refused`` and without fields.
    """
    refused = _not_a_text(text)
    if refused is not None:
        return Telling(text, lexicon.tag, refused=refused)
    heard = _heard(text, lexicon)
    told = heard.told()
    eyes = eyes_told(told)
    refused = not_this_eye(told, eyes, eye) or not_ours(heard.kinds)
    if refused is not None:
        return Telling(text, lexicon.tag, eyes=eyes, refused=refused)
    told = of_each_eye(told, eye or (eyes[0].eye if eyes else None))
    remarks = _remarks(told, heard.sentences)
    fields = _settled(remarks, lexicon)
    doubtful = unsure(heard.kinds, fields)
    fields = asked_by_topic(fields, heard.ours, [one for each in told for one in each.remarks])
    if doubtful:
        fields = tuple(asked(one, "kind") for one in fields)
    up = given_up([one for one in remarks if one.field != LOOSE], fields)
    used = [one.words for one in fields] + [choice.words for one in fields for choice in one.choices]
    used += [one.words for one in heard.no_place] + [one.words for one in up] + [one.words for one in eyes]
    return Telling(
        text,
        lexicon.tag,
        eyes,
        fields,
        _unread(heard, used),
        tuple(sorted(heard.no_place, key=lambda one: one.words)),
        up,
    )


def _not_a_text(text: str) -> NotThisText | None:
    if len(text) > LONGEST:
        return NotThisText("too long", TOO_LONG)
    if found := _CONTROL.search(text):
        return NotThisText("control", CONTROL, (Passage(found.start(), found.end()),))
    if not any(sign.isalpha() for sign in text):
        return NotThisText("empty", EMPTY)
    return None


@dataclass
class _Heard:
    """The sentences of a text, and what was said in them in the order of the telling."""

    sentences: list[ToldSentence] = field(default_factory=list)
    ordering: Ordering = field(default_factory=lambda: Ordering([]))
    ours: list[tuple[ToldSentence, tuple[Cue, ...]]] = field(default_factory=list)
    other: list[bool] = field(default_factory=list)
    now: list[bool] = field(default_factory=list)
    turn: list[bool] = field(default_factory=list)
    both: list[bool] = field(default_factory=list)
    no_place: list[NoPlace] = field(default_factory=list)
    kinds: list[Kind] = field(default_factory=list)

    def add(self, sentence: ToldSentence) -> None:
        cues = cues_of(sentence)
        kinds = {cue.kind for cue in cues}
        lexicon = sentence.lexicon
        self.sentences.append(sentence)
        if not kinds & _AWAY:
            self.ours.append((sentence, cues))
        self.other.append("other_eye" in kinds)
        self.now.append(bool(kinds & {"this_time", "turn"}))
        self.turn.append("turn" in kinds)
        self.both.append(bool(sentence.any(lexicon.both_eyes)))
        if "mistaken" in kinds:
            self.ordering.mistaken(sentence, cues)
        if "mistaken" in kinds and "this_one" not in kinds:
            return
        if "instruction" in kinds:
            return
        found = remarks_of(sentence, cues)
        if "aside" in kinds:
            found = [one for one in found if one.field == EYE]
        if "family" in kinds:
            found = [one for one in found if one.field.startswith("patient.")]
        found = of_this_one(found, sentence, cues)
        self.kinds.append(kind_of(sentence, cues, found))
        self.ordering.add(sentence, found, cues)
        for what, place in elsewhere_of(sentence):
            self.no_place.append(NoPlace(ELSEWHERE[what], sentence.words(place)))

    def told(self) -> list[SentenceTold]:
        begins = [one.tokens[0].start for one in self.sentences]
        ends = [*begins[1:], 1 << 60][: len(begins)]
        return [
            SentenceTold(tuple(one for one in self.ordering.remarks if begin <= one.start < end), *flags)
            for begin, end, *flags in zip(
                begins, ends, self.other, self.both, self.now, self.turn, strict=True
            )
        ]


def _heard(text: str, lexicon: Lexicon) -> _Heard:
    heard = _Heard()
    said = with_signs(tokens_of(text, lexicon.elided), lexicon.signs)
    for tokens in sentences_of(text, as_meant(said, lexicon)):
        heard.add(ToldSentence(text, tokens, lexicon))
    return heard


def _remarks(told: Sequence[SentenceTold], sentences: Sequence[ToldSentence]) -> list[Remark]:
    begins = [one.tokens[0].start for one in sentences]
    found = [one for each in told for one in each.remarks]
    found = by_size(taken_back(unsettled(found, sentences), sentences), sentences)
    found = [one for one in found if one.field not in (EYE, LOOSE)]
    plain = [one for one in found if not one.field.startswith(DRUG)]
    return weighed([*plain, *medicines_told([one for one in found if one.field.startswith(DRUG)], begins)])


def _settled(remarks: Sequence[Remark], lexicon: Lexicon) -> tuple[FieldTold, ...]:
    by_field: dict[str, list[Remark]] = {}
    for one in remarks:
        by_field.setdefault(one.field, []).append(one)
    found = (
        settled(name, said, last_counts=name in lexicon.last_counts)
        for name, said in sorted(by_field.items())
    )
    return agreed([one for one in found if one is not None])


def _unread(heard: _Heard, used: Iterable[tuple[Passage, ...]]) -> tuple[Passage, ...]:
    """The sentences none of whose words lead to anything that is shown."""
    begins = [place.start for words in used for place in words]
    wholes = [Passage(one.tokens[0].start, one.tokens[-1].end) for one in heard.sentences]
    return tuple(whole for whole in wholes if not any(whole.start <= at < whole.end for at in begins))
