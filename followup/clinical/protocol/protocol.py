"""The clinic's protocol: its rules as data, read whole or refused with file and line."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, Field, StrictInt, ValidationError, model_validator

import followup
from followup.clinical.careplan import Role, Tier
from followup.clinical.facts.derive import FactDef, Mark
from followup.clinical.plan.contraindications import CautionSet, load_cautions
from followup.clinical.protocol.aftercare import Aftercare, load_aftercare
from followup.clinical.protocol.formulary import Country, Medicine, load_formulary
from followup.clinical.protocol.lines import Locate, load_toml, toml_problem, where
from followup.clinical.protocol.names import load_names
from followup.clinical.protocol.recall import RecallRules, load_recall_rules
from followup.clinical.protocol.reviews import ReviewRules, load_review
from followup.clinical.protocol.rule import Part, Rule, Taper
from followup.clinical.record.base import MedicineId
from followup.errors import FollowupError
from followup.said import SaidLine, SaidText

T = TypeVar("T", bound=BaseModel)
SAMPLE = Path(__file__).resolve().parents[1] / "data"


class About(Part):
    """Name and version of the set, and the country whose labels it goes by."""

    name: str = Field(min_length=2, max_length=80)
    version: str = Field(min_length=1, max_length=40)
    country: Country
    text: SaidText = ""


class RoundSettings(Part):
    """``price``: hours squared times days that a clock time new to the patient must earn."""

    price: StrictInt = Field(ge=0, le=10**9)
    because: SaidText
    source: SaidText
    mark: Mark


class Kind(Part):
    """A kind of review need. ``merge``: how needs of one id from several rules are joined.
    ``finding``: what a review must hold for the need to count as looked at."""

    service: str = Field(min_length=2)
    text: SaidLine
    finding: str | None = None
    merge: Literal["earliest", "latest", "same"] = "same"


def text_of(kind: str, kinds: Mapping[str, Kind]) -> str:
    """What a kind of look is called, or its id where the protocol does not know it."""
    return kinds[kind].text if kind in kinds else kind


class GapLimit(Part):
    """Of the dates with ``from_count`` drops or more a day, at most ``limit`` between two checks."""

    from_count: StrictInt = Field(ge=1)
    limit: StrictInt = Field(ge=1)


class TierSettings(Part):
    gaps: tuple[GapLimit, ...] = Field(min_length=1)
    because: SaidText
    source: SaidText
    mark: Mark

    @model_validator(mode="after")
    def _counts_differ(self) -> TierSettings:
        counts = [gap.from_count for gap in self.gaps]
        if len(set(counts)) != len(counts):
            raise ValueError("two limits from the same count a day; keep one")
        return self


class LongNsaid(Part):
    """An NSAID past ``after_days`` is off label: a stained cornea every ``gap`` NSAID dates at most."""

    after_days: StrictInt = Field(ge=1)
    gap: StrictInt = Field(ge=1)
    because: SaidText
    source: SaidText
    mark: Mark


class CatchUp(Part):
    """A look that was missed is caught up within so many days of the plan that notices it."""

    days: StrictInt = Field(ge=0, le=14)
    because: SaidText
    source: SaidText
    mark: Mark


class ClosedDaysSettings(Part):
    """What a calendar's word on closed days holds for: these ``looks`` (ids of needs).

    Whoever is on call may look at them; or they are put off by ``put_off_days`` beyond their window at
    most, with a check of the pressure ``pressure_from_hours`` to ``pressure_to_hours`` after surgery.
    A look that must be on one certain day is never put off.
    """

    looks: tuple[str, ...]
    put_off_days: StrictInt = Field(ge=0, le=14)
    pressure_from_hours: StrictInt = Field(ge=0, le=24)
    pressure_to_hours: StrictInt = Field(ge=0, le=24)
    pressure_text: str = Field(min_length=3)
    because: SaidText
    source: SaidText
    mark: Mark


class EarlierOperation(Part):
    """So long an earlier operation on the same eye counts: a torn capsule, lost vitreous, steroid."""

    days: StrictInt = Field(ge=0, le=1000)
    because: SaidText
    source: SaidText
    mark: Mark


class PadSettings(Part):
    """From when on, on the morning after surgery, a pad or shield may come off."""

    off: str = Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")
    because: SaidText
    source: SaidText
    mark: Mark


class Promises(Part):
    """No visit is booked or decided more than so many days after the last operation, or after today."""

    days: StrictInt = Field(ge=28, le=1000)
    because: SaidText
    source: SaidText
    mark: Mark


class SupplySettings(Part):
    """The next bottle is in hand before less than this share of the present one is ``left``, counted with
    drops as large as the largest measured, ``largest_drop_ul`` in microlitres."""

    left: float = Field(ge=0, lt=1)
    largest_drop_ul: float = Field(ge=10, le=100)
    because: SaidText
    source: SaidText
    mark: Mark


class AboveLabel(Part):
    """A course above the label, owned by name and reason at the signing of the protocol."""

    medicine: MedicineId
    drops_a_day: StrictInt = Field(ge=1, le=16)
    days: StrictInt = Field(ge=1)
    owner: str = Field(min_length=2)
    reason: SaidLine


class _Settings(Part):
    protocol: About
    rounds: RoundSettings
    medicines: dict[str, MedicineId]
    kind: dict[str, Kind]
    tier: dict[Tier, TierSettings]
    long_nsaid: LongNsaid
    catch_up: CatchUp
    closed_days: ClosedDaysSettings
    promises: Promises
    earlier_operation: EarlierOperation
    pad: PadSettings
    supply: SupplySettings
    taper: tuple[Taper, ...] = Field(min_length=1)
    above_label: tuple[AboveLabel, ...] = ()


@dataclass(frozen=True)
class Protocol:
    """A checked set of rules. ``hash`` names its content and the engine that read it."""

    about: About
    rounds: RoundSettings
    medicines: Mapping[str, MedicineId]
    kinds: Mapping[str, Kind]
    tiers: Mapping[Tier, TierSettings]
    long_nsaid: LongNsaid
    catch_up: CatchUp
    closed_days: ClosedDaysSettings
    promises: Promises
    earlier_operation: EarlierOperation
    pad: PadSettings
    supply: SupplySettings
    tapers: Mapping[str, Taper]
    above_label: tuple[AboveLabel, ...]
    facts: tuple[FactDef, ...]
    rules: tuple[Rule, ...]
    formulary: Mapping[str, Medicine]
    cautions: CautionSet
    review: ReviewRules
    aftercare: Aftercare
    recall: RecallRules
    hash: str

    @property
    def name(self) -> str:
        return self.about.name

    @property
    def version(self) -> str:
        return self.about.version

    @property
    def round_price(self) -> int:
        return self.rounds.price

    @property
    def label(self) -> str:
        """Name and version in one, as printed on sheets."""
        return f"{self.about.name} {self.about.version}"

    def usual_medicine(self, role: Role | str) -> Medicine:
        return self.formulary[self.medicines[role]]


@dataclass(frozen=True)
class Source:
    """One data file: where it lies, what it says, and on which line."""

    path: Path
    data: dict[str, Any]
    locate: Locate

    def refuse(
        self, code: str, what: str, *place: str | int, fix: str = "correct this line"
    ) -> FollowupError:
        return FollowupError(code, what, where=where(self.path, self.locate, *place), fix=fix)


Placed = tuple[Source, int, Rule]


@dataclass(frozen=True)
class Files:
    """The files that a protocol was read from, so that a contradiction can be placed."""

    main: Source
    facts: Source
    rules: Sequence[Placed]
    review: Source


def load_protocol(folder: Path | None = None) -> Protocol:
    """The protocol in ``folder``; the sample protocol without one. A clinic's own set replaces it whole."""
    return _loaded(folder) if folder else _sample()


@cache
def _sample() -> Protocol:
    """Part of the program: it does not change while that runs, and is read once."""
    return _loaded(SAMPLE)


def _loaded(folder: Path) -> Protocol:
    from followup.clinical.protocol.checks import check_protocol

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
    settings = _table(_Settings, main)
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
        ("protocol.toml", lambda path: _table(_Settings, _source(path))),
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


def _table(model: type[_Settings], source: Source) -> _Settings:
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
