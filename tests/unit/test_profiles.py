"""Profiles of many shafts are those of each shaft by itself."""

from dataclasses import replace

import numpy as np
import pytest

from model import ModelRangeError, evaluate, profiles_of
from tests.unit.shown_shafts import a_report, the_library

SHARE = np.linspace(0.0, 1.0, 41)


@pytest.fixture(scope="module")
def reports():
    first = a_report()
    design = first.design
    flags = list(design.flags)
    flags[-1] = replace(flags[-1], wraps=flags[-1].wraps + 1.0)
    more = (*flags, replace(flags[-1], name="one more"))
    thicker = replace(design, flags=tuple(flags))
    library = the_library()
    # the richest first, so that nothing it leaves behind is read of the others
    return [
        evaluate(replace(design, flags=more), library),
        first,
        evaluate(thicker, library),
    ]


@pytest.fixture(scope="module")
def profiles(reports):
    return profiles_of([r.design for r in reports], the_library(), SHARE)


def test_stiffness_is_that_of_each_shaft_by_itself(reports, profiles):
    for i, report in enumerate(reports):
        x = SHARE * report.design.shaft.length
        station = report.profile.station
        EI = np.interp(x, station, report.profile.EI)
        GJ = np.interp(x, station, report.profile.GJ)
        np.testing.assert_allclose(profiles.EI[i], EI, rtol=1e-12)
        np.testing.assert_allclose(profiles.GJ[i], GJ, rtol=1e-12)
    assert not np.allclose(profiles.EI[0], profiles.EI[1], rtol=1e-3)


def test_the_least_margin_is_the_durability_of_the_shaft(reports, profiles):
    for i, report in enumerate(reports):
        least = profiles.margin[i].min()
        assert least == pytest.approx(report.metrics["durability"], rel=1e-9)


def test_no_margin_is_above_that_at_its_station(reports, profiles):
    for i, report in enumerate(reports):
        x = SHARE * report.design.shaft.length
        there = np.interp(x, report.profile.station, report.profile.margin)
        known = np.isfinite(there)
        assert np.all(profiles.margin[i][known] <= there[known] * (1 + 1e-9) + 1e-9)
        assert known.sum() > 20


def test_shafts_that_are_made_otherwise_are_refused(reports):
    design = reports[0].design
    ground = replace(design, finish=replace(design.finish, grind=1e-5))
    with pytest.raises(ModelRangeError, match="made and tested alike"):
        profiles_of([design, ground], the_library(), SHARE)


def test_no_shafts_have_no_profiles():
    assert profiles_of([], the_library(), SHARE).EI.shape == (0, 41)
