"""What every entry of the lexicons holds, as a few letters: ``python tests/telling/lexicon_pins.py`` writes
``lexicon_pins.toml`` anew after a meant change; read what changed."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path

import followup.telling

DATA = Path(followup.telling.__file__).parent / "data"
PINS = Path(__file__).with_name("lexicon_pins.toml")


def pins() -> dict[str, str]:
    """For each field, class or table of each file how many phrases it has, and the hash of what they say."""
    found: dict[str, list[object]] = {}
    for file in sorted(DATA.rglob("*.toml")):
        for name, held in _entries(tomllib.loads(file.read_text("utf-8"))):
            found.setdefault(f"{file.relative_to(DATA).as_posix()} {name}", []).append(held)
    return {name: _said(held) for name, held in found.items()}


def _entries(data: dict[str, object]) -> Iterator[tuple[str, object]]:
    for name, held in data.items():
        if isinstance(held, dict):
            yield from (
                (f"{name} {key}" if isinstance(value, list) else name, [key, value])
                for key, value in held.items()
            )
        elif isinstance(held, list) and held and isinstance(held[0], dict):
            yield from ((f"{name} {one.get('field', one.get('what', ''))}", one) for one in held)
        else:
            yield name, held


def _said(held: list[object]) -> str:
    many = sum(len(_phrases(one)) for one in held)
    return f"{many} {hashlib.sha256(json.dumps(held, sort_keys=True).encode()).hexdigest()[:8]}"


def _phrases(held: object) -> list[object]:
    phrases = held.get("forms", held.get("heads", held)) if isinstance(held, dict) else held
    return list(phrases) if isinstance(phrases, list | dict) else [phrases]


if __name__ == "__main__":
    lines = (f"{json.dumps(name)} = {json.dumps(pin)}\n" for name, pin in pins().items())
    PINS.write_text("# Written by lexicon_pins.py.\n" + "".join(lines), "utf-8")
