"""What stands in an archive: its format, where everything lies, and the checksum of every file."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from followup.clinical.record import parse_json_object
from followup.errors import FollowupError
from followup.validation import problem_words

FORMAT: Literal["followup archive"] = "followup archive"
VERSION = 1
MANIFEST, READ_ME, KEYS = "manifest.json", "README.txt", "keys/recall-keys.json.age"
TABLES, SCHEMAS, CLINICS_OWN = "tables/", "schemas/", "clinic/"
# The names that an archive may hold: none of them ever leads out of a folder.
_NAMES = re.compile(
    r"README\.txt|tables/[a-z_]{1,60}\.jsonl|schemas/[a-z_]{1,60}\.schema\.json|keys/recall-keys\.json\.age"
    r"|clinic/locales/[A-Za-z]{2,8}([_-][A-Za-z0-9]{2,8})*/LC_MESSAGES/(sheet|desk)\.po"
    r"|clinic/protocol/[A-Za-z0-9_-]{1,60}\.toml"
)

Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class ArchivedFile(_Part):
    """One file of the archive; ``rows``: the lines of a table, None for another file."""

    name: str
    sha256: Sha256
    bytes: Annotated[int, Field(ge=0)]
    rows: Annotated[int, Field(ge=0)] | None = None


class JournalSeal(_Part):
    """How long the journal is, and the hash of its newest entry, which holds that of each before it."""

    entries: Annotated[int, Field(ge=0)]
    hash: Sha256


class Manifest(_Part):
    """What the archive says of itself. ``step``: of the schema of the tables."""

    format: Literal["followup archive"] = FORMAT
    version: Literal[1] = 1
    program: str
    step: str
    made: Annotated[AwareDatetime, Field(strict=False)]
    journal: JournalSeal
    left_out: tuple[str, ...] = Field(strict=False)
    files: tuple[ArchivedFile, ...] = Field(strict=False)


def read_manifest(data: bytes, archive: str) -> Manifest:
    """The manifest of an archive. Errors: ``archive.newer``, ``archive.manifest``."""
    where = f"{archive}: {MANIFEST}"
    try:
        told = parse_json_object(data.decode("utf-8"), where)
    except UnicodeDecodeError:
        raise _wrong("it is no UTF-8 text", where) from None
    if told.get("format") != FORMAT:
        raise _wrong("it is not that of a clinic's archive", where)
    version = told.get("version")
    if type(version) is int and version > VERSION:
        raise FollowupError(
            "archive.newer",
            f"it is of version {version} of the format; this program reads {VERSION}",
            where=archive,
            fix="install a newer version of the program",
        )
    try:
        found = Manifest.model_validate(told)
    except ValidationError as exc:
        problem = exc.errors(include_url=False, include_input=False)[0]
        field = ".".join(str(part) for part in problem["loc"])
        raise _wrong(f"{field} {problem_words(problem)}", where) from None
    names = [one.name for one in found.files]
    for name in names:
        if not may_be_called(name):
            raise _wrong(f"no archive holds a file called {name[:80]}", where)
    if len(set(names)) != len(names):
        raise _wrong("a file stands in it twice", where)
    return found


def may_be_called(name: str) -> bool:
    """Whether an archive may hold a file of this name."""
    return _NAMES.fullmatch(name) is not None


def written(manifest: Manifest) -> bytes:
    """The manifest as its file."""
    return (manifest.model_dump_json(indent=1) + "\n").encode()


def date_of(made: datetime) -> tuple[int, int, int, int, int, int]:
    """The instant as a ZIP keeps it with each file."""
    return (made.year, made.month, made.day, made.hour, made.minute, made.second)


def _wrong(what: str, where: str) -> FollowupError:
    return FollowupError(
        "archive.manifest", what, where=where, fix="take another archive; nothing was stored"
    )
