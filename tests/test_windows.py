"""Are sampled windows the same however they are grouped, and are their fields those of the normals?"""

from __future__ import annotations

from dataclasses import replace
from math import sqrt
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from scenarios.load import load_scenario
from scenarios.studies.window_runs import WITH, WITHOUT, speed_bins, stacks_of, stratum_of
from scenarios.window_fields import Fields, whole
from scenarios.window_job import Doubt, Sampling, Span, WindowJob
from scenarios.windows import Row, _march, begin, drawn, sample
from sim.errors import InputError
from sim.kernels import layout as at
from sim.plant.pack import pack_designs
from sim.plant.uncertain import varied
from sim.wind.standard import sigma_at
from tests.brisk import FILE

SPAN = Span(6.0, 4.0, 8.0)
DOUBT = Doubt(0.1, 0.03, 0.3, 0.15)


@pytest.fixture(scope="module")
def scenario():
    return load_scenario(FILE)


def strata(scenario):
    layers = stacks_of(scenario)[WITH]
    bins = speed_bins(scenario)
    return [stratum_of(scenario, layers, speeds, middle, DOUBT) for speeds, middle, _ in bins]


def job(parts, method="subset", samples=20):
    return WindowJob(tuple(parts), SPAN, Sampling(method, samples, 1e-2, 3), WITH)


@pytest.mark.slow
def test_a_stratum_gives_the_same_bits_alone_and_beside_another(scenario):
    parts = strata(scenario)
    both, alone = sample(job(parts)), sample(job(parts[1:]))
    assert alone["evaluations"][0] > 20
    for name in alone:
        if name != "required_m":
            np.testing.assert_array_equal(both[name][1], alone[name][0], err_msg=name)


def test_a_moved_field_is_the_rotation_of_its_parents_normals(scenario):
    wind = strata(scenario)[0].base.wind
    fields = Fields("key", wind, 60.0, 10.0)
    first = fields.move(0, -1, 1.0)
    fields.keep({0: first}, {0})
    second = fields.move(1, 0, 0.6)
    fresh = Fields("key", wind, 60.0, 10.0).fresh(1)
    assert second == pytest.approx(0.8 * first + 0.6 * fresh, abs=1e-6)
    # The law is kept: variance over many moved fields is that of fresh ones; 225 points of one field count
    # for about 20 independent ones, four standard deviations of a mean square from 40 such fields: 0.2.
    moved = [fields.move(2 + n, 0, 0.6)[::40] for n in range(40)]
    fresh = [fields.fresh(100 + n)[::40] for n in range(40)]
    apart = [mine - 0.8 * first[::40] for mine in moved]
    assert np.mean(np.square(apart)) == pytest.approx(0.36 * np.mean(np.square(fresh)), rel=0.2)
    fields.keep({}, set())
    with pytest.raises(KeyError):
        fields.move(200, 0, 0.5)


def test_noise_is_drawn_afresh_as_often_as_moves_are_long(scenario):
    fields = Fields("noise", strata(scenario)[0].base.wind, 60.0, 10.0)
    fields.identities = [7]
    for length in (0.1, 0.6):
        kept = np.mean([fields._identity(n, 0, length) == 7 for n in range(1, 2001)])
        assert kept == pytest.approx(1.0 - length, abs=0.045)  # four standard deviations of 2000 draws
    assert fields._identity(5, -1, 0.0) != 7


@pytest.mark.slow
def test_the_stack_beside_meets_the_same_windows(scenario):
    speeds, middle, _ = speed_bins(scenario)[-1]
    doubt = Doubt(aerodynamics=0.5)
    stacks = stacks_of(scenario)
    stratum = stratum_of(scenario, stacks[WITHOUT], speeds, middle, doubt)
    sampling = Sampling("subset", 24, 1e-2, 3)
    same = WindowJob((stratum,), SPAN, sampling, WITHOUT, stacks[WITHOUT])
    other = WindowJob((stratum,), SPAN, sampling, WITHOUT, stacks[WITH])
    one, two = sample(same), sample(other)
    assert one["nearest_m"].shape == (1, 2) and one["beside_windows"][0] > 0
    # Under itself a window comes as near as it came, and what strikes is missed, not caused.
    for name in ("nearest_m", "probability", "rate_per_s", "curve_probability"):
        assert np.array_equal(one[name][:, 0], one[name][:, 1]), name
    assert one["beside_least_m"][0] <= one["beside_below_m"][0]
    assert one["caused_per_s"][0] == 0.0 and one["missed_per_s"][0] == one["rate_per_s"][0, 0, 0]
    assert two["nearest_m"][0, 1] > two["nearest_m"][0, 0]  # the guard lifts the blade
    assert two["simulated_s"][0] == 2.0 * two["evaluations"][0] * SPAN.whole
    assert same.key != other.key


def test_only_the_judged_part_of_a_window_is_told(scenario):
    told = job(strata(scenario)[:1])
    marcher = SimpleNamespace(
        job=told,
        required=3.9,
        world=SimpleNamespace(turbines=[scenario.candidate.design]),
        march=lambda rows, boxes: [(np.array([1.0, 5.0]), np.array([0.5, 3.0]), None)] * len(rows),
    )
    item = begin(told, told.strata[0], marcher)
    _march(marcher, [Row(item, 0, np.zeros(3), -1, 1.0)], [np.zeros(1)], 0)
    assert item.nearest.tolist() == [3.0]  # what came at 0.5 m did so within the lead of 4 s
    assert item.told().tolist() == [3.0 + 3.9]
    assert item.passes[0][0][1].tolist() == [0.5, 3.0]  # kept, for the clusters


def test_fields_of_one_component_are_laid_out_as_the_kernels_want_them():
    boxes = [np.full((4, 1, 6), 2.0, np.float32), np.full((4, 1, 6), 3.0, np.float32)]
    joined = whole(boxes)
    assert joined.shape == (2, 4, 18)
    assert np.all(joined[1, :, :6] == 3.0) and not joined[1, :, 6:].any()


def test_normals_stand_for_the_distributions_that_are_stated(scenario):
    stratum = strata(scenario)[0]
    low, high = stratum.speeds
    site = stratum.site
    names = stratum.normals
    draws = stats.qmc.MultivariateNormalQMC(np.zeros(len(names)), rng=1).random(1024)
    told = [drawn(stratum, row) for row in draws]
    speed = np.array([item["speed"] for item in told])
    assert low <= speed.min() and speed.max() <= high
    law = stats.rayleigh(scale=site.vave / sqrt(np.pi / 2.0))
    inside = lambda v: (law.cdf(v) - law.cdf(low)) / (law.cdf(high) - law.cdf(low))  # noqa: E731
    assert np.max(np.abs(np.sort(inside(speed)) - (np.arange(1024) + 0.5) / 1024)) < 0.02
    still = np.zeros(len(names))
    middle = drawn(replace(stratum, doubt=Doubt()), still[:3])
    assert middle["sigma"] == pytest.approx(sigma_at(site, middle["speed"], 0.5), rel=1e-12)
    for name in DOUBT.names:  # lognormal of mean 1 and the stated coefficient of variation
        column = np.array([item[name] for item in told])
        assert np.mean(column) == pytest.approx(1.0, abs=0.01)
        assert np.std(column) == pytest.approx(getattr(DOUBT, name), rel=0.05)


def test_a_varied_design_has_the_natural_frequency_and_damping_of_its_factors(scenario):
    design = pack_designs([scenario.candidate.design])
    many = varied(design, [1.0, 1.2], [1.0, 0.81], [1.0, 2.0])
    assert np.array_equal(many.matrices[0], design.matrices[0])
    assert many.scalars[1, at.DENSITY] == pytest.approx(1.2 * design.scalars[0, at.DENSITY])
    stiff = many.matrices[1, 0, at.MAT_K, 0, 0] / design.matrices[0, 0, at.MAT_K, 0, 0]
    assert sqrt(stiff) == pytest.approx(0.9)
    # c = 2 ratio sqrt(k m): twice the ratio at 0.9 of the frequency.
    damp = many.matrices[1, 0, at.MAT_C, 0, 0] / design.matrices[0, 0, at.MAT_C, 0, 0]
    assert damp == pytest.approx(1.8)


@pytest.mark.slow
def test_softer_blades_and_heavier_loads_come_nearer(scenario):
    layers = stacks_of(scenario)[WITHOUT]
    speeds, middle, _ = speed_bins(scenario)[0]

    def nearest(doubt):
        stratum = stratum_of(scenario, layers, speeds, middle, doubt)
        return sample(job([stratum], "crude", 32))["nearest_m"][0]

    assert nearest(Doubt(aerodynamics=0.4)) < nearest(Doubt())


def test_joined_bins_keep_the_hours(scenario):
    one = speed_bins(scenario, 1)
    every = speed_bins(scenario)
    assert len(one) == 1 and len(every) == 2
    assert one[0][0] == (every[0][0][0], every[-1][0][1])
    assert one[0][2] == pytest.approx(sum(item[2] for item in every))
    # The spectra are those of the speed nearest to the mean over the hours, here by hand.
    mean = sum(0.5 * sum(item[0]) * item[2] for item in every) / one[0][2]
    assert one[0][1] == min((item[1] for item in every), key=lambda speed: abs(speed - mean))


def test_odds_need_normal_turbulence():
    scenario = load_scenario("bad-day")
    with pytest.raises(InputError, match="no winds of kind 'normal_turbulence'; odds are counted there"):
        speed_bins(scenario)
