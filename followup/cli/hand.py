"""The hand of a command: whoever sits at the computer, with what its acts need."""

from __future__ import annotations

from datetime import UTC, datetime

from followup.care.hand import Hand, hand_for
from followup.cli.opening import COMMAND_LINE
from followup.clinical.protocol.load import load_protocol
from followup.recall.codes.codes import load_keyring
from followup.records.store.store import Store
from followup.settings import Settings


def command_hand(settings: Settings, store: Store) -> Hand:
    """Made from the settings. Errors: those of the protocol and of the key file."""
    return hand_for(
        store,
        load_protocol(settings.protocol),
        load_keyring(settings.key_file),
        now=datetime.now(UTC),
        person=COMMAND_LINE,
    )
