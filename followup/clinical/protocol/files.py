"""The files of a protocol, each declared once, and as they were read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from followup.clinical.protocol.aftercare import Aftercare
from followup.clinical.protocol.cautions import CautionFile
from followup.clinical.protocol.facts import FactDef
from followup.clinical.protocol.formulary import FormularyFile
from followup.clinical.protocol.lines import Source
from followup.clinical.protocol.names import NameFile
from followup.clinical.protocol.parts import ProtocolPart
from followup.clinical.protocol.protocol import ProtocolFile
from followup.clinical.protocol.reader import DataFile, ReadFile, read
from followup.clinical.protocol.recall import RecallRules
from followup.clinical.protocol.references import Names
from followup.clinical.protocol.reviews import ReviewRules
from followup.clinical.protocol.rule import Rule, RuleFile


class FactFile(ProtocolPart):
    # Of two facts of one name the second is refused beside what builds on it, where facts are checked.
    fact: Annotated[tuple[FactDef, ...], Names("name", "fact", once=False)] = Field(min_length=1)


MAIN = DataFile("protocol.toml", ProtocolFile, "protocol.settings")
FACTS = DataFile("facts.toml", FactFile, "protocol.fact", lists="protocol.key")
RULES = DataFile("rules-*.toml", RuleFile, "protocol.rule", lists="protocol.key")
FORMULARY = DataFile("formulary.toml", FormularyFile, "formulary.medicine", lists="formulary.file")
NAMES = DataFile("names.toml", NameFile, "names.file")
CAUTIONS = DataFile("cautions.toml", CautionFile, "cautions.rule", lists="cautions.file")
REVIEW = DataFile("review.toml", ReviewRules, "protocol.review")
AFTERCARE = DataFile("aftercare.toml", Aftercare, "aftercare.field")
RECALL = DataFile("recall.toml", RecallRules, "recall.field")
ALL: tuple[DataFile[Any], ...] = (MAIN, FACTS, RULES, FORMULARY, NAMES, CAUTIONS, REVIEW, AFTERCARE, RECALL)


def paths(folder: Path) -> Iterator[tuple[DataFile[Any], Path]]:
    """Each file that the folder holds or should hold."""
    for file in ALL:
        found = sorted(folder.glob(file.name)) if "*" in file.name else [folder / file.name]
        yield from ((file, path) for path in found)


@dataclass(frozen=True)
class Files:
    """The files that a protocol was read from, so that a contradiction can be placed."""

    main: ReadFile[ProtocolFile]
    facts: ReadFile[FactFile]
    rules: tuple[ReadFile[RuleFile], ...]
    formulary: ReadFile[FormularyFile]
    names: ReadFile[NameFile]
    cautions: ReadFile[CautionFile]
    review: ReadFile[ReviewRules]
    aftercare: ReadFile[Aftercare]
    recall: ReadFile[RecallRules]

    @classmethod
    def of(cls, folder: Path) -> Files:
        """Raises the first fault of a file by its line."""
        return cls(
            main=read(MAIN, folder / MAIN.name),
            facts=read(FACTS, folder / FACTS.name),
            rules=tuple(read(RULES, path) for path in sorted(folder.glob(RULES.name))),
            formulary=read(FORMULARY, folder / FORMULARY.name),
            # Before the cautions: their sentences point to its figures.
            aftercare=read(AFTERCARE, folder / AFTERCARE.name),
            names=read(NAMES, folder / NAMES.name),
            cautions=read(CAUTIONS, folder / CAUTIONS.name),
            review=read(REVIEW, folder / REVIEW.name),
            recall=read(RECALL, folder / RECALL.name),
        )

    def __iter__(self) -> Iterator[ReadFile[Any]]:
        yield from (self.main, self.facts)
        yield from self.rules
        yield from (self.formulary, self.names, self.cautions, self.review, self.aftercare, self.recall)

    @property
    def placed(self) -> tuple[Placed, ...]:
        """Every rule with the file and place where it stands."""
        return tuple((f.source, i, rule) for f in self.rules for i, rule in enumerate(f.model.rule))


Placed = tuple[Source, int, Rule]
