"""Calls of two at once, and the clinic in which they are made."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from uneventful import uneventful

from followup.records.people.patients import patient_by_code
from followup.records.store.journal import journal_of
from followup.records.trips.trips import trips_of

PASSWORD = "a long enough password"
ROUNDS = 2
DAY = "2027-03-01"


@dataclass
class Call:
    """A request: who sends it, where to, and what."""

    who: str
    path: str
    sent: dict[str, Any] | None = None
    method: str = "POST"
    file: tuple[str, bytes] | None = None


@dataclass
class Scene:
    """A clinic, with somebody at each desk; every plan that is asked for is of a patient of its own."""

    house: Any
    form_of: Callable[[str], dict[str, list[str]]]
    count: int = 0
    browsers: dict[tuple[str, int], Any] = field(default_factory=dict)

    @cached_property
    def hashed(self) -> str:
        return self.house.desk.passwords.hash(PASSWORD)

    def someone(self, who: str, number: int = 0) -> Any:
        """A browser of ``who``; people who do something at once have one each."""
        key = f"{who} {self.house.clock.now}", number
        if key not in self.browsers:
            self.browsers[key] = self.house.enter(who)
        return self.browsers[key]

    def send(self, call: Call, number: int = 0) -> Any:
        browser = self.someone(call.who, number) if call.who else self.house.browser()
        kind = "json" if call.path.startswith("/api/") else "data"
        more: dict[str, Any] = {kind: call.sent} if call.sent is not None else {}
        if call.file is not None:
            more["files"] = {"file": call.file}
        return browser.request(call.method, call.path, **more)

    def done(self, call: Call) -> Any:
        """What the answer holds, of a step that nobody contends."""
        answer = self.send(call)
        assert answer.status_code in (200, 201, 204, 303), answer.text
        return answer.json() if answer.content and call.path.startswith("/api/") else answer

    def record(self, **more: Any) -> dict[str, Any]:
        """An uneventful operation of somebody new, told so far that nothing is asked."""
        self.count += 1
        who = {
            "code": f"K-{self.count}",
            "name": "Wanjiru Ndegwa",
            "birth_year": 1955,
            "language": "en",
            "telephones": [{"number": "+44 20 7946 0123"}],
            "drops_by": {"who": "relative"},
        }
        operation = uneventful(DAY)
        return {"patient": who | more, "operations": [operation]}

    def drafted(self, record: dict[str, Any] | None = None) -> tuple[str, int]:
        """Code and plan of a stored record."""
        self.house.clock.on(0)
        stored = record or self.record()
        made = self.done(Call("counsellor", "/api/records", {"record": stored}))
        return stored["patient"]["code"], made["plan"]

    def signed(self) -> tuple[str, int]:
        code, plan = self.drafted()
        self.done(Call("surgeon", f"/api/plans/{plan}/sign", {"password": PASSWORD}))
        return code, plan

    def printed(self) -> tuple[str, str]:
        code, plan = self.signed()
        sheet = self.done(Call("counsellor", f"/api/plans/{plan}/sheets", {"printed": 0}))
        return code, sheet["id"]

    @contextmanager
    def read(self) -> Iterator[Any]:
        with self.house.store.read() as session:
            yield session

    def of(self, code: str, read: Callable[[Any, int], Any]) -> Any:
        """What the store holds of the patient."""
        with self.read() as session:
            return read(session, patient_by_code(session, code).id)

    def told(self, code: str, action: str) -> int:
        """How often the journal tells it of the patient."""
        return self.entries(f"patient:{code}", action)

    def entries(self, subject: str, action: str) -> int:
        with self.read() as session:
            return sum(one.action == action for one in journal_of(session, subject))

    def visits(self, code: str) -> list[Any]:
        return [one for one in self.of(code, trips_of) if one.status != "cancelled"]


Judge = Callable[[Sequence[Any]], None]
Pair = Callable[[Scene, bool], tuple[list[Call], Judge]]


def taken(answers: Sequence[Any]) -> list[int]:
    """Which were acknowledged; every other was told why in words, and none was a fault."""
    for one in answers:
        assert one.status_code in (200, 201, 204, 303, 401, 403, 404, 409, 422, 503), one.text[:300]
        if one.status_code >= 400:
            assert len(one.text) > 40
    return [i for i, one in enumerate(answers) if one.status_code in (201, 204, 303) or _is_data(one)]


def _is_data(answer: Any) -> bool:
    return answer.status_code == 200 and "json" in answer.headers.get("content-type", "")


def one_of(answers: Sequence[Any]) -> int:
    """The only one that was acknowledged."""
    found = taken(answers)
    assert len(found) == 1, [(one.status_code, one.text[:300]) for one in answers]
    return found[0]


def all_of(answers: Sequence[Any]) -> None:
    assert len(taken(answers)) == len(answers), [(one.status_code, one.text[:300]) for one in answers]


# --- who is it
