"""The page that is there while the sample clinic is told, and what a kill leaves of the telling."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx2
from sample_clinics import environment

from followup.demo.files import claim_folder, finish, unfinished
from followup.demo.waiting import waiting

PROGRAM = Path(sys.executable).with_name("followup")


def test_every_address_says_how_far_it_is_and_the_door_stays_open_for_the_clinic() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        with waiting(listener, "A <b> clinic", ["Password: x & y"]) as show:
            show("Living week 2 of 6")
            for answer in (httpx2.get(f"{address}/today"), httpx2.post(f"{address}/log-in", data={"a": "b"})):
                assert answer.status_code == 503
                assert "A &lt;b&gt; clinic" in answer.text
                assert "Living week 2 of 6" in answer.text
                assert "Password: x &amp; y" in answer.text
            show("Living week 3 of 6")
            assert "Living week 3 of 6" in httpx2.get(address).text
        # Whoever asks now waits for the clinic itself.
        with socket.create_connection(listener.getsockname(), timeout=5):
            taken, _ = listener.accept()
            taken.close()


def test_the_first_page_of_the_program_is_there_while_it_is_told(made: object) -> None:
    status, text = made.served.waiting  # type: ignore[attr-defined]
    assert status == 503
    assert "Quillmere Sample Eye Clinic" in text
    assert "password: sample clinic" in text


def test_a_killed_telling_leaves_no_clinic_and_the_next_start_says_so_and_begins_anew(tmp_path: Path) -> None:
    folder = tmp_path / "clinic"
    with subprocess.Popen(
        [str(PROGRAM), "demo", "--folder", str(folder), "--on", "2027-03-10"],
        env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as program:  # fmt: skip
        assert program.stdout is not None
        assert program.stdout.readline().startswith("Open http://")
        end = time.monotonic() + 120
        while not unfinished(folder).exists() and time.monotonic() < end:
            time.sleep(0.05)
        program.kill()
        program.communicate()
    assert unfinished(folder).exists()
    asked = subprocess.run(
        [str(PROGRAM), "due", "--folder", str(folder)],
        env=environment(), capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert asked.returncode == 2
    assert "no clinic is set up here" in asked.stderr
    assert claim_folder(folder)
    assert os.listdir(folder) == ["sample-clinic.txt"]
    assert not claim_folder(folder)


def test_what_was_told_to_its_end_has_the_name_of_a_clinics_database(tmp_path: Path) -> None:
    claim_folder(tmp_path)
    for more in ("", "-wal"):
        unfinished(tmp_path).with_name(unfinished(tmp_path).name + more).write_text(f"told{more}")
    finish(tmp_path)
    assert (tmp_path / "followup.sqlite3").read_text() == "told"
    assert (tmp_path / "followup.sqlite3-wal").read_text() == "told-wal"
    assert not unfinished(tmp_path).exists()
