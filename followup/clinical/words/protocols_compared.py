"""The differences between two protocols in words, and what they do to given patients."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from followup.clinical.english import counted, sentence, steps_text
from followup.clinical.plan.build import build_plan
from followup.clinical.plan.taper import daily_counts
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.rule import Taper
from followup.clinical.record import Record
from followup.clinical.words.differences import compare_plans
from followup.clinical.words.differences_told import in_english
from followup.errors import FollowupError

_WINDOW = ("earliest", "target", "latest")
# The three days of a window are told as one; sources and reasons are told last, by name.
_ORIGIN = {"because": "its reason", "source": "its source", "mark": "the mark of its source"}


@dataclass(frozen=True)
class ProtocolEffect:
    """What another protocol does to one patient's plan."""

    name: str
    differences: tuple[str, ...]


def compare_protocols(old: Protocol, new: Protocol) -> tuple[str, ...]:
    """Every difference of content between two protocols, as sentences; empty where there is none."""
    return (
        *_changes("protocol", old.about, new.about),
        *_tapers(old, new),
        *_listed("rule", _by_id(old.rules), _by_id(new.rules)),
        *_listed("fact", {f.name: f for f in old.facts}, {f.name: f for f in new.facts}),
        *_listed("medicine", old.formulary, new.formulary),
        *_usual(old.medicines, new.medicines),
        *_listed("kind of look", old.kinds, new.kinds),
        *_listed("tier", old.tiers, new.tiers),
        *_listed("caution", _by_id(old.cautions.cautions), _by_id(new.cautions.cautions)),
        *_listed("duplicate rule", _by_id(old.cautions.duplicates), _by_id(new.cautions.duplicates)),
        *_above_label(old, new),
        *_changes("rounds of the day", old.rounds, new.rounds),
        *_changes("long NSAID", old.long_nsaid, new.long_nsaid),
        *_changes("catching up", old.catch_up, new.catch_up),
        *_changes("closed days", old.closed_days, new.closed_days),
        *_changes("promised days", old.promises, new.promises),
        *_changes("earlier operation", old.earlier_operation, new.earlier_operation),
        *_changes("pad", old.pad, new.pad),
        *_changes("routine answers", old.routine, new.routine),
        *_changes("summaries", old.summary, new.summary),
        *_changes("hourly drops", old.hourly, new.hourly),
        *_changes("medicines from before", old.from_before, new.from_before),
        *_changes("added looks", old.added_looks, new.added_looks),
        *_changes("early vision", old.early_vision, new.early_vision),
        *_changes("bands of vision", old.vision_bands, new.vision_bands),
        *_changes("usual figures of medicines", old.usual_figures, new.usual_figures),
        *_changes("supply", old.supply, new.supply),
        *_changes("reviews", old.review, new.review),
        *_changes("everyday life", old.aftercare, new.aftercare),
        *_changes("recall", old.recall, new.recall),
    )


def effect_on(records: Mapping[str, Record], old: Protocol, new: Protocol) -> tuple[ProtocolEffect, ...]:
    """What the new protocol changes in the plans of these patients, made on the last operation's day."""
    return tuple(ProtocolEffect(name, tuple(_effect(record, old, new))) for name, record in records.items())


def _effect(record: Record, old: Protocol, new: Protocol) -> Iterator[str]:
    plans = []
    for protocol, which in ((old, "the old"), (new, "the new")):
        try:
            plans.append(build_plan(record, protocol, as_of=record.last_operation_day))
        except FollowupError as exc:
            yield sentence(f"{which} protocol makes no plan: {exc.what}")
    if len(plans) == 2:
        before, after = plans
        yield from in_english(compare_plans(before, after), new)


def _tapers(old: Protocol, new: Protocol) -> Iterator[str]:
    for name, taper in new.tapers.items():
        if name not in old.tapers:
            yield f"Taper {name} is new: {steps_text((s.count, s.days) for s in taper.steps)}."
            continue
        yield from _taper(old.tapers[name], taper, new.hourly.most_a_day)
    for name in old.tapers:
        if name not in new.tapers:
            yield f"Taper {name} is gone."


def _taper(old: Taper, new: Taper, hourly: int) -> Iterator[str]:
    was, now = (daily_counts(taper.steps, hourly) for taper in (old, new))
    for start, end, before, after in _runs(was, now):
        yield f"Taper {new.id}, {_span(start, end)}: {_a_day(before)} becomes {_a_day(after)}."
    if len(was) != len(now):
        more = len(now) - len(was)
        yield (
            f"Taper {new.id} is {counted(abs(more), 'day', 'days')} {'longer' if more > 0 else 'shorter'}: "
            f"{counted(len(now), 'day', 'days')}."
        )
    if sum(was) != sum(now):
        more = sum(now) - sum(was)
        yield (
            f"Taper {new.id} has {counted(abs(more), 'drop', 'drops')} {'more' if more > 0 else 'fewer'}: "
            f"{counted(sum(now), 'drop', 'drops')}."
        )
    for path, before_, after_ in _parts(_plain(old), _plain(new)):
        if not path.startswith("steps"):
            yield _changed(f"Taper {new.id}", path, before_, after_)


def _runs(was: Sequence[int], now: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """Longest runs of days (from 1) on which one count became one other."""
    pairs = [
        (was[i] if i < len(was) else 0, now[i] if i < len(now) else 0) for i in range(max(len(was), len(now)))
    ]
    start = 0
    for i in range(1, len(pairs) + 1):
        if i == len(pairs) or pairs[i] != pairs[start]:
            before, after = pairs[start]
            if before != after:
                yield start + 1, i, before, after
            start = i


def _span(start: int, end: int) -> str:
    """Whole weeks as weeks, anything else as days of the course."""
    if (start - 1) % 7 == 0 and end % 7 == 0:
        first, last = (start + 6) // 7, end // 7
        return f"week {first}" if first == last else f"weeks {first} to {last}"
    return f"day {start}" if start == end else f"days {start} to {end}"


def _a_day(count: int) -> str:
    return f"{count} a day" if count else "none"


def _usual(old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[str]:
    for role in sorted({*old, *new}):
        if old.get(role) != new.get(role):
            was, now = old.get(role, "none"), new.get(role, "none")
            yield f"The usual {role.replace('_', ' ')} is {now} instead of {was}."


def _above_label(old: Protocol, new: Protocol) -> Iterator[str]:
    for entry in new.above_label:
        if entry not in old.above_label:
            yield (
                f"Above the label, owned by {entry.owner}: {entry.medicine}, {entry.drops_a_day} a day "
                f"for up to {counted(entry.days, 'day', 'days')}, because {entry.reason}."
            )
    for entry in old.above_label:
        if entry not in new.above_label:
            yield f"No longer owned above the label: {entry.medicine}, {entry.drops_a_day} a day."


def _listed(what: str, old: Mapping[Any, BaseModel], new: Mapping[Any, BaseModel]) -> Iterator[str]:
    for name, entry in new.items():
        if name not in old:
            because = getattr(entry, "because", "")
            yield sentence(f"{what} {name} is new{f': {because}' if because else ''}")
        else:
            yield from _changes(f"{what} {name}", old[name], entry)
    for name in old:
        if name not in new:
            yield sentence(f"{what} {name} is gone")


def _changes(what: str, old: BaseModel, new: BaseModel) -> Iterator[str]:
    for path, was, now in _parts(_plain(old), _plain(new)):
        yield _changed(what, path, was, now)


def _changed(what: str, path: str, was: Any, now: Any) -> str:
    name = _ORIGIN.get(path, path.replace("_", " ").replace(".", ", "))
    return sentence(f"{what}, {name}: {_value(was)} becomes {_value(now)}")


def _parts(old: Any, new: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """The smallest parts that differ, each with its path in words."""
    if old == new:
        return
    if isinstance(old, dict) and isinstance(new, dict):
        yield from _of_tables(old, new, path)
    elif _matched(old) and _matched(new):
        was, now = ({_name(entry): entry for entry in entries} for entries in (old, new))
        for name in dict.fromkeys((*was, *now)):
            yield from _parts(was.get(name), now.get(name), _under(path, name))
    else:
        yield path, old, new


def _of_tables(old: dict[str, Any], new: dict[str, Any], path: str) -> Iterator[tuple[str, Any, Any]]:
    if all(key in old and key in new for key in _WINDOW):
        was, now = (_window(table) for table in (old, new))
        if was != now:
            yield _under(path, "window"), was, now
        old, new = ({k: v for k, v in table.items() if k not in _WINDOW} for table in (old, new))
    for key in dict.fromkeys((*old, *new)):
        yield from _parts(old.get(key), new.get(key), _under(path, key))


def _window(table: dict[str, Any]) -> str:
    return "-".join(
        " or ".join(table[key]) if isinstance(table[key], list) else str(table[key]) for key in _WINDOW
    )


def _matched(entries: Any) -> bool:
    """A list whose entries have names of their own, each once."""
    if not isinstance(entries, list) or not entries:
        return False
    names = [_name(entry) for entry in entries]
    return None not in names and len(set(names)) == len(names)


def _name(entry: Any) -> str | None:
    if not isinstance(entry, dict):
        return None
    for keys in (("id",), ("finding",), ("eye", "from_day"), ("kind", "medicine"), ("role",)):
        if all(key in entry for key in keys):
            return " ".join(str(entry[key]) for key in keys)
    return None


def _under(path: str, name: str | None) -> str:
    return f"{path}.{name}" if path else str(name)


def _value(value: Any) -> str:
    if value is None or value == []:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_value(part) for part in value)
    if isinstance(value, dict):
        return "; ".join(
            f"{k.replace('_', ' ')} {_value(v)}" for k, v in value.items() if v not in (None, [], "")
        )
    return (
        f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)
    )


def _plain(model: BaseModel) -> dict[str, Any]:
    return model.model_dump(mode="json", by_alias=True)


def _by_id(entries: Sequence[Any]) -> dict[str, Any]:
    return {entry.id: entry for entry in entries}
