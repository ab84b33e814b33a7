"""Measured EI profiles: what is read, what is refused, how they are compared."""

import numpy as np
import pytest

from model import InputError, Machine, compare_profile, read_measured
from model.profile_machine import read_profile

GOOD = "station_mm,ei_n_m2\n230,28.4\n130,32\n330,25.0\n"


def read(tmp_path, text, **options):
    path = tmp_path / "profile.csv"
    path.write_text(text, encoding="utf-8")
    return read_measured(path, **options)


def faults(tmp_path, text, **options):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text, **options)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize(
    "text",
    [
        GOOD,
        "ei_n_m2, station_mm\n28.4,230\n32,130\n25,330\n\n",
        "\ufeff" + GOOD.replace("\n", "\r\n"),
        GOOD.replace("\n", ",\n"),  # a spreadsheet's empty column
    ],
)
def test_read_in_si_and_sorted(tmp_path, text):
    profile = read(tmp_path, text, length=1.067)
    np.testing.assert_allclose(profile.station, [0.13, 0.23, 0.33], rtol=1e-12)
    np.testing.assert_allclose(profile.EI, [32.0, 28.4, 25.0], rtol=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("station_mm,ei_nm2\n130,32\n", "'ei_nm2'. Did you mean 'ei_n_m2'?"),
        ("station_mm,ei_n_m2,gj_n_m2\n130,32,9\n", "unknown column 'gj_n_m2'"),
        ("station_mm\n130\n", "no column 'ei_n_m2'"),
        ("station_mm;ei_n_m2\n130;32\n", "parted by commas"),
        ("station_mm,ei_n_m2\n", "no row"),
        ("station_mm,ei_n_m2\n130,soft\n", 'ei_n_m2 = "soft": not a number'),
        ("station_mm,ei_n_m2\n130,\n", 'ei_n_m2 = "": empty'),
        ("station_mm,ei_n_m2\n130,-3\n", "out of range"),
        ("station_mm,ei_n_m2\n130,nan\n", "not a finite number"),
        ("station_mm,ei_n_m2\n130,32,7\n", "3 cells under 2"),
        (
            GOOD + "130,33\n",
            'row 5 "130", station_mm = 130: stands twice; first in row 3',
        ),
    ],
)
def test_what_is_refused(tmp_path, text, words):
    (said,) = faults(tmp_path, text)
    assert words in said


def test_all_faults_at_once(tmp_path):
    text = "station_mm,ei_n_m2\n130,soft\n50,30\n230,0\n1030,31\n"
    said = faults(tmp_path, text, length=1.067)
    assert len(said) == 4
    assert sum("between 100 and 967" in fault for fault in said) == 2


def test_sites_depend_on_the_span(tmp_path):
    assert len(read(tmp_path, GOOD, length=1.0, machine=Machine(span=0.26)).EI) == 3
    (said,) = faults(tmp_path, GOOD, length=1.0, machine=Machine(span=0.27))
    assert "135 mm to either side" in said
    said = faults(tmp_path, GOOD, length=0.18)
    assert "180 mm long; give a shorter span" in said[0]


def test_no_such_file(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_measured(tmp_path / "none.csv")


def test_comparison(tmp_path):
    """Differences of +10, -5 and 0 % of a uniform bar."""
    profile = read(tmp_path, "station_mm,ei_n_m2\n130,44\n230,38\n330,40\n")
    x = np.linspace(0.0, 1.0, 41)
    readings = read_profile(x, 0 * x + 40.0, 0 * x + 1e20, Machine())
    found = compare_profile(profile, readings)
    np.testing.assert_allclose(found.predicted, 40.0, rtol=1e-9)
    np.testing.assert_allclose(found.difference, [0.1, -0.05, 0.0], atol=1e-9)
    assert found.mean == pytest.approx(0.05 / 3.0)
    assert found.rms == pytest.approx(np.sqrt(0.0125 / 3.0))
    assert found.worst == pytest.approx(0.1)
    assert found.worst_station == pytest.approx(0.13)
