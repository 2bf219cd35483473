"""Arbitrary valid records in plain JSON, so that one fact can be added at a time."""

from __future__ import annotations

import copy
import json
import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st

from followup.clinical.record import Conditions

FIRST = date(2026, 3, 2)
MEDICINES_IN_USE = ["dorzolamide-2", "brimonidine-0-2", "timolol-0-5", "latanoprost-0-005", "carmellose-0-5"]
TABLETS = ["prednisolone-5-tablet", "acetazolamide-250-tablet"]
YES_NO = st.booleans()


def maybe(what: Any) -> Any:
    """Left out half of the time, as in most records most fields are."""
    return st.none() | what


def table(**fields: Any) -> Any:
    """A table of the record without the fields that came out as nothing."""
    return st.fixed_dictionaries(fields).map(lambda t: {k: v for k, v in t.items() if v is not None})


def days(low: int, high: int) -> Any:
    return st.integers(low, high).map(lambda n: (FIRST + timedelta(days=n)).isoformat())


STEROID = table(
    medicine=st.sampled_from(["dexamethasone-injection", "triamcinolone-injection", "dexamethasone-depot"]),
    mg=maybe(st.sampled_from([0.4, 2, 4])),
    place=st.sampled_from(["chamber", "behind the iris", "vitreous", "sub-Tenon"]),
    form=maybe(st.sampled_from(["solution", "crystals", "slow-release"])),
    purpose=maybe(st.sampled_from(["treat", "prevent", "show vitreous"])),
    fate=maybe(st.sampled_from(["washed out", "left"])),
    crystals_seen_after=maybe(YES_NO),
).filter(lambda s: not (s.get("fate") == "washed out" and s.get("form") == "slow-release"))

CHOICES = table(
    responder_course=maybe(st.sampled_from(["A", "B"])),
    depot_course=maybe(st.sampled_from(["taper", "no drops"])),
    steroid_in_responder=maybe(st.sampled_from(["drops as drafted", "no drops"])),
    cycloplegic=maybe(st.sampled_from(["give", "do not give"])),
    nsaid=maybe(st.sampled_from(["give", "do not give"])),
    steroid_with_inhibitor=maybe(st.sampled_from(["give", "do not give"])),
)

EVENTS = [
    "synechiae_broken",
    "membrane_peeled",
    "bleeding",
    "fibrin",
    "vitreous_lost",
    "vitrectomy",
    "zonules_weak",
    "iris_torn",
    "cornea_touched",
    "epithelium_scraped",
    "descemet_loose",
    "bandage_lens",
    "lens_left_hard",
    "pressure_from_behind",
]

ILLNESSES = sorted(name for name, field in Conditions.model_fields.items() if field.annotation == bool | None)

OPERATION_FIELDS: dict[str, Any] = {
    "pad": YES_NO,
    "drops_from_today": YES_NO,
    "cut_mm": st.sampled_from([2.2, 4.9, 5.0, 6.5, 10.0]),
    "stitches": st.integers(0, 5),
    "watertight": YES_NO,
    "chamber": st.sampled_from(["normal", "shallow", "very shallow"]),
    "iridotomy": st.sampled_from(["none", "open", "not open"]),
    "pupil_widened": st.lists(st.sampled_from(["drops", "stretched", "hooks", "ring"]), max_size=2),
    "phaco_energy": st.sampled_from([10, 25, 25.5, 80]),
    "viscoelastic": table(removed=maybe(st.sampled_from(["all", "doubtful"]))),
    "capsule_torn": YES_NO,
    "lens_left": st.sampled_from(["none", "chamber", "vitreous"]),
    "lens": st.sampled_from(["bag", "sulcus", "front chamber", "none"]),
    "air_or_gas": st.sampled_from(["none", "air", "gas"]),
    "antibiotic_in_chamber": YES_NO,
    "steroid": st.lists(STEROID, min_size=1, max_size=2),
    "choices": CHOICES,
    "free_text": st.sampled_from(["Coughed twice.", "PC tear", "no vitreous loss", "iritis as a boy"]),
    "end": st.sampled_from(["09:20", "23:50"]),
    **dict.fromkeys(EVENTS, YES_NO),
}

EYE_FIELDS: dict[str, Any] = {
    "uveitis": table(
        kind=maybe(st.just("anterior")),
        last_active=maybe(days(-400, -1)),
        never_quiet=maybe(YES_NO),
        herpetic=maybe(YES_NO),
        antiviral_cover=maybe(YES_NO),
        infection_excluded=maybe(YES_NO),
        infection_treated_with=maybe(st.just("four medicines")),
        steroid_despite_infection=maybe(st.just("sight would be lost")),
    ),
    "glaucoma": YES_NO,
    "damaged_nerve": YES_NO,
    "steroid_responder": YES_NO,
    "axial_length_mm": st.sampled_from([22.0, 25.0, 25.1, 26.0, 28.9, 29.0, 31.5]),
    "vein_occlusion": YES_NO,
    "epiretinal_membrane": YES_NO,
    "macular_oedema": YES_NO,
    "weak_endothelium": YES_NO,
    "herpetic_keratitis": table(
        year=maybe(st.just(2019)), active_epithelial_disease=maybe(YES_NO), antiviral_cover=maybe(YES_NO)
    ),
    "corneal_feeling": st.sampled_from(["normal", "reduced", "absent"]),
    "surface_disease": st.sampled_from(["none", "mild", "severe dry eye", "other"]),
    "pseudoexfoliation": YES_NO,
    "only_seeing": YES_NO,
    "after_earlier_operation": table(pressure_rise_on_steroid=maybe(YES_NO), rebound=maybe(YES_NO)),
}

CONDITION_FIELDS: dict[str, Any] = {
    "diabetes": st.sampled_from(["no", "without retinopathy", "with retinopathy", "retinopathy not known"]),
    "cyp3a4_inhibitor": st.sampled_from(["no", "ritonavir or cobicistat", "other strong inhibitor"]),
    "pregnancy": st.sampled_from(["no", "first trimester", "third trimester"]),
    **dict.fromkeys(ILLNESSES, YES_NO),
}

ALLERGENS = [
    *("sulfonamide", "sulphite", "benzalkonium", "aspirin"),
    *("penicillin", "cephalosporin", "quinolone"),
]
WORDS = [
    "sulphur",
    "none known",
    "sulfa - came out in blisters",
    "ciprofloxacin rash",
    "penicillin anaphylaxis",
    "diclofenac wheeze",
    "dexamethasone: swollen face",
    "blarg",
]

PATIENT_FIELDS: dict[str, Any] = {
    "sex": st.sampled_from(["female", "male"]),
    "language": st.just("en"),
    "lives_alone": YES_NO,
    "can_squeeze": YES_NO,
    "drops_by": table(who=st.sampled_from(["self", "relative", "nobody"]), name=maybe(st.just("a niece"))),
    "help_arranged": st.sampled_from(["helper", "aid", "stay"]),
    "waking": st.sampled_from([{"rise": "06:30", "bedtime": "22:30"}, {"rise": "16:00", "bedtime": "09:00"}]),
    "travel": table(hours=st.sampled_from([0.5, 2, 5])),
    "allergies": st.lists(
        table(
            to=st.sampled_from(ALLERGENS),
            reaction=st.sampled_from(["rash", "severe", "wheeze", "not known"]),
        ),
        min_size=1,
        max_size=2,
    ),
    "allergy_text": st.sampled_from(WORDS),
    "sulphur_is_neither": YES_NO,
    "relative_pressure": YES_NO,
}

IN_USE = table(
    medicine=maybe(st.sampled_from(MEDICINES_IN_USE)),
    described=st.just("a drop from before"),
    eye=st.sampled_from(["right", "left", "both"]),
    count_a_day=maybe(st.integers(1, 3)),
) | table(
    medicine=st.sampled_from(TABLETS),
    route=st.just("mouth"),
    count_a_day=st.just(1),
    mg=st.just(10),
    ordered_by=maybe(st.just("Dr Osei")),
)


def some_of(fields: dict[str, Any], most: int) -> Any:
    """A few of the fields, the rest not recorded."""
    names = st.lists(st.sampled_from(sorted(fields)), max_size=most, unique=True)
    return names.flatmap(lambda chosen: st.fixed_dictionaries({name: fields[name] for name in chosen}))


@st.composite
def operations(draw: Any, eye: str, offset: int, most: int) -> dict[str, Any]:
    told = draw(some_of(OPERATION_FIELDS, most))
    procedure = draw(
        st.sampled_from(["phacoemulsification"] * 3 + ["manual small-incision", "extracapsular"])
    )
    when = (FIRST + timedelta(days=offset)).isoformat()
    quiet = {"chamber": "normal", "viscoelastic": {"removed": "all"}} if draw(YES_NO) else {}
    if told.get("lens_left") == "none":
        told.pop("lens_left_hard", None)
    if procedure == "extracapsular" and told.get("cut_mm", 10) < 4:
        told["cut_mm"] = 10.0
    return {"eye": eye, "eye_drawn": eye, "date": when, "procedure": procedure, **quiet, **told}


@st.composite
def records(draw: Any, eyes: tuple[int, ...] = (1, 1, 1, 2, 3), most: int = 6, adult: bool = True) -> dict:
    """A valid record as JSON: one operation, two eyes, or a second operation on the same eye."""
    number = draw(st.sampled_from(eyes))
    side = draw(st.sampled_from(["right", "left"]))
    other = {"right": "left", "left": "right"}[side]
    done = [draw(operations(side, 0, most))]
    if number == 2:
        done.append(draw(operations(other, draw(st.sampled_from([0, 1, 10, 40])), most)))
    if number == 3:
        done.append(draw(operations(side, draw(st.integers(2, 30)), most)))
    born = st.sampled_from(["1940-05-05", "1966-01-01", "1990-12-31"] + ([] if adult else ["2012-01-01"]))
    age = (
        {"birth_date": draw(born)}
        if draw(YES_NO)
        else {"birth_year": draw(st.sampled_from([1950, 1961, 1976]))}
    )
    return {
        "patient": {
            "code": "P-1",
            "name": "Invented Person",
            **age,
            **draw(some_of(PATIENT_FIELDS, 5)),
            "conditions": draw(some_of(CONDITION_FIELDS, 4)),
            "eyes": {s: draw(some_of(EYE_FIELDS, 4)) for s in ("right", "left")},
        },
        "operations": done,
        "in_use": draw(st.lists(IN_USE, max_size=2)),
    }


REVIEW = table(
    eye=st.sampled_from(["right", "left"]),
    date=days(0, 60),
    cells=maybe(st.sampled_from(["0", "1+", "3+", "not seen"])),
    pressure=maybe(st.sampled_from([14, 31, "not done"])),
    blood=maybe(st.sampled_from(["none", "level", "not seen"])),
    chamber=maybe(st.sampled_from(["deep", "flat", "not seen"])),
    macula=maybe(st.sampled_from(["dry", "not seen"])),
    stitches_out=maybe(YES_NO),
)

TRIP = table(
    date=days(0, 90),
    status=st.sampled_from(["booked", "arrived", "fulfilled", "noshow", "cancelled"]),
    cannot_move=maybe(YES_NO),
)


@st.composite
def followed(draw: Any) -> tuple[dict[str, Any], int]:
    """A record with looks and visits since, and the day after the first operation to plan on."""
    record = draw(records())
    operated = {o["eye"]: o["date"] for o in reversed(record["operations"])}
    looks = draw(st.lists(REVIEW, max_size=4))
    record["reviews"] = [r for r in looks if r["date"] >= operated.get(r["eye"], "9999")]
    record["trips"] = draw(st.lists(TRIP, max_size=4, unique_by=lambda trip: trip["date"]))
    return record, draw(st.integers(0, 100))


class Made:
    """Ways to draw records; in one place, so that tests get them through one fixture."""

    first = FIRST
    records = staticmethod(records)
    followed = staticmethod(followed)
    uveitis = EYE_FIELDS["uveitis"]
    steroid = STEROID
    choices = CHOICES
    allergens = ALLERGENS
    words = WORDS
    review = REVIEW
    places: Mapping[str, dict[str, Any]] = {
        "eye": EYE_FIELDS,
        "operation": OPERATION_FIELDS,
        "conditions": CONDITION_FIELDS,
        "patient": {k: v for k, v in PATIENT_FIELDS.items() if k != "waking"},
    }

    @staticmethod
    def home(record: dict[str, Any], place: str) -> tuple[dict[str, Any], str]:
        """Where facts of one kind about the first operation stand, and the path to it."""
        patient, side = record["patient"], record["operations"][0]["eye"]
        return {
            "eye": (patient["eyes"][side], f"patient.eyes.{side}"),
            "operation": (record["operations"][0], "operations.0"),
            "conditions": (patient["conditions"], "patient.conditions"),
            "patient": (patient, "patient"),
        }[place]

    @classmethod
    def with_facts(cls, record: dict[str, Any], place: str, **facts: Any) -> dict[str, Any]:
        """The same record with more told in one place."""
        more = copy.deepcopy(record)
        cls.home(more, place)[0].update(facts)
        return more

    @classmethod
    def without(cls, record: dict[str, Any], place: str, field: str) -> dict[str, Any]:
        less = copy.deepcopy(record)
        cls.home(less, place)[0].pop(field, None)
        return less


@pytest.fixture(scope="session")
def made() -> type[Made]:
    return Made


@pytest.fixture
def in_another_process(tmp_path: Path) -> Callable[[dict[str, Any], str], str]:
    """The plan as another process of this program makes it, with its own order of hashes."""

    def run(record: dict[str, Any], seed: str) -> str:
        file = tmp_path / "record.json"
        file.write_text(json.dumps(record), encoding="utf-8")
        script = (
            "import json, sys, pathlib\n"
            "from followup.clinical.plan.build import build_plan\n"
            "from followup.clinical.protocol.load import load_protocol\n"
            "from followup.clinical.record import parse_record\n"
            "record = parse_record(json.loads(pathlib.Path(sys.argv[1]).read_text(encoding='utf-8')))\n"
            "plan = build_plan(record, load_protocol(), as_of=record.last_operation_day)\n"
            "sys.stdout.write(plan.model_dump_json())\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", script, str(file)],
            check=True,
            capture_output=True,
            text=True,
            cwd=tmp_path,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        return done.stdout

    return run
