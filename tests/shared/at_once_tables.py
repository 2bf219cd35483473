"""A table of operations sent in, named and stored by two at once."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from at_once_scene import Call, Judge, Scene, all_of

from followup.records.house.list_imports import ListImport, list_import
from followup.records.house.mappings import mapping_names
from followup.records.people.oplist import operation_list

_COLUMNS = {"column.1": "on", "column.2": "code", "column.3": "name", "column.4": "eye"}
_HEADINGS = {"heading.1": "Date", "heading.2": "MRN", "heading.3": "Patient", "heading.4": "Eye"}


def _file(scene: Scene) -> tuple[date, tuple[str, bytes]]:
    """A file of two rows, on a day of its own."""
    scene.count += 1
    day = scene.house.clock.now.date() + timedelta(days=scene.count % 900)
    rows = "".join(f"{day},X-{scene.count}-{n},Li Wei,left\n" for n in range(2))
    return day, ("list.csv", f"Date,MRN,Patient,Eye\n{rows}".encode())


def _sent(scene: Scene) -> tuple[date, str]:
    day, file = _file(scene)
    answer = scene.done(Call("counsellor", "/operations/tables", {"mapping": ""}, file=file))
    return day, answer.headers["location"].removesuffix("/columns")


def _of(scene: Scene, where: str) -> ListImport:
    with scene.read() as session:
        return list_import(session, where.rpartition("/")[2], "counsellor")


def send_table(scene: Scene, _api: bool) -> tuple[list[Call], Judge]:
    """Each has a page of its own."""
    calls = [Call("counsellor", "/operations/tables", {"mapping": ""}, file=_file(scene)[1]) for _ in "12"]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert len({answer.headers["location"] for answer in answers}) == 2

    return calls, judge


def name_columns(scene: Scene, _api: bool) -> tuple[list[Call], Judge]:
    """Both mappings are kept, and the table was looked at by one of them, whole."""
    _, where = _sent(scene)
    names = [f"{scene.count} one", f"{scene.count} two"]
    calls = [
        Call("counsellor", f"{where}/columns", _COLUMNS | _HEADINGS | {"name": name, "day_order": order})
        for name, order in zip(names, ("day month year", "month day year"), strict=True)
    ]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        with scene.read() as session:
            assert set(names) <= set(mapping_names(session))
        found = _of(scene, where)
        assert found.state == "looked"
        assert (found.mapping == names[0]) == ("day month year" in found.body)

    return calls, judge


def store_table(scene: Scene, _api: bool) -> tuple[list[Call], Judge]:
    """Stored once, whoever pressed."""
    day, where = _sent(scene)
    scene.done(Call("counsellor", f"{where}/columns", _COLUMNS | _HEADINGS | {"name": "of two"}))
    calls = [Call("counsellor", f"{where}/store", {"rows": rows}) for rows in ("whole", "good")]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert _of(scene, where).state == "stored"
        assert scene.entries(f"list:{day}", "operation list set") == 1
        with scene.read() as session:
            assert len(operation_list(session, day)) == 2

    return calls, judge
