"""Write the pins of the pages anew, then read what changed: ``python tests/desks/renew_pins.py``."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


class _Renewing:
    def pytest_configure(self) -> None:
        from page_pins import Renewal

        Renewal.asked = True


if __name__ == "__main__":
    pinned = [str(TESTS / "desks" / "test_pinned_pages.py")]
    sys.exit(pytest.main(["--rootdir", str(TESTS.parent), *pinned, "--database", "sqlite"], [_Renewing()]))
