"""What is installed for the program and for its tests: names, versions and licences, read from metadata."""

from __future__ import annotations

import importlib.metadata as metadata
import tomllib
from collections.abc import Iterable
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]


def asked_for(*extras: str) -> list[Requirement]:
    """What pyproject.toml asks for, with these of its extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    lines = [*project["dependencies"]]
    for extra in extras:
        lines += project["optional-dependencies"][extra]
    return [Requirement(line) for line in lines]


def brought_along(asked: Iterable[Requirement]) -> dict[str, str]:
    """Name and version of all that is installed for ``asked``, with whatever that asks for here in turn."""
    waiting, found, done = list(asked), {}, set()
    while waiting:
        one = waiting.pop()
        name = canonicalize_name(one.name)
        for extra in ("", *sorted(one.extras)):
            if (name, extra) in done:
                continue
            done.add((name, extra))
            try:
                here = metadata.distribution(name)
            except metadata.PackageNotFoundError:
                continue
            found[name] = here.version
            more = [Requirement(line) for line in here.requires or ()]
            waiting += [two for two in more if two.marker is None or two.marker.evaluate({"extra": extra})]
    return found


def licence_words(name: str) -> str:
    """Whatever the metadata of ``name`` says of its licence."""
    told = metadata.metadata(name)
    classes = [line for line in told.get_all("Classifier") or () if line.startswith("License")]
    return told.get("License-Expression") or " ".join([told.get("License") or "", *classes]).strip()
