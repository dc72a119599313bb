"""Polars over 360 degrees: closed forms at the joints, the exact split by separation, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.design import Section
from sim.errors import InputError
from sim.plant.polar import GRID, attached_line, extend, static_polar
from sim.plant.section import (
    ATTACHED_LIFT,
    DRAG,
    MOMENT,
    SEPARATED_LIFT,
    SEPARATION_POINT,
    blend,
    build_polars,
    separate,
    stations,
)
from tests.reference_rotor import reference_turbine

DEGREE = np.pi / 180
ASPECT = 17.0


def foil(slope=6.2, zero=-0.07, top=1.4, bottom=-0.8, drag=0.006) -> Section:
    return Section("foil", 0.21, False, slope, zero, top, bottom, drag, -0.1, None)


def tabulated(table) -> Section:
    nan = float("nan")
    return Section("measured", 0.21, False, nan, nan, nan, nan, nan, nan, np.asarray(table, dtype=float))


foils = st.builds(
    foil,
    slope=st.floats(4.0, 7.6),
    zero=st.floats(-0.1, 0.0),
    top=st.floats(1.0, 2.0),
    bottom=st.floats(-1.2, -0.4),
    drag=st.floats(0.0, 0.02),
)
steadily = settings(deadline=None, derandomize=True, max_examples=60)


@steadily
@given(foils)
def test_split_gives_back_the_static_lift_at_every_row(section):
    """Hansen, Gaunaa, Madsen, Risø-R-1354(EN), 2004: cl = f cl_att + (1 - f) cl_sep."""
    polar = static_polar(section, ASPECT)
    table = separate(polar)
    f = table[:, SEPARATION_POINT]
    lift = f * table[:, ATTACHED_LIFT] + (1 - f) * table[:, SEPARATED_LIFT]
    assert np.abs(lift - polar.lift).max() < 1e-13
    assert f.min() >= 0.0
    assert f.max() == 1.0


@steadily
@given(foils)
def test_polars_stay_bounded_and_close_at_180_degrees(section):
    table = separate(static_polar(section, ASPECT))
    assert np.abs(table[0] - table[-1]).max() < 1e-12
    assert np.abs(table[:, ATTACHED_LIFT]).max() < 8.0
    assert np.abs(table[:, SEPARATED_LIFT]).max() < 2.5
    assert table[:, DRAG].min() >= 0.0


def test_separation_point_follows_kirchhoff_between_attached_and_separated():
    """Kirchhoff and Helmholtz (as in the same report): cl = cl_att ((1 + sqrt f) / 2)^2 where 0 < f < 1."""
    polar = static_polar(foil(), ASPECT)
    table = separate(polar)
    f, attached = table[:, SEPARATION_POINT], table[:, ATTACHED_LIFT]
    rows = (f > 0.01) & (f < 0.999) & (np.abs(GRID + 0.07) < 29 * DEGREE)
    assert rows.sum() > 20
    assert polar.lift[rows] == pytest.approx(attached[rows] * ((1 + np.sqrt(f[rows])) / 2) ** 2, rel=1e-9)


def test_small_angles_are_attached_and_large_ones_separated():
    f = separate(static_polar(foil(), ASPECT))[:, SEPARATION_POINT]
    assert np.all(f[np.abs(GRID) < 4 * DEGREE] > 0.999)
    assert np.all(f[np.abs(GRID) > 50 * DEGREE] == 0.0)


def test_lift_is_a_line_until_seven_tenths_of_its_maximum():
    polar = static_polar(foil(), ASPECT)
    line = 6.2 * (GRID + 0.07)
    linear = (line < 0.7 * 1.4) & (line > -0.7 * 0.8)
    assert polar.lift[linear] == pytest.approx(line[linear], abs=1e-12)
    for found, limit in ((np.max(polar.lift), 1.4), (np.min(polar.lift[165:180]), -0.8)):
        parabola = (6.2 * DEGREE) ** 2 / (4 * 0.3 * abs(limit))  # one row before the peak at most
        assert abs(limit) - parabola <= abs(found) <= abs(limit)


def test_extension_meets_its_closed_form():
    """Viterna and Janetzke, NASA TM-82944, 1982 (from memory): stall at 15 deg, cl 1.3, cd 0.03."""
    known = static_polar(foil(), ASPECT)
    found = extend(
        known, np.array([-15.0, 15.0]) * DEGREE, np.array([-1.0, 1.3]), np.array([0.03, 0.03]), ASPECT
    )
    peak, stall = 1.11 + 0.018 * ASPECT, 15 * DEGREE
    for degrees in (20, 45, 80):
        a = degrees * DEGREE
        k_lift = (1.3 - peak * np.sin(stall) * np.cos(stall)) * np.sin(stall) / np.cos(stall) ** 2
        k_drag = (0.03 - peak * np.sin(stall) ** 2) / np.cos(stall)
        lift = peak * np.sin(a) * np.cos(a) + k_lift * np.cos(a) ** 2 / np.sin(a)
        assert found.lift[180 + degrees] == pytest.approx(lift, rel=1e-12)
        assert found.drag[180 + degrees] == pytest.approx(
            peak * np.sin(a) ** 2 + k_drag * np.cos(a), rel=1e-12
        )


def test_square_to_the_flow_there_is_drag_alone():
    """Same source: cd_max = 1.11 + 0.018 AR, 1.416 for AR 17; a flat plate there has no lift."""
    polar = static_polar(foil(), ASPECT)
    for row in (90, 270):
        assert polar.drag[row] == pytest.approx(1.416, abs=1e-12)
        assert polar.lift[row] == pytest.approx(0.0, abs=1e-12)


@steadily
@given(foils)
def test_extension_joins_without_a_jump(section):
    """Within 1 degree lift may change by the slope (below 0.14) and by the fall behind the peak, not more."""
    polar = static_polar(section, ASPECT)
    assert np.abs(np.diff(polar.lift)).max() < 0.16
    assert np.abs(np.diff(polar.drag)).max() < 0.05


def test_centre_of_pressure_lies_at_half_chord_square_to_the_flow():
    """Half chord is a quarter chord behind the reference: cm = -cn/4 (symmetry of the plate)."""
    polar = static_polar(foil(), ASPECT)
    assert polar.moment[270] == pytest.approx(-polar.drag[270] / 4, rel=1e-9)
    assert polar.moment[90] == pytest.approx(polar.drag[90] / 4, rel=1e-9)


def test_centre_of_pressure_lies_forward_of_half_chord_when_the_flow_comes_from_the_front():
    """0.5 - 0.175 (1 - 2 |a| / pi): at 45 deg 0.4125 chords, 0.1625 behind the quarter (from memory)."""
    polar = static_polar(foil(), ASPECT)
    normal = (polar.lift[225] + polar.drag[225]) * math.sqrt(0.5)
    assert polar.moment[225] == pytest.approx(-0.1625 * normal, rel=1e-9)


def test_a_round_section_has_drag_alone():
    section = Section("round", 1.0, True, 0.0, 0.0, 0.0, 0.0, 0.5, 0.0, None)
    table = separate(static_polar(section, ASPECT))
    assert np.all(table[:, DRAG] == 0.5)
    assert np.all(table[:, [ATTACHED_LIFT, SEPARATED_LIFT, MOMENT]] == 0.0)


def test_a_table_all_around_is_taken_as_it_is():
    alpha = np.arange(-180.0, 181.0, 10.0)
    lift, drag = np.sin(2 * alpha * DEGREE), 1 - np.cos(2 * alpha * DEGREE)
    polar = static_polar(tabulated(np.stack([alpha * DEGREE, lift, drag, 0 * lift], axis=1)), ASPECT)
    assert polar.lift[::10] == pytest.approx(lift, abs=1e-12)
    assert polar.drag[::10] == pytest.approx(drag, abs=1e-12)


def test_a_short_table_is_kept_inside_and_extended_outside():
    alpha = np.arange(-12.0, 15.1, 1.0)
    lift = 6.0 * (alpha + 3) * DEGREE
    table = np.stack([alpha * DEGREE, lift, np.full_like(lift, 0.01), np.full_like(lift, -0.05)], axis=1)
    polar = static_polar(tabulated(table), ASPECT)
    assert polar.lift[168:196] == pytest.approx(lift, abs=1e-12)
    assert polar.slope == pytest.approx(6.0, rel=1e-9)
    assert polar.zero == pytest.approx(-3 * DEGREE, abs=1e-12)
    assert abs(polar.lift[196] - polar.lift[195]) < 0.25
    assert polar.drag[270] == pytest.approx(1.416, abs=1e-9)


def test_noise_in_a_table_does_not_break_the_split():
    noise = np.random.Generator(np.random.Philox(key=7)).normal(0.0, 0.01, GRID.size)
    clean = static_polar(foil(), ASPECT)
    table = np.stack([GRID, clean.lift + noise, clean.drag, clean.moment], axis=1)
    polar = static_polar(tabulated(table), ASPECT)
    split = separate(polar)
    f = split[:, SEPARATION_POINT]
    assert np.isfinite(split).all()
    assert np.abs(f * split[:, 0] + (1 - f) * split[:, 2] - polar.lift).max() < 1e-12
    assert np.abs(split[:, SEPARATED_LIFT]).max() < 2.5


@pytest.mark.parametrize("ends", [(-4, 15), (-100, 100), (-10, 3)])
def test_a_table_that_ends_in_the_wrong_place_is_refused(ends):
    alpha = np.linspace(*ends, 20) * DEGREE
    table = np.stack([alpha, 6 * alpha, 0.01 + 0 * alpha, 0 * alpha], axis=1)
    with pytest.raises(InputError, match=r"section measured: polar table covers .* must span"):
        static_polar(tabulated(table), ASPECT)


def test_slope_and_zero_lift_of_a_table_are_those_of_its_line():
    alpha = np.arange(-20.0, 21.0) * DEGREE
    assert attached_line(alpha, 5.5 * (alpha + 0.05)) == pytest.approx((5.5, -0.05), rel=1e-9)
    assert attached_line(alpha, 0 * alpha) == (0.0, 0.0)


def test_halfway_between_two_sections_lies_their_mean():
    one, two = static_polar(foil(), ASPECT), static_polar(foil(slope=5.0, zero=0.0, top=1.2), ASPECT)
    mean = blend([one, two], 0.5)
    assert mean.lift == pytest.approx((one.lift + two.lift) / 2, abs=1e-14)
    assert mean.slope == pytest.approx(5.6, rel=1e-12)
    assert mean.slope * (0.02 - mean.zero) == pytest.approx((6.2 * 0.09 + 5.0 * 0.02) / 2, rel=1e-12)


def test_stations_tile_the_blade_and_shrink_towards_the_tip():
    edges, centres, widths = stations(reference_turbine())
    assert (edges[0], edges[-1]) == (1.5, 63.0)
    assert widths.sum() == pytest.approx(61.5, rel=1e-14)
    assert np.all(np.diff(widths) < 0)
    assert centres == pytest.approx((edges[1:] + edges[:-1]) / 2, rel=1e-14)


def test_every_station_of_the_published_blade_gets_the_section_of_its_thickness():
    polars = build_polars(reference_turbine())
    assert polars.table.shape == (20, 361, 5)
    outer = polars.thickness_ratio <= 0.18 + 1e-12
    assert outer.sum() >= 8
    assert polars.lift_slope[outer] == pytest.approx(6.0, rel=1e-12)
    assert polars.table[0, :, DRAG] == pytest.approx(0.5, abs=1e-12)
    middle = np.argmin(np.abs(polars.radius - 10.0))  # between the round root and the 40 % section
    assert 0.0 < polars.lift_slope[middle] < 7.49
