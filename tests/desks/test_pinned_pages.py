"""Every page of the desks as it stands, in every state that its template tells apart, for every role.

A pin says only that a page did not change by accident. Whether what it shows is right is for the other tests.
"""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import page_pins
import pytest
from doors import WHO_MAY
from pinned_clinic import walk_through
from walked import Walk

from followup.recall.codes.codes import new_sheet_id
from followup.recall.codes.keyring import Keyring
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store

HERE = Path(__file__).parent
_KEYS = Keyring("01", {"01": b"k" * 32})
_GOES_ON, _NO_PAGE = "goes on to another page", "answers with no page"
_TABLES = "looked at in desks/test_tables.py"
NOT_PINNED = {
    ("GET", "/operations/tables"): _TABLES,
    ("POST", "/operations/tables"): _TABLES,
    ("GET", "/operations/tables/{table}"): _TABLES,
    ("GET", "/operations/tables/{table}/columns"): _TABLES,
    ("POST", "/operations/tables/{table}/columns"): _TABLES,
    ("POST", "/operations/tables/{table}/store"): _TABLES,
    ("GET", "/operations/tables/{table}/refused"): _TABLES,
    ("GET", "/"): _GOES_ON,
    ("GET", "/help"): _GOES_ON,
    ("GET", "/healthz"): _NO_PAGE,
    ("GET", "/readyz"): _NO_PAGE,
    ("GET", "/fonts/{name}"): _NO_PAGE,
    ("GET", "/day"): _NO_PAGE,
    ("GET", "/erase"): "looked at in desks/manager/test_erase.py",
    ("POST", "/erase"): "looked at in desks/manager/test_erase.py",
    ("GET", "/bottles/labels.pdf"): "paper",
    ("GET", "/outcomes/audit.pdf"): "paper",
    ("GET", "/outcomes/audit.csv"): _NO_PAGE,
    ("GET", "/operations/sheets.pdf"): "paper",
    ("GET", "/plans/{plan}/draft.pdf"): "paper",
    ("GET", "/plans/{plan}/pages/{number}.png"): "paper",
    ("GET", "/sheets/{sheet}/paper.pdf"): "paper",
    ("GET", "/patients/{code}/fhir.json"): "a file; read in desks/reception/test_handing_on.py",
    ("GET", "/patients/{code}/visits.ics"): "a file; read in desks/reception/test_calendars.py",
    ("GET", "/today/visits.ics"): "a file; read in desks/reception/test_calendars.py",
    ("GET", "/sheets/{sheet}/phone.html"): "pinned in sheets/test_pinned_phone.py",
    ("GET", "/roles"): "looked at in desks/manager/test_second_person.py",
    ("POST", "/roles/{asked}"): "looked at in desks/manager/test_second_person.py",
    ("POST", "/sessions/{session}/end"): _GOES_ON,
    ("POST", "/sessions/end-others"): _GOES_ON,
    ("POST", "/log-out"): _GOES_ON,
    ("POST", "/log-in/code"): "looked at in desks/door/test_second_factor.py",
    ("POST", "/password/second-factor"): "holds a new key each time; looked at where the log-in by code is",
    ("POST", "/password/second-factor/first"): "looked at in desks/door/test_second_factor.py",
    ("POST", "/password/second-factor/off"): _GOES_ON,
    ("POST", "/language"): _GOES_ON,
    ("POST", "/bottles/{code}/given"): _GOES_ON,
    ("POST", "/bottles/{code}/take-back"): _GOES_ON,
    ("POST", "/photo"): "answers as /find does",
    ("POST", "/plans/{plan}/again"): _GOES_ON,
    (
        "POST",
        "/plans/{plan}/answers",
    ): "goes on to the plan made again; refused, it answers as the record does",
    ("POST", "/plans/{plan}/sheets"): _GOES_ON,
    ("POST", "/operations/sheets"): _GOES_ON,
    ("POST", "/sheets/{sheet}/taught"): _GOES_ON,
    ("POST", "/trips/{trip}/no-show"): "answers as the other buttons of a visit do",
}
COMMAND = "python tests/desks/renew_pins.py"


@pytest.fixture(scope="module")
def walked(sqlite_template, tmp_path_factory, furnish, house_of):
    """The walk, made once."""
    path = tmp_path_factory.mktemp("pinned") / "followup.db"
    shutil.copy(sqlite_template, path)
    store = furnish(Store.open(sqlite_url(path)))
    walk = Walk(house_of(store, ways_out=frozenset({"paper", "gateway"}), keyring=_KEYS))
    with pytest.MonkeyPatch.context() as patch, walk.watching():
        patch.setattr(new_sheet_id, "__defaults__", (random.Random(1).getrandbits,))
        walk_through(walk)
    yield walk
    store.close()


def test_every_page_is_as_it_was_pinned(walked):
    told = page_pins.compare(HERE / "pinned", walked.pages, COMMAND)
    assert not told, told


def test_every_page_that_is_served_is_looked_at(walked):
    """A route that is new is walked, or stands here with the reason why not."""
    served = {route for route in WHO_MAY if not route[1].startswith("/api/")}
    assert served - walked.routes == set(NOT_PINNED)
