"""Stiffness around the clock against walls that are stacked up sector by sector."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model import (
    Conditions,
    evaluate_batch,
    layups_of,
    open_design,
    workspace,
)
from model.arcs import arc_harmonics, partial_turn
from model.clock import innermost_step
from model.direction import (
    clock_of,
    clock_positions,
    harmonics_around,
    rolled_of,
    worst_around,
)
from model.edges import suggest_clocks
from model.laminate import ring_stiffness, tube_section
from model.planes import plane_modes
from model.scratch import point_at
from tests.reference.round_walls import by_sectors, flag, rolled, shown

DESIGNS = Path(__file__).parents[2] / "scenarios" / "designs"
CARBON = (130e9, 9e9, 4.5e9, 0.3)


def both(flags, **more):
    """Second harmonic over the mean: ours, and that of the stacked wall."""
    ours = shown(rolled(flags, **more))
    mean, second = by_sectors(flags, **more)
    return ours.second[0] / ours.mean[0], second / mean


def random_flags(rng, n=6):
    return [
        flag(
            rng.integers(1, 13) / 4,
            rng.uniform(0.0, 2.0 * np.pi),
            E=rng.choice([20e9, 70e9, 140e9]),
            pieces=int(rng.integers(1, 3)),
        )
        for _ in range(n)
    ]


@pytest.mark.parametrize("pieces", [1.0, 2.0])
@pytest.mark.parametrize("part", [1e-5, 0.1, 0.25, 0.5, 0.77, 0.999])
def test_arc_harmonics_are_integrals_over_the_arc(part, pieces):
    clock, n = 0.7, 20001
    cos2 = sin2 = cos1 = sin1 = 0.0
    for piece in range(int(pieces)):
        alpha = clock + np.pi * piece + np.linspace(0, 2 * np.pi * part / pieces, n)
        cos2 += np.trapezoid(np.cos(2 * alpha) / 2, alpha)
        sin2 += np.trapezoid(np.sin(2 * alpha) / 2, alpha)
        cos1 += np.trapezoid(np.cos(alpha), alpha)
        sin1 += np.trapezoid(np.sin(alpha), alpha)
    given = arc_harmonics(part, pieces, np.cos(clock), np.sin(clock))
    np.testing.assert_allclose(given, [cos2, sin2, cos1, sin1], atol=2e-8)


def test_whole_turns_have_no_partial_one():
    assert partial_turn(3.0) == (3.0, 0.0)
    assert partial_turn(3.0 - 1e-9) == (3.0, 0.0)
    whole, part = partial_turn(2.75)
    assert (whole, part) == (2.0, 0.75)


def test_whole_turns_are_alike_in_all_directions():
    wall = rolled([flag(2, 0.3), flag(1.5, 0.2, pieces=2), flag(3)])
    assert np.all(harmonics_around(wall, wall.clock) == 0.0)
    assert (
        innermost_step(
            wall.sheets,
            7,
            wall.sheet,
            wall.wraps,
            wall.run_out_tip,
            wall.run_out_butt,
        )
        == -1
    )


# a ply at its true radius is exact, so only the small terms of the mean remain
@pytest.mark.parametrize("part", [0.1, 0.25, 0.4, 0.5, 0.75, 0.9])
@pytest.mark.parametrize("pieces", [1, 2])
def test_a_partial_ply_outside(part, pieces):
    share = part / pieces
    flags = [flag(9), flag(1.0 + share, 0.4, E=140e9, pieces=pieces)]
    ours = shown(rolled(flags)).second[0]
    _, second = by_sectors(flags)
    assert abs(ours - second) < 1e-3 * abs(second) + 1e-9 * 70e9


@pytest.mark.parametrize("part", [0.25, 0.4, 0.5, 0.75])
def test_plies_ride_over_a_partial_ply_inside(part):
    ours, stacked = both([flag(part, 1.1), flag(10)])
    assert abs(ours - stacked) < 0.01 * abs(stacked)
    # left out, the ride would halve it
    assert abs(stacked) > 1.5 * abs(both([flag(10), flag(part, 1.1)])[1]) * (5 / 6) ** 3


def test_the_error_falls_with_the_step():
    def error(ply):
        ours, stacked = both(
            [flag(0.3, 0.9, ply=ply), flag(0.6, 2.0, ply=ply), flag(10)]
        )
        return abs(ours - stacked) / abs(stacked)

    assert error(0.1e-3) < 0.03
    assert error(0.01e-3) == pytest.approx(0.1 * error(0.1e-3), rel=0.2)


def size_of_parts(wall):
    """Sum of the sizes of all flags' harmonics, as if they all stood together."""
    parts = [harmonics_around(wall, wall.clock, only=k)[:4, 0] for k in range(6)]
    lever = 1.0
    sizes = [np.hypot(a, b) + lever * np.hypot(c, d) for a, b, c, d in parts]
    return sum(sizes) / wall.EI[0]


# six partial plies of up to a third of the wall each: terms of second order show
@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("grind", [0.0, 0.05e-3])
def test_walls_of_many_partial_plies(seed, grind):
    flags = random_flags(np.random.default_rng(seed))
    if grind > 0.0:
        # grinding stock, so that it stays in one material
        flags.append(flag(2))
    ours, stacked = both(flags, grind=grind)
    assert abs(ours - stacked) < 0.015 * size_of_parts(rolled(flags, grind=grind))


def test_half_turns_of_a_pair_close_the_round():
    wall = rolled([flag(1.5, 0.2, pieces=2), flag(4)])
    assert np.all(shown(wall).spread == 0.0)


@pytest.mark.parametrize("part", [0.25, 0.7])
def test_the_whole_length_grind_leaves_the_step(part):
    flags = [flag(10), flag(part, 0.3)]
    before, _ = both(flags)
    ours, stacked = both(flags, grind=0.08e-3)
    assert abs(ours - stacked) < 0.05 * abs(stacked)
    assert abs(ours) == pytest.approx(abs(before), rel=0.15)


def test_a_uniform_tip_ground_round_has_no_spread():
    flags = [flag(0.25, 0.3), flag(10)]
    before, _ = both(flags)
    after, stacked = both(flags, tip_depth=0.03e-3)
    assert abs(stacked) < 1e-9
    assert abs(after) < 0.01 * abs(before)


@pytest.mark.parametrize("E", [14e9, 30e9, 210e9])
def test_a_tip_ground_round_keeps_what_differs_inside(E):
    flags = [flag(0.25, 0.3, E=E), flag(10)]
    ours, stacked = both(flags, grind=0.04e-3, tip_depth=0.06e-3)
    assert abs(ours - stacked) < 0.04 * abs(stacked)


@pytest.mark.parametrize("depth", [0.01e-3, 0.03e-3, 0.05e-3, 0.07e-3])
@pytest.mark.parametrize("inside", [True, False])
def test_grinding_the_tip_takes_one_step_off_in_proportion(depth, inside):
    flags = [flag(0.75, 0.3), flag(10)] if inside else [flag(10), flag(0.75, 0.3)]
    untouched, _ = both(flags)
    ours, stacked = both(flags, tip_depth=depth)
    assert abs(ours - stacked) < 0.03 * abs(untouched)


def test_a_flag_that_is_ground_off_the_tip_counts_no_more():
    inner = [flag(0.3, 0.3, E=20e9), flag(10)]
    with_it = shown(rolled([*inner, flag(1.3, 1.0)], tip_depth=0.2e-3))
    without = shown(rolled(inner, tip_depth=0.07e-3))
    assert with_it.second[0] == pytest.approx(without.second[0], rel=1e-9)


def wall_energy(plies, edges):
    """EI of a wall of one hoop strain, and the sums that this strain comes from.

    EI is π (bent + 2 h pulled + h² stretched), no shear coupling.
    """
    a, b = edges[:-1], edges[1:]
    q11, q12, q22 = np.array([Q[:3] for Q in plies]).T
    bent = np.sum(q11 * (b**4 - a**4)) / 4.0
    pulled = np.sum(q12 * (b**3 - a**3)) / 3.0
    stretched = np.sum(q22 * (b**2 - a**2)) / 2.0
    return bent, pulled, stretched


@pytest.mark.parametrize("which", range(4))
def test_a_step_is_the_derivative_of_stiffness_to_thickness(which):
    """Bias, hoop and straight plies, at the hoop strain of the whole wall.

    The section lets the hoop strain grow with the radius and the wall shear; a step
    takes one hoop strain for all rings, and plies that are thin. How far that is from
    the section itself is measured here.
    """
    angles = [45.0, 90.0, 0.0, 30.0]
    thin = 1e-6
    plies = [
        ring_stiffness(*CARBON, np.radians(angle), is_pair=0 < angle < 90)
        for angle in angles
    ]
    flags = [flag(300, Q=Q, ply=thin) for Q in plies]
    hoop = rolled(flags).hoop[0]

    def slope_of(EI):
        edges = 5e-3 + np.cumsum([0.0] + [300 * thin] * 4)
        thicker = np.where(np.arange(5) > which, 1e-8, 0.0)
        return (EI(edges + thicker) - EI(edges - thicker)) / 2e-8

    def at_the_hoop_strain(edges):
        bent, pulled, stretched = wall_energy(plies, edges)
        return np.pi * (bent + 2.0 * hoop * pulled + hoop**2 * stretched)

    def of_least_energy(edges):
        bent, pulled, stretched = wall_energy(plies, edges)
        return np.pi * (bent - pulled**2 / stretched)

    def of_the_section(edges):
        return tube_section(plies, edges[:-1, None], edges[1:, None]).EI[0]

    flags[which] = flag(300.25, 0.4, Q=plies[which], ply=thin)
    step = harmonics_around(rolled(flags), np.full(4, 0.4))
    # the second harmonic of a quarter arc is half its energy per angle
    energy = 2.0 * np.hypot(step[0, 0], step[1, 0]) / thin * np.pi
    assert energy == pytest.approx(slope_of(at_the_hoop_strain), rel=1e-3)
    assert energy == pytest.approx(slope_of(of_least_energy), rel=0.01)
    assert energy == pytest.approx(slope_of(of_the_section), rel=0.03)


def test_a_run_out_is_a_flag_of_as_many_turns_at_each_point():
    x = np.linspace(0.0, 1.0, 41)
    outer = flag(8)
    sloped = rolled([flag(2.3, 0.3, run_out_tip=0.5, run_out_butt=0.2), outer], x=x)
    ours = shown(sloped).second
    for p in range(1, 40):
        turns = 2.3 * min(1.0, x[p] / 0.5, (1.0 - x[p]) / 0.2)
        even = shown(rolled([flag(turns, 0.3), outer])).second[0]
        assert ours[p] == pytest.approx(even, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("pieces", [1, 2])
def test_a_straight_edged_piece_makes_the_turns_of_its_width(pieces):
    turn = pieces * 0.1e-3
    x = np.linspace(0.0, 1.0, 21)
    widths = (1.2 * np.pi * (10e-3 + 1.2 * turn), 2.9 * np.pi * (10e-3 + 2.9 * turn))
    outer = flag(8)
    sloped = rolled([flag(0.0, 0.3, pieces=pieces, widths=widths), outer], x=x)
    ours = shown(sloped).second
    for p, width in enumerate(np.linspace(*widths, 21)):
        turns = (np.sqrt(25e-6 + turn * width / np.pi) - 5e-3) / turn
        even = shown(rolled([flag(turns, 0.3, pieces=pieces), outer])).second[0]
        assert ours[p] == pytest.approx(even, rel=1e-6, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    turn=st.floats(-7.0, 7.0),
    grind=st.sampled_from([0.0, 0.05e-3]),
)
def test_turning_the_shaft_turns_the_direction_only(seed, turn, grind):
    wall = rolled(random_flags(np.random.default_rng(seed)), grind=grind)
    still, turned = shown(wall), shown(wall, wall.clock + turn)
    scale = 1e-9 * still.mean[0]
    np.testing.assert_allclose(turned.mean, still.mean, rtol=1e-9)
    np.testing.assert_allclose(
        turned.second, still.second * np.exp(2j * turn), atol=scale
    )


def test_positions_not_stated_are_even():
    flags = [flag(1.3), flag(2.0), flag(1.4, pieces=2), flag(1.7)]
    wall = rolled(flags)
    even = harmonics_around(wall, np.arange(4) * np.pi / 2)
    free = harmonics_around(wall, np.full(4, np.nan))
    np.testing.assert_allclose(free, even, rtol=1e-12, atol=1e-12)
    mixed = clock_positions(np.array([np.nan, 1.0, np.nan, np.nan]))
    np.testing.assert_allclose(mixed, [0.0, 1.0, np.pi, 1.5 * np.pi])


def test_parts_add_up_to_the_whole():
    wall = rolled(random_flags(np.random.default_rng(3)), grind=0.04e-3)
    parts = sum(harmonics_around(wall, wall.clock, only=k)[:4] for k in range(6))
    np.testing.assert_allclose(parts, harmonics_around(wall, wall.clock)[:4], rtol=1e-9)


def test_the_compiled_worst_is_that_of_the_arrays():
    """Straight edges pass through parts of a turn too, but slowly."""
    x = np.linspace(0.0, 1.0, 24)
    cut = flag(0.0, 0.3, widths=(0.07, 0.09))
    wall = rolled([cut, flag(3.3, 1.0), flag(2)], x=x)
    spread = shown(wall).spread
    for first, last in ((0, 23), (3, 3), (2, 17), (5, 6), (7, 20)):
        worst, at = worst_around(wall._replace(tip=first, butt=last), wall.clock)
        expected = spread[first : last + 1]
        assert worst == pytest.approx(expected.max(), rel=1e-12)
        assert at == x[first + int(np.argmax(expected))]


@pytest.mark.parametrize("pieces", [1, 2])
@pytest.mark.parametrize("more", [{}, {"run_out_butt": 0.4}, {"run_out_tip": 0.7}])
def test_run_outs_are_looked_at_between_stations(pieces, more):
    """Few stations find the worst of many, whose turns differ little."""
    flags = [
        flag(2.4, 0.3, run_out_tip=0.9, pieces=pieces),
        flag(3.3, 1.0, **more),
        flag(2.5, 4.0),
    ]
    worst = {}
    for n in (12, 12_001):
        wall = rolled(flags, x=np.linspace(0.0, 1.0, n))
        worst[n], at = worst_around(wall, wall.clock)
        assert 0.0 < at < 1.0
    dense = shown(wall).spread
    few = rolled(flags, x=np.linspace(0.0, 1.0, 12))
    assert worst[12_001] == pytest.approx(dense.max(), rel=1e-3)
    assert worst[12] == pytest.approx(dense.max(), rel=0.04)
    # the stations alone would not do
    assert shown(few).spread.max() < worst[12]


# suggestions


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("grind", [0.0, 0.05e-3])
def test_a_suggestion_is_never_worse(seed, grind):
    rng = np.random.default_rng(seed)
    wall = rolled(random_flags(rng), grind=grind)
    wall = wall._replace(clock=np.full(6, np.nan))
    free = rng.random(6) < 0.8
    found = suggest_clocks(wall, free)
    even = clock_positions(wall.clock)
    assert found.spread_after <= found.spread_before
    assert found.spread_before == pytest.approx(shown(wall, even).spread.max())
    after = shown(wall, found.positions).spread.max()
    assert found.spread_after == pytest.approx(after, abs=1e-12)
    np.testing.assert_array_equal(found.positions[~free], even[~free])
    moved = found.positions != even
    steps = np.degrees(found.positions[moved]) / 5.0
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)


def test_a_suggestion_finds_the_best_of_all_positions():
    x = np.linspace(0.0, 1.0, 9)
    flags = [
        flag(1.2, E=90e9),
        flag(2.0),
        flag(0.7, run_out_butt=0.9),
        flag(1.4),
    ]
    wall = rolled(flags, x=x)
    free = np.array([False, True, True, True])
    found = suggest_clocks(wall._replace(clock=np.zeros(4)), free)
    best = min(
        shown(wall, np.radians([0.0, 0.0, a, b])).spread.max()
        for a, b in product(np.arange(0.0, 360.0, 5.0), repeat=2)
    )
    assert found.spread_after == pytest.approx(best, rel=1e-6)
    assert found.spread_after < 0.7 * found.spread_before


def test_nothing_to_suggest():
    wall = rolled([flag(2, np.nan), flag(4, np.nan)])
    found = suggest_clocks(wall, np.array([True, True]))
    assert found.spread_after == found.spread_before == 0.0
    np.testing.assert_allclose(found.positions, [0.0, np.pi])
    stuck = rolled([flag(2.2, 0.1), flag(4.1, 0.2)])
    found = suggest_clocks(stuck, np.array([False, False]))
    np.testing.assert_array_equal(found.positions, [0.1, 0.2])
    assert found.spread_after == found.spread_before > 0.0


# whole designs


def judged(design, library):
    shared = Conditions.for_designs(library, [design])
    layups = layups_of([design], shared)
    work = workspace(shared, len(design.flags), design.shaft.length)
    report = evaluate_batch(layups, shared, work=work)
    wall = rolled_of(shared, layups, 0, work)
    n_x = work.counts[0]
    clamp_at = design.shaft.length - design.bench.frequency_clamp
    positions = clock_positions(wall.clock)
    clock = clock_of(
        wall,
        positions,
        harmonics_around(wall, positions),
        work.m[:n_x].copy(),
        int(point_at(work.x, n_x, clamp_at, False)),
        tip_mass=design.bench.tip_mass,
    )
    return clock, wall, float(report.metrics[0, 2])


@pytest.fixture(scope="module", params=["fairway-60", "iron-95"])
def design(request, library):
    design, _ = open_design(DESIGNS / f"{request.param}.toml", library)
    return design


def test_a_design_of_whole_turns_is_round(design, library):
    flags = [
        replace(f, wraps=round(f.wraps), run_out_tip=0.0, run_out_butt=0.0)
        for f in design.flags
    ]
    clock, _, frequency = judged(replace(design, flags=tuple(flags)), library)
    assert clock.worst_spread == 0.0
    assert np.all(clock.EI_max == clock.EI_min)
    assert np.all(clock.direction == 0.0)
    assert clock.planes.low == pytest.approx(frequency, rel=1e-10)
    assert clock.planes.high == pytest.approx(frequency, rel=1e-10)
    assert clock.frequency_split == pytest.approx(0.0, abs=1e-10)


def test_a_design_of_odd_turns_has_two_frequencies(design, library):
    flags = [
        replace(f, wraps=f.wraps + 0.3 * (f.angle == 0.0), clock=0.8)
        for f in design.flags
    ]
    clock, wall, frequency = judged(replace(design, flags=tuple(flags)), library)
    # it may lie between two stations
    assert clock.worst_spread >= clock.spread.max() * (1.0 - 1e-12) > 0.02
    assert 0.0 <= clock.worst_at <= clock.station[-1]
    assert np.all(clock.EI_max >= clock.EI_min)
    assert clock.positions == pytest.approx((0.8,) * len(flags), abs=1e-7)
    low, high, direction = clock.planes
    assert low < frequency < 1.001 * high
    assert 0.0 < clock.frequency_split < 0.6 * clock.worst_spread
    assert 0.0 <= direction < np.pi
    turned, _ = worst_around(wall, wall.clock + 0.5)
    assert turned == pytest.approx(clock.worst_spread)


def test_a_bar_without_stiffness_across_is_refused():
    one = np.ones(5)
    with pytest.raises(ValueError, match="no bending stiffness"):
        plane_modes(np.linspace(0.0, 1.0, 5), one, 1.0 + 0j * one, one)
