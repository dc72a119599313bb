"""Are the march's random numbers those of the published generator, and its sensors' noise what it says?"""

from __future__ import annotations

import numpy as np
import pytest

from sim.kernels.random import normal_pair, philox, uniforms
from sim.march import march
from sim.sensors import Sensor, SensorSuite
from sim.stack import Stack
from tests.plant_flocks import Steady, flock_of
from tests.plant_lanes import steady_wind

KEYS = [(0, 0), (1, 2), (2**64 - 1, 0x53454E53), (123456789, 2**63)]
COUNTERS = [(0, 0), (7, 3), (2**40, 5), (2**64 - 2, 1)]


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("counter", COUNTERS)
def test_philox_is_that_of_numpy(key, counter):
    """numpy.random.Philox, which counts up before it draws: Philox 4x64-10 of Salmon et al., SC11, 2011."""
    whole = (counter[0] + (counter[1] << 64) - 1) % 2**256
    words = [(whole >> (64 * n)) & (2**64 - 1) for n in range(4)]
    numpys = np.random.Philox(key=np.array(key, np.uint64), counter=np.array(words, np.uint64))
    ours = philox(*(np.uint64(word) for word in (*counter, *key)))
    assert [int(word) for word in ours] == [int(word) for word in numpys.random_raw(4)]


def test_uniforms_and_normals_follow_their_laws():
    """Kolmogorov-Smirnov against the exact laws, false alarm one in a thousand each, fixed keys."""
    from scipy.stats import kstest

    n = 20_000
    identity = np.arange(n, dtype=np.uint64)
    flat = uniforms(identity, np.full(n, 5), np.zeros(n, np.int64), np.uint64(9))
    assert kstest(flat, "uniform").pvalue > 1e-3
    rng = np.random.Generator(np.random.Philox(key=[1, 1]))
    words = rng.integers(0, 2**64, size=(n, 2), dtype=np.uint64)
    normal = np.array([normal_pair(a, b) for a, b in words])
    assert kstest(normal[:, 0], "norm").pvalue > 1e-3
    assert kstest(normal[:, 1], "norm").pvalue > 1e-3
    assert abs(np.corrcoef(normal.T)[0, 1]) < 3.3 / np.sqrt(n)


DEVIATION = {"rotor_speed": 0.01, "pitch": 0.002, "root_flap_moment": 2e5, "tower_acceleration": 0.05}


def sensed(delay: float, deviations: dict[str, float], seconds: float = 20.0, identity: int = 5):
    """Readings of one lane at every tick, and what was true at them."""
    suite = SensorSuite({name: Sensor(delay, deviation) for name, deviation in deviations.items()})
    flock = flock_of(
        [steady_wind(11.0, 0.2)], Stack([Steady()], ["steady"]), suite=suite, identity=[identity]
    )
    seen: dict[str, list] = {name: [] for name in deviations}

    def watch(flock, readings, *_):
        for name in seen:
            seen[name].append(np.array(getattr(readings, name)[0]))

    march(flock, 0.0, seconds, observe=watch)
    return {name: np.array(values) for name, values in seen.items()}


@pytest.fixture(scope="module")
def truth():
    return sensed(0.0, dict.fromkeys(DEVIATION, 0.0))


def test_a_delayed_reading_is_the_truth_of_that_many_ticks_ago(truth):
    late = sensed(0.12, dict.fromkeys(DEVIATION, 0.0), 4.0)
    for name, values in late.items():
        assert np.array_equal(values[3:], truth[name][: len(values) - 3]), name


def test_noise_is_white_and_has_the_deviation_that_was_asked_for(truth):
    """Exact laws of mean, variance, lag-one correlation; false alarm 1e-4 each, fixed key."""
    from scipy.stats import chi2

    noisy = sensed(0.0, DEVIATION)
    for name, deviation in DEVIATION.items():
        error = (noisy[name] - truth[name])[1:].reshape(-1, *np.shape(truth[name])[1:])
        n = len(error)
        assert np.abs(error.mean(axis=0)).max() < 3.9 * deviation / np.sqrt(n), name
        low, high = chi2.ppf([0.5e-4, 1.0 - 0.5e-4], n)
        total = (error**2).sum(axis=0) / deviation**2
        assert np.all((low < total) & (total < high)), name
        lag = (error[1:] * error[:-1]).sum(axis=0) / (error**2).sum(axis=0)
        assert np.abs(lag).max() < 3.9 / np.sqrt(n), name


def test_noise_belongs_to_the_lane_and_to_the_sampled_tick(truth):
    """A delayed reading carries the noise of its own sample; another lane has other noise."""
    prompt, late = sensed(0.0, DEVIATION, 4.0), sensed(0.12, DEVIATION, 4.0)
    other = sensed(0.0, DEVIATION, 4.0, identity=6)
    for name in DEVIATION:
        assert np.array_equal(late[name][3:], prompt[name][:-3]), name
        assert not np.any(other[name] == prompt[name]), name
