"""No job asks the database for a whole table that grows, nor for more the longer the clinic has worked.

But the journal's check and the backup, which are of everything.
"""

from __future__ import annotations

import shutil
from datetime import date

import pytest
from crowd import Crowd
from explained import Asked, more_with_a_past, scans

from followup.recall.jobs import daily
from followup.recall.jobs.daily import Workplace, run_due
from followup.recall.jobs.sweep import sweep

OF_EVERYTHING = ("integrity check", "nightly backup")


@pytest.fixture(scope="module")
def worked(shared_ward, protocol, tmp_path_factory):
    """Every statement of two weeks' sweeps and daily work, and the file of the clinic."""
    folder = tmp_path_factory.mktemp("worked")
    ward, asked = Crowd(shared_ward).ward, Asked()
    place = Workplace(ward.store, protocol, folder)
    with pytest.MonkeyPatch.context() as patch, asked.of(ward.store.engine):
        patch.setattr("followup.recall.jobs.sweep._check_journal", lambda *_of_store: [])
        patch.setattr(daily, "JOBS", [job for job in daily.JOBS if job.name not in OF_EVERYTHING])
        for day in (6, 8, 10, 13):
            ward.log_in(ward.at(day, 3))
            sweep(ward.store, ward.at(day))
            assert run_due(place, ward.at(day)) == ()
        sweep(ward.store, ward.at(2))
    ward.store.settle()
    file = shutil.copy(ward.store.engine.url.database, folder / "worked.db")
    assert len(asked.statements) > 40
    return asked, file


def test_no_job_reads_a_whole_table(worked, make_blank):
    found = scans(worked[0], make_blank())
    assert not found, "\n".join(found)


def test_no_job_asks_for_more_in_a_clinic_with_a_past(worked, tmp_path):
    """Its visits were done long ago."""
    asked, path = worked
    found = more_with_a_past(asked, path, tmp_path, date(2027, 3, 1))
    assert not found, "\n".join(found)
