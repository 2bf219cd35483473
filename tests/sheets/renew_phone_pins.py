"""Write the pins of the telephone's page anew: ``python tests/sheets/renew_phone_pins.py``."""

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
    pinned = [str(TESTS / "sheets" / "test_pinned_phone.py")]
    sys.exit(pytest.main(["--rootdir", str(TESTS.parent), *pinned, "--database", "sqlite"], [_Renewing()]))
