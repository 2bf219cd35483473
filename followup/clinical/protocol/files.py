"""The files that a protocol was read from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from followup.clinical.protocol.lines import Source
from followup.clinical.protocol.protocol import Placed


@dataclass(frozen=True)
class Files:
    """The files that a protocol was read from, so that a contradiction can be placed."""

    main: Source
    facts: Source
    rules: Sequence[Placed]
    review: Source
