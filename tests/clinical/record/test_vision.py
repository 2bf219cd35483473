"""Visual acuity in the outcome bands of the World Health Organization."""

from __future__ import annotations

import pytest

from followup.clinical.protocol.load import load_protocol


# Bands: good 6/18 or better, borderline to 6/60, poor worse (Ramke and others, PLoS One 2017;12:e0172342).
@pytest.mark.parametrize(
    ("written", "found"),
    [
        *(("6/6", "good"), ("6/18", "good"), ("20/60", "good"), ("0.33", "good"), ("1.0", "good")),
        *(("6/24", "borderline"), ("6/60", "borderline"), ("20/200", "borderline"), ("0,1", "borderline")),
        *(
            ("3/60", "poor"),
            ("CF", "poor"),
            ("hand movements", "poor"),
            ("no light", "poor"),
            ("0.05", "poor"),
        ),
        *(("6/9-2", "good"), ("good", None), ("", None), ("6/0", None), ("0.25", "borderline")),
    ],
)
def test_an_acuity_falls_into_its_band(written, found):
    assert load_protocol().vision_bands.band(written) == found
