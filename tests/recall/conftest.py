"""A ward whose patients can be reached by messages, and the sample protocol."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import pytest

from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.protocol import Protocol
from followup.recall.jobs.daily import Workplace
from followup.records.people.messages import choose_messages
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.store.store import Store


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    return load_protocol()


@pytest.fixture
def store(request: pytest.FixtureRequest) -> Store:
    """On SQLite: what this room asks of the database is asked, and tested on both, in the records' room.

    A test or module that names ``database_kind`` runs on each of both.
    """
    on_each = "database_kind" in request.fixturenames
    return cast("Store", request.getfixturevalue("each_store" if on_each else "sqlite_store"))


@pytest.fixture
def in_hand():
    """Print the sheet of a plan and give it to the patient."""

    def give(ward, plan) -> None:
        sheet_id = f"{plan.id:010d}"
        with ward.store.write(ward.counsellor, ward.now) as unit:
            issue_sheet(unit, plan_id=plan.id, sheet_id=sheet_id, language="en")
            hand_over_sheet(unit, sheet_id=sheet_id, to="self")

    return give


@pytest.fixture
def agreed():
    """The patient agrees to messages."""

    def agree(
        ward, patient_id: int, channel: str = "folder", address: str = "+44 20 7946 0101", **more
    ) -> None:
        with ward.store.write(ward.counsellor, ward.now) as unit:
            choose_messages(
                unit, patient_id=patient_id, consent=True, channel=channel, address=address, **more
            )

    return agree


@pytest.fixture
def patient(sqlite_ward, in_hand, agreed):
    """Makes patients with visits on the days 1 (to 1), 7 (5 to 9) and 42 who agreed to messages."""

    def make(code: str = "K-1", courses=(), **who):
        number = sqlite_ward.enter(sqlite_ward.record(code, **who))
        plan = sqlite_ward.sign(sqlite_ward.draft(number, sqlite_ward.body(code, courses=courses)).id)
        in_hand(sqlite_ward, plan)
        agreed(sqlite_ward, number, "gateway", "+44 20 7946 0101")
        return plan

    return make


@pytest.fixture
def place_of(protocol, tmp_path):
    """The workplace of a ward, with what is given on top."""

    def make(ward, **more) -> Workplace:
        return replace(Workplace(ward.store, protocol, tmp_path / "place"), **more)

    return make
