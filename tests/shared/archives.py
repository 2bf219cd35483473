"""Archives for the tests: handed on from a store, opened, changed and closed again with sound checksums."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from followup.care.house.whole_clinic import BroughtIn, ClinicsFiles, archive_at, bring_in, hand_on
from followup.records.store.store import Store
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 10, 9, 30, tzinfo=UTC)
WORDS = "four plain words here"


def files_in(folder: Path, *, protocol: Path | None = None, passphrase: str = WORDS) -> ClinicsFiles:
    return ClinicsFiles(folder, folder / "recall-keys.json", protocol, passphrase)


def handed_on(store: Store, to: Path, own: ClinicsFiles, *, with_keys: bool = False) -> Path:
    hand_on(store, to, own, by=SYSTEM, now=NOW, with_keys=with_keys)
    return to


def brought_in(archive: Path, store: Store, own: ClinicsFiles, *, with_keys: bool = True) -> BroughtIn:
    own.folder.mkdir(exist_ok=True)
    with archive_at(archive) as found:
        return bring_in(found, store, own, by=SYSTEM, now=NOW, with_keys=with_keys)


def unzipped(archive: Path) -> dict[str, bytes]:
    """Every file by its name, in order, read by the standard library alone."""
    with zipfile.ZipFile(archive) as found:
        return {name: found.read(name) for name in found.namelist()}


def rows(files: Mapping[str, bytes], table: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in files[f"tables/{table}.jsonl"].splitlines()]


def lines(found: list[dict[str, Any]]) -> bytes:
    return b"".join(json.dumps(row).encode() + b"\n" for row in found)


def described(files: Mapping[str, bytes]) -> list[dict[str, Any]]:
    """What a manifest that is right says of these files."""
    return [
        {
            "name": name,
            "sha256": hashlib.sha256(content).hexdigest(),
            "bytes": len(content),
            "rows": content.count(b"\n") if name.startswith("tables/") else None,
        }
        for name, content in files.items()
        if name != "manifest.json"
    ]


def zipped(
    files: Mapping[str, bytes], *, manifest: Callable[[dict[str, Any]], object] = lambda _: None
) -> bytes:
    """An archive of these files whose manifest is right about them, but for what ``manifest`` changes."""
    told = json.loads(files["manifest.json"])
    told["files"] = described(files)
    manifest(told)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in files.items():
            made.writestr(name, json.dumps(told) if name == "manifest.json" else content)
    return out.getvalue()
