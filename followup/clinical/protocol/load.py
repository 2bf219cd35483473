"""Reading a protocol's folder: files, hash, the whole or the faults by file and line."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

import followup
from followup.clinical.protocol.aftercare import load_aftercare
from followup.clinical.protocol.cautions import load_cautions
from followup.clinical.protocol.checks import check_protocol
from followup.clinical.protocol.facts import FactDef
from followup.clinical.protocol.files import Files
from followup.clinical.protocol.formulary import load_formulary
from followup.clinical.protocol.lines import Source, load_toml, toml_problem
from followup.clinical.protocol.names import load_names
from followup.clinical.protocol.protocol import Protocol, ProtocolFile
from followup.clinical.protocol.recall import load_recall_rules
from followup.clinical.protocol.reviews import load_review
from followup.clinical.protocol.rule import Rule
from followup.errors import FollowupError

SAMPLE = Path(__file__).resolve().parents[1] / "data"
T = TypeVar("T", bound=BaseModel)


def load_protocol(folder: Path | None = None) -> Protocol:
    """The protocol in ``folder``; the sample protocol without one. A clinic's own set replaces it whole."""
    return _loaded(folder) if folder else _sample()


@cache
def _sample() -> Protocol:
    """Part of the program: it does not change while that runs, and is read once."""
    return _loaded(SAMPLE)


def _loaded(folder: Path) -> Protocol:
    protocol, files = read_protocol(folder)
    check_protocol(protocol, files)
    return protocol


def read_protocol(folder: Path) -> tuple[Protocol, Files]:
    """The files of a protocol, each valid in itself; whether they fit together is not yet checked."""
    if not folder.is_dir():
        raise FollowupError(
            "protocol.folder", "no such folder", where=str(folder), fix="name the protocol's folder"
        )
    main = _source(folder / "protocol.toml")
    settings = _table(ProtocolFile, main)
    fact_file = _source(folder / "facts.toml")
    facts = _list(FactDef, fact_file, "fact")
    rule_files = [_source(path) for path in sorted(folder.glob("rules-*.toml"))]
    if not rule_files:
        raise FollowupError("protocol.rules", "no rules-*.toml here", where=str(folder), fix="add the rules")
    rules = [(source, i, rule) for source in rule_files for i, rule in enumerate(_list(Rule, source, "rule"))]
    formulary = load_formulary(folder / "formulary.toml")
    # Before the cautions: their sentences point to its figures.
    aftercare = load_aftercare(folder / "aftercare.toml")
    protocol = Protocol(
        about=settings.protocol,
        rounds=settings.rounds,
        medicines=settings.medicines,
        kinds=settings.kind,
        tiers=settings.tier,
        long_nsaid=settings.long_nsaid,
        catch_up=settings.catch_up,
        closed_days=settings.closed_days,
        promises=settings.promises,
        earlier_operation=settings.earlier_operation,
        pad=settings.pad,
        supply=settings.supply,
        tapers={taper.id: taper for taper in settings.taper},
        above_label=settings.above_label,
        facts=facts,
        rules=tuple(rule for _, _, rule in rules),
        formulary=formulary,
        cautions=load_cautions(folder / "cautions.toml", load_names(folder / "names.toml", formulary)),
        review=load_review(folder / "review.toml"),
        aftercare=aftercare,
        recall=load_recall_rules(folder / "recall.toml"),
        hash=_hash(folder),
    )
    return protocol, Files(main, fact_file, rules, _source(folder / "review.toml"))


def reading_problems(folder: Path) -> Iterator[FollowupError]:
    """What keeps the files from being read, each faulty entry of a list once."""
    for path in sorted(folder.glob("rules-*.toml")):
        yield from _faulty(path, Rule, "rule")
    yield from _faulty(folder / "facts.toml", FactDef, "fact")
    loaders: tuple[tuple[str, Callable[[Path], object]], ...] = (
        ("protocol.toml", lambda path: _table(ProtocolFile, _source(path))),
        ("formulary.toml", load_formulary),
        ("names.toml", lambda path: load_names(path, {})),
        ("aftercare.toml", load_aftercare),
        ("cautions.toml", load_cautions),
        ("review.toml", load_review),
        ("recall.toml", load_recall_rules),
    )
    for name, load in loaders:
        try:
            load(folder / name)
        except FollowupError as exc:
            yield exc


def _faulty(path: Path, model: type[T], name: str) -> Iterator[FollowupError]:
    try:
        source = _source(path)
        count = len(_entries(source, name))
    except FollowupError as exc:
        yield exc
        return
    for i in range(count):
        try:
            model.model_validate(source.data[name][i])
        except ValidationError as exc:
            yield toml_problem(exc, source.path, source.locate, (name, i), code=f"protocol.{name}")
    extra = [key for key in source.data if key != name]
    if extra:
        yield source.refuse("protocol.key", f'unknown key "{extra[0]}"', extra[0])


def _source(path: Path) -> Source:
    data, locate = load_toml(path)
    return Source(path, data, locate)


def _table(model: type[ProtocolFile], source: Source) -> ProtocolFile:
    try:
        return model.model_validate(source.data)
    except ValidationError as exc:
        raise toml_problem(exc, source.path, source.locate, code="protocol.settings") from None


def _list(model: type[T], source: Source, name: str) -> tuple[T, ...]:
    extra = [key for key in source.data if key != name]
    if extra:
        raise source.refuse("protocol.key", f'unknown key "{extra[0]}"', extra[0])
    found = []
    for i, entry in enumerate(_entries(source, name)):
        try:
            found.append(model.model_validate(entry))
        except ValidationError as exc:
            raise toml_problem(exc, source.path, source.locate, (name, i), code=f"protocol.{name}") from None
    return tuple(found)


def _entries(source: Source, name: str) -> list[Any]:
    """The tables of a list file; an empty one would be a protocol that lost its rules unnoticed."""
    entries = source.data.get(name)
    if not isinstance(entries, list) or not entries:
        raise source.refuse(f"protocol.{name}", f"no {name} here", name, fix=f"write [[{name}]] tables")
    return entries


def _hash(folder: Path) -> str:
    """sha256 over what the files say (not how they are laid out) and the engine's version."""
    merged: dict[str, Any] = {"engine": followup.__version__}
    for path in sorted(folder.glob("*.toml")):
        merged[path.name] = load_toml(path)[0]
    canonical = json.dumps(merged, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=str)
    return hashlib.sha256(canonical.encode()).hexdigest()
