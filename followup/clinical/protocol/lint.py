"""All that is wrong with a protocol at once, by file and line; loading stops at the first."""

from __future__ import annotations

from pathlib import Path

from followup.clinical.protocol.checks import problems
from followup.clinical.protocol.files import paths
from followup.clinical.protocol.load import SAMPLE, read_protocol
from followup.clinical.protocol.reader import faults
from followup.errors import FollowupError


def lint_protocol(folder: Path | None = None) -> tuple[FollowupError, ...]:
    """Every problem of the protocol in ``folder`` (else the sample); empty where it may be used.

    Contradictions between the files are looked for once each file can be read by itself.
    """
    folder = folder or SAMPLE
    unread = tuple(fault for file, path in paths(folder) for fault in faults(file, path))
    if folder.is_dir() and unread:
        return unread
    try:
        protocol, files = read_protocol(folder)
    except FollowupError as exc:
        return (exc,)
    return tuple(problems(protocol, files))
