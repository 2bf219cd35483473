"""A draft that was made from what is no longer so is planned again before anybody signs it."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import pytest

from followup.care.plans.signing import is_stale

TODAY = date(2027, 3, 8)


def _drafted(
    *, record: int = 2, protocol: str = "ab", approved: bool = True, as_of: date = TODAY, status="draft"
):
    version = SimpleNamespace(status=status, record_number=record)
    return SimpleNamespace(
        version=version, plan=SimpleNamespace(protocol_hash=protocol, approved=approved, as_of=as_of)
    )


def _hand(*, signed: bool = True):
    return SimpleNamespace(protocol=SimpleNamespace(hash="ab"), approved=signed, today=TODAY)


def test_a_draft_of_today_from_what_is_so_is_signed_as_it_is():
    assert not is_stale(_hand(), _drafted(), 2)
    assert not is_stale(_hand(signed=False), _drafted(approved=False), 2)


@pytest.mark.parametrize(
    ("drafted", "signed"),
    [
        (_drafted(record=1), True),
        (_drafted(protocol="cd"), True),
        (_drafted(approved=False), True),
        (_drafted(approved=True), False),
        (_drafted(as_of=date(2027, 3, 7)), True),
    ],
    ids=["record corrected", "protocol changed", "approved since", "no longer approved", "of yesterday"],
)
def test_each_thing_that_changed_alone_makes_it_stale(drafted, signed):
    assert is_stale(_hand(signed=signed), drafted, 2)


def test_what_was_signed_is_no_draft_and_is_never_stale():
    assert not is_stale(_hand(), _drafted(record=1, status="active"), 2)
