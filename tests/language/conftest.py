"""What the sheets of the told cases print, in every language."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from importlib.resources import files
from typing import Any

import pytest

from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record
from followup.demo.cast import case_data
from followup.language.direction import without_marks
from followup.sheets.content import ClinicInfo, build_content
from followup.sheets.model import SheetContent
from followup.sheets.options import SheetOptions

CLINIC = ClinicInfo(
    name="Lantern Hill Eye Clinic",
    code="LH",
    telephone_day="+44 20 7946 0101",
    telephone_night="+44 20 7946 0102",
    nearest_eye_clinic="Riverside Eye Post, Ford Street",
    time_zone="Europe/London",
)
_NO_WORDS = {
    "fonts",
    "stairs",
    "language",
    "direction",
    "size",
    "paper",
    "printed_on",
    "payload",
    "id",
    "kind",
}


@lru_cache(maxsize=1)
def _planned() -> tuple[tuple[Any, ...], ...]:
    protocol = load_protocol()
    made = []
    for path in sorted((files("followup") / "demo" / "cases").iterdir(), key=lambda p: p.name):
        if path.name.endswith(".json"):
            name = path.name.removesuffix(".json")
            record = parse_record(case_data(name), name)
            plan = build_plan(record, protocol, as_of=record.last_operation_day)
            if not plan.refused:
                made.append((name, plan, record, protocol))
    return tuple(made)


@pytest.fixture(scope="session")
def sheets_of_the_cases() -> Callable[[str], dict[str, SheetContent]]:
    """The sheet of every told case that has one, by the case's name, in the language of a tag."""

    @lru_cache(maxsize=16)
    def sheets(tag: str) -> dict[str, SheetContent]:
        return {
            name: build_content(
                plan,
                record,
                protocol.formulary,
                CLINIC,
                language=tag,
                printed_on=record.last_operation_day,
                aftercare=protocol.aftercare,
                options=SheetOptions(calendar=True),
            )
            for name, plan, record, protocol in _planned()
        }

    return sheets


@pytest.fixture(scope="session")
def printed() -> Callable[..., list[str]]:
    """Every text that a sheet, or a part of one, prints, without direction marks."""

    def texts(value: Any) -> list[str]:
        if isinstance(value, SheetContent):
            value = value.model_dump(mode="json")
        if isinstance(value, str):
            return [without_marks(value)]
        if isinstance(value, dict):
            return [t for key, part in value.items() if key not in _NO_WORDS for t in texts(part)]
        if isinstance(value, (list, tuple)):
            return [t for part in value for t in texts(part)]
        return []

    return texts
