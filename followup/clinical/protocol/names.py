"""Names in free words: medicines by class, reactions, and words that say nothing of a medicine.

Data (``names.toml``) says which words are known; this module only knows how they are found: whole, in
any order and case. What stands in no list is returned as not understood, never guessed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Annotated, Literal, TypeAlias

from pydantic import Field, StrictInt

from followup.clinical.protocol.formulary import Kind, Medicine, Words
from followup.clinical.protocol.parts import ProtocolPart, Reasoned, Sourced
from followup.clinical.protocol.references import FieldRef, Names
from followup.clinical.record.given import StandsFor

Reaction: TypeAlias = Literal["rash", "severe", "wheeze", "other", "not known"]
Form: TypeAlias = tuple[str, ...]

_SEGMENT = re.compile(r"[;,\n]|\.(?:\s|$)")
_TOKEN = re.compile(r"[^\W_]+")


class NameClass(Sourced):
    """Medicines of one class by their generic names.

    ``allergy`` is the word of the record's list of allergies for it; ``kinds`` the classes of the
    formulary that an allergy to it is about. ``unclear``: the word means several things, and is asked
    about elsewhere. ``taken``: what a tablet of it stands for: a field of the patient's conditions,
    "eye class" (it must be named from the formulary) or "note".
    """

    id: Words
    about: Words
    names: tuple[Words, ...] = Field(min_length=1)
    allergy: Words | None = None
    kinds: tuple[Kind, ...] = ()
    unclear: bool = False
    taken: StandsFor | None = None


class FieldWords(Sourced):
    """Words for what the record has a field for, and what is asked where the field does not agree.

    ``values`` are what agrees; without them anything but no, none or normal does.
    """

    field: FieldRef
    asks: Words
    words: tuple[Words, ...] = Field(min_length=1)
    values: tuple[bool | str, ...] = ()


class ReactionWords(Sourced):
    """Words for one kind of reaction, in the words of the record's list of allergies.

    Of several reactions told of one medicine the one of the highest ``gravity`` counts.
    """

    reaction: Literal["rash", "severe", "wheeze", "other"]
    gravity: StrictInt = Field(ge=1, le=9)
    words: tuple[Words, ...] = Field(min_length=1)


class PlainWords(Reasoned):
    """Words beside names: that there is no allergy, that there is no other, doubt, mere grammar,
    and ``denial``, which turns what follows within a few words into its opposite."""

    nothing: tuple[Words, ...] = ()
    nothing_else: tuple[Words, ...] = ()
    doubt: tuple[Words, ...] = ()
    filler: tuple[Words, ...] = ()
    denial: tuple[Words, ...] = ()


class NameFile(ProtocolPart):
    classes: Annotated[tuple[NameClass, ...], Names("id")] = Field(alias="class", min_length=1)
    reactions: tuple[ReactionWords, ...] = Field(alias="reaction", min_length=1)
    words: PlainWords
    fields: tuple[FieldWords, ...] = Field((), alias="field")


@dataclass(frozen=True)
class Mention:
    """A word of a field found in free text. ``denied``: the text says that it was not so."""

    text: str
    denied: bool


@dataclass(frozen=True)
class Named:
    """A medicine or class found in words. ``substance``: the formulary's name, where it has one."""

    name: str
    classes: tuple[str, ...]
    substance: str | None
    reaction: Reaction


@dataclass(frozen=True)
class Reading:
    """What free words about allergies say: names with reactions, and what nobody understands.

    ``none``: they say that there is no allergy; ``none_else``: that there is no other one.
    """

    named: tuple[Named, ...] = ()
    unknown: tuple[str, ...] = ()
    none: bool = False
    none_else: bool = False


@dataclass(frozen=True)
class KnownNames:
    """All known names and words. An empty one understands nothing."""

    classes: Mapping[str, NameClass]
    substances: tuple[str, ...]
    reactions: tuple[ReactionWords, ...]
    words: PlainWords | None
    told: tuple[FieldWords, ...] = ()

    @classmethod
    def of(cls, file: NameFile, formulary: Iterable[Medicine]) -> KnownNames:
        """The names of a file, with the substances of the formulary among them."""
        substances = dict.fromkeys(s for medicine in formulary for s in medicine.substances)
        classes = {one.id: one for one in file.classes}
        return cls(classes, tuple(substances), file.reactions, file.words, file.fields)

    @property
    def fields(self) -> tuple[FieldWords, ...]:
        """Fields whose words count in the free text of an operation."""
        return tuple(one for one in self.told if not one.field.startswith(_EARLIER))

    @property
    def earlier_fields(self) -> tuple[FieldWords, ...]:
        """Fields whose words count in the note on an earlier operation."""
        return tuple(one for one in self.told if one.field.startswith(_EARLIER))

    def mention(self, one: FieldWords, text: str) -> Mention | None:
        """The first of the field's words in the text; one that is said outright before one that is denied."""
        found: list[Mention] = []
        denials = set(self.words.denial) if self.words else set()
        for segment in _SEGMENT.split(text):
            tokens = _tokens(segment)
            for word in one.words:
                for at in _places(tokens, _tokens(word)):
                    before = tokens[max(0, at - _REACH) : at]
                    found.append(Mention(segment.strip(), bool(denials & set(before))))
        return min(found, key=lambda mention: mention.denied, default=None)

    @cached_property
    def _forms(self) -> Mapping[Form, tuple[str, str]]:
        """Every form as its tokens: what it is ("name", a reaction, "filler"...) and as it is written."""
        forms: dict[Form, tuple[str, str]] = {}
        plain = self.words
        for kind, words in (
            ("filler", plain.filler if plain else ()),
            ("doubt", plain.doubt if plain else ()),
            ("nothing", plain.nothing if plain else ()),
            ("nothing else", plain.nothing_else if plain else ()),
        ):
            forms |= {form: (kind, word) for word in words for form in _forms_of(word)}
        for group in self.reactions:
            forms |= {form: (group.reaction, word) for word in group.words for form in _forms_of(word)}
        for name in (*self.substances, *(n for c in self.classes.values() for n in c.names)):
            forms |= dict.fromkeys(_forms_of(name), ("name", name))
        return forms

    @cached_property
    def _classes(self) -> Mapping[Form, tuple[str, ...]]:
        found: dict[Form, tuple[str, ...]] = {}
        for one in self.classes.values():
            for form in {form for name in one.names for form in _forms_of(name)}:
                found[form] = (*found.get(form, ()), one.id)
        return found

    @cached_property
    def _substances(self) -> Mapping[Form, str]:
        return {form: name for name in self.substances for form in _forms_of(name)}

    def classes_in(self, text: str) -> tuple[NameClass, ...]:
        """The classes that free words name."""
        forms = [form for form, kind, _ in self._read(_tokens(text)) if kind == "name"]
        ids = dict.fromkeys(id_ for form in forms for id_ in self._classes.get(form, ()))
        return tuple(self.classes[id_] for id_ in ids)

    def classes_of(self, name: str) -> tuple[str, ...]:
        """The classes of one medicine or substance by its name or id."""
        return tuple(one.id for one in self.classes_in(name.replace("-", " ")))

    def read(self, text: str, known: Iterable[str] = ()) -> Reading:
        """What words about allergies say. ``known`` are words that the list of allergies explains."""
        explained = {token for word in known for token in _tokens(word)}
        parts = [self._segment(segment, explained) for segment in _SEGMENT.split(text) if segment.strip()]
        parts = self._with_reactions(parts)
        named = tuple(name for part in parts for name in part.named)
        none, none_else = (any(getattr(part, what) for part in parts) for what in ("none", "none_else"))
        unknown = [word for part in parts for word in part.unknown]
        silent = not (named or none or none_else or unknown or explained)
        if text.strip() and (silent or (none and named)):
            # Words that name nothing, or allergies and none at once: a person must say which.
            unknown.append(text.strip())
        return Reading(named, tuple(dict.fromkeys(unknown)), none, none_else)

    def _segment(self, segment: str, explained: set[str]) -> _Part:
        found = list(self._read(_tokens(segment)))
        reactions: list[Reaction] = [
            group.reaction for _, kind, _ in found for group in self.reactions if group.reaction == kind
        ]
        worst = self._gravest(reactions) if reactions else None
        names = tuple(
            Named(word, self._classes.get(form, ()), self._substances.get(form), "not known")
            for form, kind, word in found
            if kind == "name"
        )
        unknown = [word for _, kind, word in found if kind == "unknown" and word not in explained]
        if any(kind == "doubt" for _, kind, _ in found):
            unknown = [segment.strip()]
        kinds = {kind for _, kind, _ in found}
        return _Part(names, tuple(unknown), worst, "nothing" in kinds, "nothing else" in kinds)

    def _with_reactions(self, parts: Sequence[_Part]) -> list[_Part]:
        """Each name with the reaction of its segment; one of reactions alone speaks of its neighbour."""
        reactions = [part.reaction for part in parts]
        for i, part in enumerate(parts):
            if part.named or part.reaction is None:
                continue
            before = [j for j in range(i) if parts[j].named]
            after = [j for j in range(i + 1, len(parts)) if parts[j].named]
            for j in before[-1:] or after[:1]:
                reactions[j] = self._gravest((reactions[j] or "not known", part.reaction))
        told = []
        for part, reaction in zip(parts, reactions, strict=True):
            named = tuple(Named(n.name, n.classes, n.substance, reaction or "not known") for n in part.named)
            told.append(_Part(named, part.unknown, reaction, part.none, part.none_else))
        return told

    def _gravest(self, reactions: Iterable[Reaction]) -> Reaction:
        """The gravest of several reactions, of equals the first; one that is not known comes last."""
        gravity: dict[Reaction, int] = {group.reaction: group.gravity for group in self.reactions}
        return max(reactions, key=lambda reaction: gravity.get(reaction, 0))

    def _read(self, tokens: Sequence[str]) -> Iterator[tuple[Form, str, str]]:
        """The longest known forms from left to right; a word that is none of them stands for itself."""
        at = 0
        while at < len(tokens):
            for length in range(min(_LONGEST, len(tokens) - at), 0, -1):
                form = self._known(tuple(tokens[at : at + length]))
                if form is not None:
                    kind, word = self._forms[form]
                    yield form, kind, word
                    at += length
                    break
            else:
                token = tokens[at]
                plain = token.isdigit() or len(token) == 1
                yield (token,), "filler" if plain else "unknown", token
                at += 1

    def _known(self, form: Form) -> Form | None:
        """The form as it is listed: as it stands, or its last word in the singular."""
        *first, last = form
        for end in (last, last.removesuffix("s"), last.removesuffix("es")):
            if (*first, end) in self._forms:
                return (*first, end)
        return None


def _places(tokens: Sequence[str], form: Form) -> Iterator[int]:
    """Where a form stands in the text, its last word in the singular or the plural."""
    ends = {form[-1], f"{form[-1]}s", f"{form[-1]}es"}
    for at in range(len(tokens) - len(form) + 1):
        here = tuple(tokens[at : at + len(form)])
        if here[:-1] == form[:-1] and here[-1] in ends:
            yield at


_LONGEST = 6
_EARLIER = "eye.after_earlier_operation."
# How many words before a word may turn it into its opposite.
_REACH = 4

NO_NAMES = KnownNames({}, (), (), None)


@dataclass(frozen=True)
class _Part:
    """One segment of the text, before reactions are given to the names that they belong to."""

    named: tuple[Named, ...]
    unknown: tuple[str, ...]
    reaction: Reaction | None
    none: bool
    none_else: bool


@lru_cache(maxsize=4096)
def _tokens(text: str) -> Form:
    plain = unicodedata.normalize("NFKD", text.replace("’", "").replace("'", "")).casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c) or ord(c) > _LATIN_MARKS)
    return tuple(token.replace("sulph", "sulf") for token in _TOKEN.findall(plain))


# Marks over Latin letters are left out; in other scripts a mark is part of the word.
_LATIN_MARKS = 0x036F


def _forms_of(word: str) -> set[Form]:
    """The word as its tokens, and written in one."""
    tokens = _tokens(word)
    return {tokens, ("".join(tokens),)} if tokens else set()
