"""The specification that a clinician signs, as it is printed."""

from __future__ import annotations

import subprocess
import sys
from html import unescape
from pathlib import Path

from specification import chapters

SCRIPT = Path(__file__).with_name("print_specification.py")


def test_the_printed_specification_has_every_row_the_counts_and_a_place_to_sign(tmp_path):
    out = tmp_path / "specification.html"
    subprocess.run([sys.executable, str(SCRIPT), str(out)], check=True, cwd=tmp_path)
    text = unescape(out.read_text("utf-8"))
    rows = [row for chapter in chapters() for row in chapter.rows]
    for row in rows:
        line = "".join(
            f"<td class={name}>{cell}</td>"
            for name, cell in (
                ("situation", row.situation),
                ("expected", row.expected),
                ("source", row.source),
                ("mark", row.mark),
            )
        )
        assert text.count(line) == 1, row
    assert text.count("not approved for patients until a licensed clinician of the clinic has signed it") == 2
    for place in ("Name", "Registration number", "Date", "Signature"):
        assert f"<p>{place}</p>" in text
    for mark in "PSMC":
        count = sum(row.mark == mark for row in rows)
        assert count > 0
        assert f"<td class=mark>{mark}</td>" in text.partition("<h2>")[0]
        assert f"<td>{count}</td>" in text.partition("<h2>")[0]


def test_the_script_wants_the_name_of_a_file():
    asked = subprocess.run([sys.executable, str(SCRIPT)], check=False, capture_output=True, text=True)
    assert asked.returncode == 2
    assert "OUT.html" in asked.stderr
