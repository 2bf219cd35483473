"""``followup demo`` as a visitor starts it: three lines, pages that answer, nothing left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import httpx2

from followup.demo.build import PASSWORD
from followup.demo.clinic import STAFF


def test_a_throw_away_clinic_says_what_to_open_and_who_can_log_in_and_is_gone_afterwards(
    tmp_path: Path,
) -> None:
    env = {name: value for name, value in os.environ.items() if not name.startswith("FOLLOWUP_")}
    program = Path(sys.executable).with_name("followup")
    with subprocess.Popen(
        [str(program), "demo", "--on", "2027-03-11"],
        env={**env, "TMPDIR": str(tmp_path)}, cwd=tmp_path, text=True,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    ) as server:  # fmt: skip
        try:
            assert server.stdout is not None
            what, who, where = (server.stdout.readline() for _ in range(3))
            assert what.startswith("Open http://127.0.0.1:")
            assert all(member.login in who for member in STAFF)
            assert PASSWORD in who
            assert str(tmp_path) in where
            visit_as_reception(what.split()[1])
        finally:
            server.send_signal(signal.SIGTERM)
        rest, err = server.communicate(timeout=30)
    assert (server.returncode, rest, err) == (0, "", "")
    assert list(tmp_path.iterdir()) == []


def visit_as_reception(address: str) -> None:
    """Log in as a browser would, and look at the two lists of the day."""
    headers = {"sec-fetch-site": "same-origin", "origin": address.rstrip("/")}
    with httpx2.Client(base_url=address, headers=headers, follow_redirects=True, timeout=60) as browser:
        entered = browser.post("/log-in", data={"login": "reception", "password": PASSWORD})
        assert entered.status_code == 200
        assert "Quillmere Sample Eye Clinic" in entered.text
        today = browser.get("/today")
        assert today.status_code == 200
        assert "Thursday 11 March 2027" in today.text
        reach = browser.get("/to-reach")
        assert reach.status_code == 200
        assert "Ibrahim Qureshi" in reach.text
