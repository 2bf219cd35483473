"""The wheel: what travels in it, and that it works far from the checkout."""

from __future__ import annotations

import importlib.metadata
import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import followup

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built by pip as a user's computer would build it, but without the network."""
    folder = tmp_path_factory.mktemp("wheel")
    # A copy: the build compiles catalogues beside their sources, and tests may run side by side.
    source = folder / "source"
    shutil.copytree(ROOT, source, ignore=shutil.ignore_patterns(".git", ".venv*", ".*_cache", "__pycache__"))
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "wheel", "--quiet", "--no-deps"]
    subprocess.run([*pip, "--no-build-isolation", "-w", str(folder), str(source)], check=True, timeout=120)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def unpacked(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("unpacked")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


def run_from(unpacked: Path, cwd: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the unpacked wheel's ``followup``, with the checkout out of reach."""
    env = {k: v for k, v in os.environ.items() if not k.startswith("FOLLOWUP_")}
    env.update(PYTHONPATH=str(unpacked), FOLLOWUP_FOLDER=str(cwd / "data"))
    program = [sys.executable, "-c", "from followup.cli import main; main()"]
    return subprocess.run(
        [*program, *arguments], cwd=cwd, env=env, capture_output=True, text=True, check=False, timeout=120
    )


def names(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_the_wheel_carries_templates_catalogues_migrations_and_rules(wheel: Path) -> None:
    inside = names(wheel)
    for source, target in (
        ("templates", "followup/templates"),
        ("followup/records/store/migrations", "followup/records/store/migrations"),
        ("followup/clinical/data", "followup/clinical/data"),
        ("followup/demo/cases", "followup/demo/cases"),
    ):
        files = [p for p in (ROOT / source).rglob("*") if p.is_file() and "__pycache__" not in p.parts]
        assert files, source
        missing = {f"{target}/{path.relative_to(ROOT / source).as_posix()}" for path in files} - inside
        assert missing == set()


def test_every_catalogue_travels_compiled(wheel: Path) -> None:
    sources = [path.relative_to(ROOT).as_posix() for path in (ROOT / "locales").rglob("*.po")]
    assert sources
    compiled = {f"followup/{source.removesuffix('.po')}.mo" for source in sources}
    assert compiled - names(wheel) == set()


def test_nothing_travels_that_running_does_not_need(wheel: Path) -> None:
    top = {name.split("/")[0] for name in names(wheel)}
    assert top == {"followup", f"followup-{followup.__version__}.dist-info"}
    assert not [name for name in names(wheel) if "__pycache__" in name or "/tests/" in name]


def test_the_version_is_the_same_everywhere(wheel: Path) -> None:
    assert importlib.metadata.version("followup") == followup.__version__
    assert wheel.name.split("-")[1] == followup.__version__


def test_the_wheel_works_from_another_folder(unpacked: Path, tmp_path: Path) -> None:
    found = run_from(unpacked, tmp_path, "--version")
    assert (found.returncode, found.stdout) == (0, f"followup {followup.__version__}\n")
    schema = run_from(unpacked, tmp_path, "schema", "record")
    assert json.loads(schema.stdout)["title"] == "Record"


def test_the_wheel_plans_and_prints_a_case_from_another_folder(unpacked: Path, tmp_path: Path) -> None:
    case = sorted((unpacked / "followup" / "demo" / "cases").glob("*.json"))[0]
    made = run_from(unpacked, tmp_path, "plan", str(case))
    assert (made.returncode, made.stderr) == (0, "")
    printed = run_from(unpacked, tmp_path, "sheet", str(case), "--out", "sheet.pdf")
    assert (printed.returncode, printed.stderr) == (0, "")
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


def test_the_tests_run_on_what_is_installed() -> None:
    origin = importlib.metadata.distribution("followup").read_text("direct_url.json")
    editable = json.loads(origin or "{}").get("dir_info", {}).get("editable", False)
    location = Path(followup.__file__).resolve().parent
    assert (location == ROOT / "followup") is editable
