"""Do cycles that are kept as sums in cells of range tell what the cycles one by one would?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import rainflow as oracle
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.counting import EVERY, LEFT_OVER, empty_log
from sim.errors import InputError
from sim.kernels import layout as at
from sim.kernels import loads, tally
from sim.measures import fatigue
from sim.measures.curve import StressCurve
from sim.measures.spectrum import range_mean_rows, spectrum_of


@pytest.fixture(scope="module")
def history():
    """A slow swing with faster noise upon it, about a mean that wanders."""
    rng = np.random.Generator(np.random.Philox(key=[71, 0]))
    slow = np.convolve(rng.normal(size=60_000), np.ones(400) / 20.0, mode="valid")
    return 3.0 * slow + np.convolve(rng.normal(size=slow.size + 6), np.ones(7) / 2.6, mode="valid") + 20.0


@pytest.mark.parametrize("exponent", [1.0, 3.0, 4.0, 8.0, 10.0])
def test_sums_of_powers_are_those_of_the_cycles_of_the_independent_package(history, exponent):
    cycles = np.array([cycle[:3] for cycle in oracle.extract_cycles(history)])
    expected = np.sum(cycles[:, 2] * cycles[:, 0] ** exponent)
    assert spectrum_of(history, 0.01).power_sum(exponent) == pytest.approx(expected, rel=2e-4)


@pytest.mark.filterwarnings("error")
def test_means_beyond_the_ultimate_load_make_an_infinite_sum_and_no_warning(history):
    assert spectrum_of(history + 500.0, 0.01).power_sum(10.0, 400.0) == np.inf


@pytest.mark.parametrize("ultimate", [200.0, 60.0])
def test_goodmans_correction_is_that_of_the_cycles_one_by_one(history, ultimate):
    ranges, means, counts = fatigue.rainflow(history)
    expected = fatigue.cycle_sum(fatigue.goodman(ranges, means, ultimate), counts, 10.0)
    found = spectrum_of(history, 0.01).power_sum(10.0, ultimate)
    # To second order in the scatter of the means: 0.2 % of an equivalent range.
    assert found**0.1 == pytest.approx(expected**0.1, rel=2e-3)
    assert found > 1.5 * spectrum_of(history, 0.01).power_sum(10.0)


def test_damage_by_a_curve_is_that_of_the_cycles_one_by_one(history):
    ranges, _, counts = fatigue.rainflow(history)
    curve = StressCurve(4.0, 1e6, 4.0, 6.0)
    found = spectrum_of(history, 0.01).damage(curve)
    assert found == pytest.approx(fatigue.damage(ranges, counts, curve), rel=1e-3)


@settings(deadline=None, derandomize=True)
@given(st.lists(st.integers(-30, 30).map(float), min_size=4, max_size=200), st.integers(2, 40))
def test_counting_that_stops_and_goes_on_closes_the_same_cycles(series, chunk):
    points = fatigue.turning_points(series)
    whole = spectrum_of(series, 0.5)
    cells, room, count = np.zeros((tally.CELLS, tally.SUMS)), np.empty(400), 0
    for first in range(0, points.size, chunk):
        more = points[first : first + chunk]
        room[count : count + more.size] = more
        count = tally.close_all(room, count + more.size, cells, 0.5, 200)
    used = np.flatnonzero(cells[:, tally.COUNT])
    assert np.array_equal(used, whole.cells[:, 0])
    assert cells[used] == pytest.approx(whole.cells[:, 1:])
    assert list(room[:count]) == list(whole.points)
    assert np.sum(whole.grouped()[2]) == np.sum(fatigue.count_points(points)[2])


def test_a_ring_down_longer_than_its_room_is_still_counted_whole():
    series = np.array([(-1.0) ** n * 100.0 * 0.995**n for n in range(1000)])
    points, cells = series.copy(), np.zeros((tally.CELLS, tally.SUMS))
    left = tally.close_all(points, 1000, cells, 0.01, 100)
    assert left == 100
    assert list(points[:100]) == list(series[-100:])
    ranges, _, counts = fatigue.count_points(series)
    rest, _, rest_counts = fatigue.count_points(points[:100])
    found = np.sum(cells[:, tally.RANGE]) + np.sum(rest * rest_counts)
    assert found == pytest.approx(np.sum(ranges * counts), rel=1e-12)


def test_what_counting_takes_does_not_grow_with_the_time_marched():
    short, long = (empty_log(1, 0, ticks, turning=True, period=0.04) for ticks in (1000, 100_000))
    assert short.turning.nbytes + short.cells.nbytes == long.turning.nbytes + long.cells.nbytes
    assert long.turning.shape[2] == EVERY + LEFT_OVER  # each tick brings one point at the most


def test_a_cell_is_an_eighth_of_an_octave_and_none_is_lost_beyond_the_ends():
    assert tally.cell_of(0.0, 1.0) == tally.cell_of(1.0, 1.0) == 0
    assert [tally.cell_of(1.001 * 2.0 ** (n / 8.0), 1.0) for n in range(20)] == list(range(1, 21))
    assert tally.cell_of(1e30, 1.0) == tally.CELLS - 1


def test_the_range_mean_table_weighs_histories_and_keeps_ranges_and_means():
    one = spectrum_of(np.append(np.tile([0.0, 4.0], 50), 0.0), 0.1)
    other = spectrum_of(np.append(np.tile([6.0, 7.0], 50), 6.0), 0.1)
    rows = range_mean_rows([one, other], [2.0, 3.0])
    # By hand: whole cycles of range 4 about 2 and of range 1 about 6.5; the rest is residue.
    assert rows[:, :3] == pytest.approx(np.array([[1.0, 6.5, 0.0], [4.0, 2.0, 0.0]]), abs=1e-9)
    assert rows[:, 3] == pytest.approx([3.0 * other.cells[0, 1], 2.0 * one.cells[0, 1]])
    with pytest.raises(InputError, match=r"unit = 0.0; must be > 0"):
        spectrum_of([0.0, 1.0], 0.0)


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("cone", [0.0, 0.05])
def test_the_hub_carries_the_moments_of_the_roots_as_vectors(side, cone):
    rng = np.random.Generator(np.random.Philox(key=[72, int(100 * cone + side + 1.0)]))
    out_of_plane, in_plane = rng.normal(size=(2, 3))
    azimuth = rng.uniform(0.0, 2.0 * math.pi) + 2.0 * math.pi * np.arange(3) / 3
    # Brute force, shaft along x: a unit force through the tip of a unit lever, along normal and motion.
    total = np.zeros(3)
    for turn, flap, lead in zip(azimuth, out_of_plane, in_plane, strict=True):
        radial = np.array([0.0, -math.sin(turn), math.cos(turn)])
        motion = np.array([0.0, -math.cos(turn), -math.sin(turn)])
        along = math.cos(cone) * radial + side * math.sin(cone) * np.array([1.0, 0.0, 0.0])
        normal = np.cross(motion, along)
        normal *= np.sign(normal[0])  # downwind
        total += flap * np.cross(along, normal) + lead * np.cross(along, motion)
    found = sum(
        np.array(loads.hub_part(flap, lead, math.sin(turn), math.cos(turn), side * math.sin(cone)))
        for turn, flap, lead in zip(azimuth, out_of_plane, in_plane, strict=True)
    )
    assert found == pytest.approx(total[1:], abs=1e-12)


def test_a_thrust_and_a_load_ahead_bend_the_towers_top_by_their_levers():
    # By hand: 700 kN two metres above the top, 1 MN m of the rotor, minus 3 MN m of what stands ahead.
    assert loads.tower_top(1e6, 7e5, 2.0, -3e6, 0.0, 0.0) == pytest.approx(-0.6e6)
    # 200 t, 1.5 m above the top, accelerated with 0.1 m/s2.
    assert loads.tower_top(0.0, 0.0, 2.0, 0.0, 3e5, 0.1) == pytest.approx(-3e4)


def test_every_channel_has_a_column_of_its_own():
    from sim.counting import channels, parts

    columns = channels(3)
    assert sorted(columns.values()) == list(range(at.TURNING))
    assert parts("shaft_bending", 3) == ["shaft_bending_1", "shaft_bending_2"]
    assert parts("root_in_plane", 2) == ["root_in_plane_1", "root_in_plane_2"]
    assert parts("hub_tilt", 3) == ["hub_tilt"]
