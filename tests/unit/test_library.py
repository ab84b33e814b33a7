"""The library: packaged shop, cured plies, a user's own tables."""

import csv
import io
import pickle
from dataclasses import replace
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model import InputError, read_library
from model.library import TABLES, VF_RANGE
from model.materials import EXPANSION_ACROSS, EXPANSION_ALONG, TRANSVERSE_RATIO

# one library for all: reading it anew for every example would be slow
LIBRARY = read_library()


def test_packaged_shop_is_of_the_stated_size():
    assert len(LIBRARY.fibres) == 6
    assert 22 <= len(LIBRARY.prepregs) <= 28
    assert len(LIBRARY.mandrels) == 8
    assert LIBRARY.currency == "USD"
    assert LIBRARY.source == "packaged library"


def test_packaged_shop_says_that_it_is_invented():
    assert "Invented" in LIBRARY.files["library.toml"]
    for prepreg in LIBRARY.prepregs.values():
        assert "invented" in prepreg.source
    marks = ("typical", "assumed", "from memory")
    for row in (*LIBRARY.fibres.values(), *LIBRARY.resins.values()):
        assert any(mark in row.source for mark in marks)


def test_prepregs_are_named_by_class_and_weight():
    for name, prepreg in LIBRARY.prepregs.items():
        assert name == f"{prepreg.fibre.name}-{prepreg.faw * 1e3:.0f}"


def test_prices_rise_about_tenfold_with_class():
    prices = [prepreg.price for prepreg in LIBRARY.prepregs.values()]
    assert 8 < max(prices) / min(prices) < 13
    dearest = {}
    for prepreg in LIBRARY.prepregs.values():
        name = prepreg.fibre.name
        dearest[name] = max(dearest.get(name, 0.0), prepreg.price)
    assert list(dearest.values()) == sorted(dearest.values())


def test_compression_strain_falls_with_modulus():
    """Common practice: the stiffer the fibre, the less it bears in compression."""
    by_modulus = sorted(LIBRARY.prepregs.values(), key=lambda prepreg: prepreg.fibre.E1)
    stiff = [
        prepreg.strain_compression
        for prepreg in by_modulus
        if prepreg.fibre.name != "standard"
    ]
    assert stiff == sorted(stiff, reverse=True)
    for prepreg in by_modulus:
        assert prepreg.strain_compression < prepreg.strain_tension
        assert prepreg.strain_tension < prepreg.fibre.strain


@pytest.mark.parametrize("name", LIBRARY.prepregs)
def test_cured_plies_are_plausible(name):
    """Ranges of unidirectional carbon plies, common practice."""
    ply = LIBRARY.prepregs[name].cured()
    assert 0.015e-3 < ply.thickness < 0.16e-3
    assert 0.45 < ply.Vf < 0.72
    assert 1450 < ply.density < 1850
    assert 100e9 < ply.E1 < 560e9
    assert 5e9 < ply.E2 < 13e9
    assert 3e9 < ply.G12 < 6e9
    assert 0.2 < ply.nu12 < 0.4
    assert ply.areal_mass == pytest.approx(ply.density * ply.thickness, rel=1e-14)


def test_mandrels_can_be_drawn_and_are_long_enough():
    for mandrel in LIBRARY.mandrels.values():
        assert mandrel.distance[0] == 0.0
        assert list(mandrel.diameter) == sorted(mandrel.diameter)
        assert mandrel.length >= 1.25


def test_mandrel_diameter_is_linear_between_breakpoints():
    mandrel = LIBRARY.mandrels["slim-5"]
    first, second = mandrel.diameter[:2]
    middle = (mandrel.distance[0] + mandrel.distance[1]) / 2
    assert mandrel.diameter_at(middle) == pytest.approx((first + second) / 2)


def test_measured_values_override_and_bleed_leaves_them():
    prepreg = LIBRARY.prepregs["standard-125"]
    dry, bled = prepreg.cured(), prepreg.cured(0.02)
    assert (dry.E1, dry.E2, dry.G12, dry.nu12) == (150e9, 9.4e9, 4.9e9, 0.30)
    assert dry.thickness == bled.thickness == 0.105e-3
    assert (bled.E1, bled.Vf) == (dry.E1, dry.Vf)
    assert bled.areal_mass < dry.areal_mass


def test_one_measured_value_leaves_the_others_derived():
    prepreg = replace(LIBRARY.prepregs["high-85"], E1=240e9)
    derived = LIBRARY.prepregs["high-85"].cured()
    found = prepreg.cured()
    assert found == replace(derived, E1=240e9)


@given(st.sampled_from(sorted(LIBRARY.prepregs)), st.floats(0.0, 0.05))
def test_bleed_keeps_the_fibre_and_thins_the_ply(name, bleed):
    prepreg = LIBRARY.prepregs[name]
    dry, bled = prepreg.cured(), prepreg.cured(bleed)
    fibre = prepreg.faw
    resin = fibre / (1.0 - prepreg.resin_content) - fibre
    lost = bleed * fibre / (1.0 - prepreg.resin_content)
    assert bled.areal_mass == pytest.approx(fibre + resin - lost, rel=1e-12)
    assert bled.thickness <= dry.thickness
    assert bled.Vf >= dry.Vf
    assert bled.Vf * bled.thickness == pytest.approx(dry.Vf * dry.thickness, rel=1e-12)


def test_packaged_tables_read_alike_from_a_folder(tmp_path):
    for name, text in LIBRARY.files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    copy = read_library(tmp_path)
    assert copy.prepregs == LIBRARY.prepregs
    assert copy.mandrels == LIBRARY.mandrels
    assert copy.source == str(tmp_path)


def test_library_file_is_optional_and_columns_stand_in_any_order(tmp_path):
    for name in TABLES:
        rows = list(csv.reader(io.StringIO(LIBRARY.files[name])))
        out = io.StringIO()
        csv.writer(out).writerows(
            [*reversed(row), *([""] * 2)] if name != "mandrels.csv" else row
            for row in rows
        )
        (tmp_path / name).write_text(out.getvalue(), encoding="utf-8")
    library = read_library(tmp_path)
    assert library.currency == ""
    assert library.prepregs == LIBRARY.prepregs


def test_library_travels_between_processes():
    assert pickle.loads(pickle.dumps(LIBRARY)) == LIBRARY


def test_tables_are_package_data():
    folder = files("model") / "data" / "library"
    assert {entry.name for entry in folder.iterdir()} == {*TABLES, "library.toml"}


def test_range_of_fibre_contents_holds_the_shop():
    least, most = VF_RANGE
    for prepreg in LIBRARY.prepregs.values():
        assert least < prepreg.cured().Vf < most


def with_columns(folder, columns):
    """Packaged tables in a folder, with columns added to the first prepreg."""
    for name, text in LIBRARY.files.items():
        (folder / name).write_text(text)
    rows = list(csv.reader(io.StringIO(LIBRARY.files["prepregs.csv"])))
    rows[0] += columns
    for k, row in enumerate(rows[1:]):
        row += [value if k == 0 else "" for value in columns.values()]
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    (folder / "prepregs.csv").write_text(out.getvalue())
    return folder


def test_strength_across_and_expansion_have_defaults(tmp_path):
    columns = {
        "strain_transverse_compression_pct": "2.4",
        "expansion_along_um_m_k": "-0.5",
        "expansion_across_um_m_k": "27",
    }
    library = read_library(with_columns(tmp_path, columns))
    given, *others = [prepreg.cured() for prepreg in library.prepregs.values()]
    assert given.strain_transverse_compression == pytest.approx(0.024)
    assert given.expansion_along == pytest.approx(-0.5e-6)
    assert given.expansion_across == pytest.approx(27e-6)
    for ply in (*others, LIBRARY.prepregs["standard-150"].cured()):
        ratio = ply.strain_transverse_compression / ply.strain_transverse
        assert ratio == pytest.approx(TRANSVERSE_RATIO)
        assert ply.expansion_along == EXPANSION_ALONG
        assert ply.expansion_across == EXPANSION_ACROSS


@pytest.mark.parametrize(
    ("column", "value", "hint"),
    [
        ("expansion_across_um_m_k", "3e-5 1/K", "not a number"),
        ("expansion_across_um_m_k", "2000", "out of range"),
        ("expansion_along_um_m_k", "-40", "from -20 to 200"),
        ("strain_transverse_compression_pct", "0", "above 0 and up to 20"),
    ],
)
def test_slips_in_them_are_faults(tmp_path, column, value, hint):
    with pytest.raises(InputError) as caught:
        read_library(with_columns(tmp_path, {column: value}))
    (fault,) = caught.value.faults
    assert fault.key == column
    assert hint in fault.message
