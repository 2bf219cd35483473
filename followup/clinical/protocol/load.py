"""Reading a protocol's folder: files, hash, the whole or the faults by file and line."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import followup
from followup.clinical.protocol.cautions import CautionSet
from followup.clinical.protocol.checks import check_protocol
from followup.clinical.protocol.files import Files
from followup.clinical.protocol.lines import load_toml
from followup.clinical.protocol.names import KnownNames
from followup.clinical.protocol.protocol import Protocol
from followup.errors import FollowupError

SAMPLE = Path(__file__).resolve().parents[1] / "data"


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
    files = Files.of(folder)
    if not files.rules:
        raise FollowupError("protocol.rules", "no rules-*.toml here", where=str(folder), fix="add the rules")
    settings, cautions = files.main.model, files.cautions.model
    medicines = files.formulary.model.medicine
    # What the main file says of its own goes into the protocol under the same name.
    own = {one.name: getattr(settings, one.name) for one in fields(Protocol) if hasattr(settings, one.name)}
    protocol = Protocol(
        **own,
        about=settings.protocol,
        kinds=settings.kind,
        tiers=settings.tier,
        tapers={taper.id: taper for taper in settings.taper},
        facts=files.facts.model.fact,
        rules=tuple(rule for _, _, rule in files.placed),
        formulary={medicine.id: medicine for medicine in medicines},
        usual_figures=files.formulary.model.usual,
        cautions=CautionSet(
            cautions.caution,
            cautions.duplicate,
            KnownNames.of(files.names.model, medicines),
            facts={fact.name: fact for fact in files.facts.model.fact},
            roles={medicine.id: medicine.role for medicine in medicines},
            recent_days=settings.earlier_operation.days,
        ),
        review=files.review.model,
        aftercare=files.aftercare.model,
        recall=files.recall.model,
        hash=_hash(folder),
    )
    return protocol, files


def _hash(folder: Path) -> str:
    """sha256 over what the files say (not how they are laid out) and the engine's version."""
    merged: dict[str, Any] = {"engine": followup.__version__}
    for path in sorted(folder.glob("*.toml")):
        merged[path.name] = load_toml(path)[0]
    canonical = json.dumps(merged, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=str)
    return hashlib.sha256(canonical.encode()).hexdigest()
