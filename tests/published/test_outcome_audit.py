"""The outcome audit against published figures: intervals, notations of vision, vision below any chart."""

from __future__ import annotations

from math import sqrt
from statistics import NormalDist

import pytest

from followup.exchange.audit.acuity import decimal, log_mar, snellen
from followup.exchange.audit.definitions import audit_definitions
from followup.wilson import wilson


# Newcombe, Stat Med 1998;17:857, table I, score method without continuity correction, from memory.
@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_newcombe_1998_the_score_interval(count, of, low, high):
    assert wilson(count, of, 95) == pytest.approx((100 * low, 100 * high), abs=0.006)


# Wilson, J Am Stat Assoc 1927;22:209: the ends are the shares p for which |count/of - p| is just so many of
# their own standard errors sqrt(p(1-p)/of) as hold 95 of 100 (seen in a copy; the quantile is Python's).
@pytest.mark.parametrize(("count", "of"), [(9, 30), (1, 12), (11, 12), (120, 400), (10, 1000)])
def test_wilson_1927_both_ends_lie_just_so_many_standard_errors_away(count, of):
    away = NormalDist().inv_cdf(0.975)
    for end in (part / 100 for part in wilson(count, of, 95)):
        assert abs(count / of - end) == pytest.approx(away * sqrt(end * (1 - end) / of), rel=1e-6)


# Visual acuity conversion chart after Holladay, seen in a copy: feet, metres, decimal, logMAR.
@pytest.mark.parametrize(
    ("feet", "metres", "as_decimal", "value"),
    [
        ("20/16", "6/4.8", 1.25, -0.10),
        ("20/20", "6/6.0", 1.0, 0.00),
        ("20/30", "6/9.0", 0.67, 0.18),
        ("20/40", "6/12", 0.5, 0.30),
        ("20/50", "6/15", 0.4, 0.40),
        ("20/60", "6/18", 0.33, 0.48),
        ("20/80", "6/24", 0.25, 0.60),
        ("20/100", "6/30", 0.2, 0.70),
        ("20/200", "6/60", 0.1, 1.00),
    ],
)
def test_each_notation_of_the_conversion_chart_is_the_same_log_mar(feet, metres, as_decimal, value):
    definitions = audit_definitions()
    for written in (feet, metres, f"{as_decimal:g}"):
        assert log_mar(written, definitions) == pytest.approx(value, abs=0.0065), written
    exact = log_mar(feet, definitions)
    assert snellen(exact, 20) == feet
    assert snellen(exact, 6) == metres.removesuffix(".0")
    assert float(decimal(exact)) == pytest.approx(as_decimal, abs=0.006)


# Lange, Graefes Arch Clin Exp Ophthalmol 2009;247:137 (abstract): counting fingers 1.98 (0.010), hand
# movements 2.28 (0.0052); light could not be measured.
@pytest.mark.parametrize(
    ("written", "value", "as_decimal"),
    [
        ("CF", 1.98, 0.010),
        ("FC 1 m", 1.98, 0.010),
        ("counting fingers", 1.98, 0.010),
        ("HM", 2.28, 0.0052),
        ("Hand movements", 2.28, 0.0052),
    ],
)
def test_lange_2009_fingers_and_hand_movements_have_a_log_mar(written, value, as_decimal):
    found = log_mar(written, audit_definitions())
    assert found == value
    assert float(decimal(found)) == pytest.approx(as_decimal, abs=0.0006)


@pytest.mark.parametrize("written", ["PL", "LP", "light", "NPL", "NLP", "no light"])
def test_lange_2009_light_has_none(written):
    assert log_mar(written, audit_definitions()) is None
