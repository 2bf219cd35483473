"""The audit counts rows that are handed in: bands, shares, the funnel, and what is kept from all of them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record
from followup.clinical.record.vision import spherical_equivalent
from followup.exchange.audit.definitions import audit_definitions
from followup.exchange.audit.document import document, percentage
from followup.exchange.audit.figures import GROUPS, audit
from followup.exchange.audit.flat import as_csv, flat
from followup.exchange.audit.rows import AuditedVisit, audited

BEGIN, END, TODAY = date(2026, 1, 1), date(2026, 6, 30), date(2026, 9, 1)


def _record(number, *, seen=(), **more):
    """One operation on day 0 with its looks, each a day and what was found."""
    day = BEGIN + timedelta(days=number % 100)
    eye = {"eye": "right", "eye_drawn": "right", "date": day, "procedure": "phacoemulsification"}
    looks = [{"eye": "right", "date": day + timedelta(days=after), **found} for after, found in seen]
    history = {"vision_before": more.pop("before", "6/60"), "pressure_before": 15}
    patient = {"code": f"K-{number}", "name": "Asha Rao", "birth_year": 1950, "eyes": {"right": history}}
    return parse_record(
        {
            "patient": patient | {"travel": {"hours": 3}, "language": "hi"},
            "operations": [eye | more],
            "reviews": looks,
        }
    )


def _audit(records, visits=()):
    protocol = load_protocol()
    rows = [one for record in records for one in audited(record, protocol).operations]
    return audit(rows, visits, (BEGIN, END), TODAY, protocol, audit_definitions())


def _line(found, when, how):
    return next(line for line in found.vision if (line.when, line.how) == (when, how))


def test_vision_is_told_by_its_time_and_presented_and_pinhole_stay_apart():
    seen = [
        (7, {"vision": "6/24"}),
        (39, {"vision": "6/18"}),
        (40, {"vision": "CF", "pinhole": "6/6", "best_corrected": "6/24"}),
    ]
    found = _audit([_record(number, seen=seen) for number in range(20)])
    told = {(line.when, line.how): [cell.count for cell in line.bands] for line in found.vision}
    assert told == {
        ("before", "presented"): [0, 20, 0, 20],
        ("early", "presented"): [20, 0, 0, 20],
        ("early", "pinhole"): [0, 0, 0, 0],
        ("final", "presented"): [0, 0, 20, 20],
        ("final", "pinhole"): [20, 0, 0, 20],
        ("early", "best"): [0, 0, 0, 0],
        ("final", "best"): [0, 20, 0, 20],
    }
    assert _line(found, "final", "presented").log_mar == 1.98
    assert _line(found, "early", "pinhole").not_measured == 20
    assert found.gain == pytest.approx(0.98)


def test_what_is_seen_after_the_next_operation_on_that_eye_is_the_next_ones():
    record = _record(0, seen=[(3, {"vision": "6/6"}), (70, {"vision": "6/60"})]).model_dump(mode="json")
    record["operations"].append(
        record["operations"][0] | {"date": "2026-01-20", "procedure": "lens exchange"}
    )
    first, again = audited(parse_record(record), load_protocol()).operations
    assert (first.early.presented, first.final.presented) == ("6/6", None)
    assert (again.early.presented, again.final.presented) == (None, "6/60")


@pytest.mark.parametrize(
    ("name", "one", "other", "unknown"),
    [
        ("capsule torn", {"capsule_torn": True}, {"capsule_whole": True}, {}),
        ("vitreous lost", {"vitreous_lost": True}, {"vitreous_lost": False}, {}),
        ("lens in the vitreous", {"lens_left": "vitreous"}, {"lens_left": "chamber"}, {}),
        ("pressure rise", {"seen": [(8, {"pressure": 25})]}, {"seen": [(8, {"pressure": 24})]}, {}),
        ("macular oedema", {"seen": [(30, {"macula": "oedema"}), (60, {"macula": "dry"})]},
         {"seen": [(30, {"macula": "dry"})]}, {"seen": [(30, {"macula": "not seen"})]}),
        ("white level early", {"seen": [(42, {"hypopyon": "yes"})]}, {"seen": [(5, {"hypopyon": "no"})]},
         {"seen": [(43, {"hypopyon": "yes"})]}),
        ("white level late", {"seen": [(43, {"hypopyon": "yes"})]}, {"seen": [(43, {"hypopyon": "no"})]},
         {"seen": [(42, {"hypopyon": "yes"})]}),
        ("infection early", {"seen": [(5, {"hypopyon": "no"}), (42, {"infection_treated": True})]},
         {"seen": [(5, {"hypopyon": "yes", "infection_treated": False}), (43, {"infection_treated": True})]},
         {"seen": [(5, {"hypopyon": "yes"})]}),
        ("infection late", {"seen": [(43, {"infection_treated": True})]},
         {"seen": [(43, {"hypopyon": "no"})]}, {"seen": [(42, {"infection_treated": True})]}),
    ],
)  # fmt: skip
def test_a_share_is_of_those_of_whom_it_was_written_down(name, one, other, unknown):
    kinds = [one] * 12 + [other] * 30 + [unknown] * 5
    found = _audit([_record(number, **dict(kind)) for number, kind in enumerate(kinds)])
    share = next(each.share for each in (*found.events, *found.later) if each.name == name)
    assert (share.count.count, share.of.count, share.missing) == (12, 42, 5)
    assert share.percent == pytest.approx(100 * 12 / 42)
    assert share.low < share.percent < share.high


def test_few_are_masked_and_so_is_all_but_few():
    found = _audit(
        [_record(number, capsule_torn=number < 4, vitreous_lost=number >= 3) for number in range(80)]
    )
    torn, lost = (each.share for each in found.events[:2])
    assert (torn.count.why, torn.of.count, torn.percent) == ("few", 80, None)
    assert percentage(torn) == "under 12.5 %"
    assert (lost.count.why, lost.of.count, percentage(lost)) == ("withheld", 80, "–")


def test_of_few_operations_nothing_tells_how_many_there_were():
    protocol, definitions = load_protocol(), audit_definitions()
    found = _audit([_record(number, seen=[(50, {"vision": "6/6"})]) for number in range(7)])
    rows = flat(found, document(found, protocol, definitions), definitions)
    assert not {row.count for row in rows} - {None, 0}
    assert not any(row.value for row in rows)


@pytest.mark.parametrize(
    ("written", "power"),
    [
        ("-0.50/-0.75x90", -0.875),
        ("+1,00 -0,50 x 180", 0.75),
        ("−1.25 DS", -1.25),
        ("plano", 0.0),
        ("PL / -1.00 @ 5", -0.5),
        # Either notation of one lens, sphere and half of the cylinder (any textbook, from memory), by hand:
        # -1.50 and half of +1.00, -0.50 and half of -1.00.
        *(("-1.50/+1.00x180", -1.0), ("-0.50/-1.00x90", -1.0)),
        # Without its sign a power may mean two eyes; no axis lies beyond 180.
        *(("0.50", None), ("1.00 -0.50 x 90", None), ("-0.50/-1.00x190", None), ("-1/-16x9", None)),
        *(("new glasses", None), ("-0.50/-0.75", None), ("6/9", None), ("-45", None)),
    ],
)
def test_refraction_is_read_as_its_spherical_equivalent_or_not_at_all(written, power):
    assert spherical_equivalent(written) == power


@pytest.mark.parametrize(("beyond", "shares"), [(0, [12, 0, 0]), (0.5, [12, 0, 0]), (0.51, [0, 12, 0])])
@pytest.mark.parametrize("sign", [1, -1])
def test_the_error_is_counted_from_what_was_aimed_at_and_a_limit_belongs_to_it(sign, beyond, shares):
    aimed = -2.25  # an eye that is to read without glasses
    seen = [(40, {"refraction": f"{aimed + sign * beyond:+.2f}"})]
    found = _audit([_record(number, seen=seen, target_refraction=aimed) for number in range(12)])
    assert [one.count.count for one in found.refraction] == shares
    assert found.refraction_error == pytest.approx(sign * beyond)


def test_the_newest_refraction_is_compared_sphere_and_half_of_the_cylinder():
    """Worked by hand: -0.25 and half of -1.50 are -1.00; a whole dioptre from the target of 0."""
    seen = [(28, {"refraction": "+2.00"}), (42, {"refraction": "-0.25/-1.50x10"})]
    found = _audit([_record(number, seen=seen, target_refraction=0) for number in range(12)])
    assert ([one.count.count for one in found.refraction], found.refraction_error) == ([0, 12, 0], -1.0)


def test_the_error_keeps_its_sign_in_the_mean_and_loses_it_in_the_mean_distance():
    """Worked by hand: 12 eyes at -0.75, 12 at +0.25: mean -0.25, mean distance 0.50; 24 of 24 within 1."""
    found = _audit(
        [
            _record(
                number, seen=[(40, {"refraction": "-0.75" if number % 2 else "+0.25"})], target_refraction=0
            )
            for number in range(24)
        ]
    )
    assert (found.refraction_mean, found.refraction_off) == (-0.25, 0.5)
    assert [(one.count.count, one.of.count) for one in found.refraction_within] == [(24, 24)]


def test_what_is_within_in_all_tells_no_more_than_its_bands_do():
    seen = [[(40, {"refraction": f"{0.25 if number < 20 else 0.75:+.2f}"})] for number in range(24)]
    found = _audit([_record(n, seen=one, target_refraction=0) for n, one in enumerate(seen)])
    assert found.refraction[1].count.why == "few"
    assert [one.count.why for one in found.refraction_within] == ["withheld"]


def test_an_eye_without_a_target_or_without_a_refraction_that_is_understood_has_no_error():
    seen = [(40, {"refraction": "plano"})]
    records = [_record(number, seen=seen) for number in range(12)]
    unclear = [(40, {"refraction": "new glasses"})]
    records += [_record(20 + number, seen=unclear, target_refraction=0) for number in range(12)]
    records += [_record(40 + number, target_refraction=0) for number in range(12)]
    found = _audit(records)
    assert found.refraction_entered.count == 24
    assert ([one.of.count for one in found.refraction], found.refraction_error) == ([0, 0, 0], None)


def _visits():
    """Two hundred and ten visits of three surgeons, two languages and three distances."""
    results = ("in time", "in time", "in time", "late", "never")
    return [
        AuditedVisit(
            results[i % 5],
            BEGIN + timedelta(days=i % 150),
            "ABC"[i % 3],
            (1, 3, 5)[i % 3],
            ("hi", None)[i % 2],
        )
        for i in range(210)
    ]


def test_the_funnel_parts_the_same_visits_by_each_group():
    found = _audit([], _visits())
    assert [cell.count for cell in found.all_visits.cells] == [126, 42, 42, 210]
    for name in GROUPS:
        shown = [line for line in found.funnel[name] if line.cells[-1].count is not None]
        if all(cell.count is not None for line in shown for cell in line.cells):
            assert [sum(line.cells[i].count for line in shown) for i in range(4)] == [126, 42, 42, 210]
    assert [line.group for line in found.funnel["language"]] == ["hi", None]
    assert [line.group for line in found.funnel["distance"]] == [(0.0, 2), (2, 4), (4, None)]
    assert next(line.group for line in found.funnel["month"]) == date(2026, 1, 1)


def test_the_table_for_programs_holds_its_dictionary_and_what_it_can_not_say():
    protocol, definitions = load_protocol(), audit_definitions()
    found = _audit([_record(number) for number in range(20)], _visits())
    told = document(found, protocol, definitions)
    rows = flat(found, told, definitions)
    named = {row.group for row in rows if row.table == "dictionary"}
    assert named == set(rows[0].__dataclass_fields__)
    assert [row.measure for row in rows if row.table == "limits"] == [str(line) for line in told.limits]
    assert "less than 40 days old" in as_csv(rows).decode()
    surgeon = [row for row in rows if row.table == "follow-up by surgeon" and row.measure == "in time"]
    assert [(row.group, row.count, row.total) for row in surgeon] == [
        ("A", 42, 70),
        ("B", 42, 70),
        ("C", 42, 70),
    ]


def test_a_visit_counts_for_whoever_did_the_operation_before_it():
    both = parse_record(
        {
            "patient": {"code": "K-1", "name": "Asha Rao", "birth_year": 1950},
            "operations": [
                {
                    "eye": eye,
                    "eye_drawn": eye,
                    "date": day,
                    "procedure": "phacoemulsification",
                    "surgeon": who,
                }
                for eye, day, who in (("left", "2026-03-01", "Dr Iyer"), ("right", "2026-01-05", "Dr Sen"))
            ],
        }
    )
    record = audited(both, load_protocol())
    days = (date(2026, 1, 4), date(2026, 1, 5), date(2026, 2, 28), date(2026, 3, 1))
    assert [record.surgeon_on(day) for day in days] == ["", "Dr Sen", "Dr Sen", "Dr Iyer"]
