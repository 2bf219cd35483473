"""Hands without a desk: whoever acts, on whatever day."""

from __future__ import annotations

import pytest

from followup.care.hand import hand_for
from followup.clinical.protocol.load import load_protocol
from followup.errors import FollowupError
from followup.recall.codes.keyring import Keyring
from followup.records.plans.protocols import sign_protocol


@pytest.fixture
def by(ward):
    """A hand of whoever acts, so many days after the operation."""
    protocol, keyring = load_protocol(), Keyring.fresh()

    def hand(person, day=0):
        return hand_for(ward.store, protocol, keyring, now=ward.at(day), person=person)

    with ward.store.write(ward.surgeon, ward.now) as unit:
        sign_protocol(unit, hash=protocol.hash, name="shipped", version="1")
    return hand


@pytest.fixture
def refused():
    """The code with which an act is refused."""

    def code(act, *given, **more):
        with pytest.raises(FollowupError) as found:
            act(*given, **more)
        return found.value.code

    return code
