"""The ways by which messages go out: what each is called, and what it is addressed to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, get_args

from followup.said import Said, say

Channel = Literal["paper", "mail", "gateway", "folder"]
CHANNELS: Final[tuple[Channel, ...]] = get_args(Channel)


@dataclass(frozen=True)
class WayOut:
    """``words``: as a page says it. ``takes``: the address that it needs; ``either``: it may have one."""

    words: Said
    takes: Literal["mail", "telephone", "either", "none"]


# In the order in which the patient is asked.
WAYS_OUT: Final[dict[Channel, WayOut]] = {
    "gateway": WayOut(say("by text message"), "telephone"),
    "mail": WayOut(say("by e-mail"), "mail"),
    # Another program of the clinic may know where to.
    "folder": WayOut(say("by another program of the clinic"), "either"),
    "paper": WayOut(say("by a call"), "none"),
}
