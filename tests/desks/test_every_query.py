"""No page asks the database for a whole table that grows, nor for more the longer the clinic has worked.

Every statement of the walk over the desks is noted and explained: that of a new page too, once it is walked.
"""

from __future__ import annotations

import shutil
from datetime import date

import pytest
from doors import ROLES, WHO_MAY
from explained import Asked, more_with_a_past, scans
from pinned_clinic import walk_through
from walked import Walk

from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store


@pytest.fixture(scope="module")
def walked(sqlite_template, tmp_path_factory, furnish, house_of):
    """Every statement of the walk, and the file of its clinic."""
    path = tmp_path_factory.mktemp("asked") / "followup.db"
    shutil.copy(sqlite_template, path)
    store = furnish(Store.open(sqlite_url(path)))
    asked = Asked()
    walk = Walk(house_of(store, ways_out=frozenset({"paper", "gateway"})))
    with asked.of(store.engine), walk.watching():
        walk_through(walk)
        for method, address in WHO_MAY:
            if method == "GET" and address.startswith("/api") and "{" not in address:
                for role in ROLES:
                    walk.browser(role).get(address)
    store.settle()
    store.close()
    assert len(asked.statements) > 150
    return asked, path


def test_no_page_reads_a_whole_table(walked, make_blank):
    found = scans(walked[0], make_blank())
    assert not found, "\n".join(found)


def test_no_page_asks_for_more_in_a_clinic_with_a_past(walked, tmp_path):
    """Twenty times the visits, all of them done long ago."""
    asked, path = walked
    found = more_with_a_past(asked, path, tmp_path, date(2027, 3, 1))
    assert not found, "\n".join(found)
