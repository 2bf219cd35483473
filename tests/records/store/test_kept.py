"""What is made of rows that never change is made once, bounded, and never of what comes to nothing."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime

import pytest

from followup.errors import FollowupError
from followup.records.store import engine
from followup.records.store.kept import Kept
from followup.records.store.queue import FairQueue
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)


def test_values_are_made_once_and_those_asked_for_longest_ago_go_first(sqlite_store):
    made = []

    def make(keys):
        made.extend(keys)
        return {key: key * 10 for key in keys if key != 9}

    kept: Kept[int, int] = Kept(3)
    with sqlite_store.read() as session:
        assert kept.of(session, [1, 2, 3, 1], make) == {1: 10, 2: 20, 3: 30}
        assert kept.of(session, [1, 4, 9], make) == {1: 10, 4: 40}
        assert made == [1, 2, 3, 4, 9]
        # 2 was asked for longest ago; 9 can't be made and is asked for each time.
        assert kept.of(session, [1, 3, 4, 2, 9], make) == {1: 10, 3: 30, 4: 40, 2: 20}
        assert made == [1, 2, 3, 4, 9, 2, 9]


def test_of_a_unit_that_may_come_to_nothing_nothing_is_kept(sqlite_store):
    """Its rows have numbers that others get later."""
    kept: Kept[int, str] = Kept(3)
    with sqlite_store.upkeep(NOW) as unit:
        assert kept.of(unit.session, [1], lambda keys: {1: "of the unit"}) == {1: "of the unit"}
    with sqlite_store.read() as session:
        assert kept.of(session, [1], lambda keys: {1: "stored"}) == {1: "stored"}
        assert kept.of(session, [1], lambda keys: {}) == {1: "stored"}


def test_writers_of_one_process_come_in_the_order_in_which_they_asked():
    turns, order, threads = FairQueue(), [], []

    def wait(number):
        with turns.turn(20) as mine:
            order.append((number, mine))

    with turns.turn(1) as mine:
        assert mine
        for number in range(5):
            threads.append(threading.Thread(target=wait, args=(number,)))
            threads[-1].start()
            while len(turns._waiting) <= number:
                time.sleep(0.001)
        with turns.turn(0.01) as late:
            assert not late
    for thread in threads:
        thread.join()
    assert order == [(number, True) for number in range(5)]
    with turns.turn(0) as mine:
        assert mine


def test_who_waits_too_long_behind_another_writer_is_told_in_one_line(sqlite_store, monkeypatch):
    monkeypatch.setattr(engine, "BUSY_MILLISECONDS", 20)
    with (
        sqlite_store.write(SYSTEM, NOW),
        pytest.raises(FollowupError) as caught,
        sqlite_store.write(SYSTEM, NOW),
    ):
        pass
    assert caught.value.code == "store.busy"
    with sqlite_store.write(SYSTEM, NOW):
        pass
