"""The program under test: where its files lie, a copy to put faults into, and what imports what."""

from __future__ import annotations

import ast
import compileall
import importlib.util
import os
import re
import shutil
from collections.abc import Iterator
from functools import cache
from pathlib import Path

# What does something when it is imported, or can only be imported by its own caller.
_NEVER = re.compile(r"__main__$|\.migrations\.(env|versions)|worker$")
TESTS = Path(__file__).resolve().parents[2]


@cache
def package() -> Path:
    """Where the program lies, without importing it."""
    spec = importlib.util.find_spec("followup")
    assert spec
    assert spec.origin
    return Path(spec.origin).resolve().parent


@cache
def templates() -> Path:
    """In the wheel the templates lie inside the package, in a checkout beside it."""
    inside = package() / "templates"
    return inside if inside.is_dir() else package().parent / "templates"


def path_of(file: str, package_folder: Path | None = None) -> Path:
    """The path of ``clinical/taper.py`` or ``templates/phone.html``; in a copy if its package is given."""
    home = package_folder or package()
    if file.startswith("templates/") and not (home / "templates").is_dir():
        return home.parent / file
    return home / file


@cache
def text_of(file: str) -> str:
    return path_of(file).read_text("utf-8")


@cache
def files() -> tuple[str, ...]:
    """Every file that faults can be put into."""
    found = [
        path.relative_to(package()).as_posix()
        for path in (
            *package().rglob("*.py"),
            *(package() / "clinical" / "data").glob("*.toml"),
            *(package() / "telling" / "data").rglob("*.toml"),
        )
    ]
    found += [
        f"templates/{path.relative_to(templates()).as_posix()}"
        for ending in ("typ", "html")
        for path in templates().rglob(f"*.{ending}")
    ]
    return tuple(sorted(found))


def copied(home: Path) -> Path:
    """A copy of the program in ``home`` that Python finds before the installed one; its package."""
    copy = home / "followup"
    shutil.copytree(package(), copy)
    if not (copy / "templates").is_dir():
        shutil.copytree(templates(), home / "templates")
    if not (copy / "locales").is_dir():
        (home / "locales").symlink_to(package().parent / "locales")
    compileall.compile_dir(copy, quiet=2)
    return copy


class Faulty:
    """A file of the copy with a fault in it, whole again afterwards."""

    def __init__(self, path: Path, text: str) -> None:
        self._path, self._text = path, text

    def __enter__(self) -> None:
        self._was, self._stat = self._path.read_bytes(), self._path.stat()
        self._path.write_text(self._text, "utf-8")

    def __exit__(self, *_: object) -> None:
        self._path.write_bytes(self._was)
        # Its compiled form fits again.
        os.utime(self._path, ns=(self._stat.st_atime_ns, self._stat.st_mtime_ns))


@cache
def modules() -> dict[str, str]:
    """Each module of the program and its file."""
    found = {}
    for file in files():
        if file.endswith(".py"):
            parts = ["followup", *file.removesuffix(".py").split("/")]
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = file
    return found


@cache
def _imported_by() -> dict[str, set[str]]:
    """For each module those that import it themselves, anywhere in their text."""
    above: dict[str, set[str]] = {name: set() for name in modules()}
    for name, file in modules().items():
        for used in (*_imports(name, text_of(file)), name.rpartition(".")[0]):
            if used in above:
                above[used].add(name)
    return above


def _imports(name: str, text: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{name} imports relatively"
            names = [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        for used in names:
            parts = used.split(".")
            yield from (".".join(parts[:length]) for length in range(1, len(parts) + 1))


def apart_from(file: str) -> list[str]:
    """Modules that never see ``file``: they may be imported before the fault is put in."""
    own = next((name for name, held in modules().items() if held == file), None)
    reached, waiting = set(), [own] if own else []
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            waiting += _imported_by()[name]
    return sorted(name for name in modules() if name not in reached and not _NEVER.search(name))
