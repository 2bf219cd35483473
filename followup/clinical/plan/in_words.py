"""What a record tells in free words: shown where the plan is signed, used for nothing, asked about.

A word that names what the record has a field for is no fact. Where the field says nothing, or the
opposite, the plan asks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from followup.clinical.careplan import InWords, Question, Reason
from followup.clinical.protocol.names import FieldWords, KnownNames
from followup.clinical.record import Eye, Record
from followup.clinical.record.base import BOTH_EYES
from followup.clinical.record.eye import EyeContext
from followup.said import say
from followup.typed import typed


def told_in_words(record: Record) -> tuple[InWords, ...]:
    """Every free text of the record apart from the words about allergies, which stand with those."""
    found: list[tuple[str, Eye | None, str | None]] = [
        (f"operations.{i}.free_text", o.eye, o.free_text) for i, o in enumerate(record.operations)
    ]
    for eye in BOTH_EYES:
        earlier = getattr(record.patient.eyes, eye).after_earlier_operation
        past = getattr(record.patient.eyes, eye)
        if past.uveitis is not None:
            found.append((f"patient.eyes.{eye}.uveitis.kind_words", eye, past.uveitis.kind_words))
        if past.rise_on_steroid is not None:
            found.append((f"patient.eyes.{eye}.rise_on_steroid.medicine", eye, past.rise_on_steroid.medicine))
        found.append((f"patient.eyes.{eye}.graft_care", eye, past.graft_care))
        if earlier is not None:
            found.append((f"patient.eyes.{eye}.after_earlier_operation.note", eye, earlier.note))
    found += [(f"reviews.{i}.note", r.eye, r.note) for i, r in enumerate(record.reviews)]
    return tuple(InWords(field=f, eye=e, text=t.strip()) for f, e, t in found if t and t.strip())


def word_questions(contexts: Sequence[EyeContext], names: KnownNames) -> Iterator[Question]:
    """For each eye, the fields that its free words name and that say nothing of it, or the opposite."""
    for context in contexts:
        place = f"operations.{context.index}.free_text"
        yield from _asked(context, names.fields, context.operation.free_text, place, names)
        earlier = context.history.after_earlier_operation
        place = f"patient.eyes.{context.eye}.after_earlier_operation.note"
        yield from _asked(context, names.earlier_fields, earlier.note if earlier else None, place, names)


def _asked(
    context: EyeContext, fields: Sequence[FieldWords], text: str | None, place: str, names: KnownNames
) -> Iterator[Question]:
    for one in fields:
        word = names.mention(one, text or "")
        if word is None or _agrees(context.value(one.field), one, denied=word.denied):
            continue
        paths = context.fields(one.field)
        yield Question(
            id=f"in-words-{one.field.replace('.', '-').replace('_', '-')}",
            text=say(
                "The free text says “{text}”, and the record does not say so: {asks}",
                text=typed(word.text),
                asks=one.asks,
            ),
            eye=None if one.field.startswith("patient.") else context.eye,
            fields=(*paths, place),
            reasons=(
                Reason(
                    rule="in-words",
                    because=say("What stands in free text alone is used for nothing: a field must say it."),
                    source=one.source,
                    mark=one.mark,
                ),
            ),
        )


def _agrees(said: Any, one: FieldWords, *, denied: bool) -> bool:
    """Whether the field says what the words say; a field without a word agrees with nothing."""
    if said is None:
        return False
    if one.values:
        held = said if isinstance(said, tuple) else (said,)
        return any(value in one.values for value in held) is not denied
    silent = said in (False, (), "none", "no", "normal")
    return silent is denied
