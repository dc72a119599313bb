"""Sensors against exact sequences and against the laws of their noise, drift and drop-outs.

False-alarm rates are stated at each statistical check; numbers are keyed, so a check that passes stays so.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy import stats

from sim.errors import InputError
from sim.faults import FaultSpec, lay_out
from sim.kernels import layout as at
from sim.kernels import sensing
from sim.kernels.nacelle import beam_place, forward_wind, wind_at
from sim.kernels.random import normal_quantile
from sim.plant.air import wind_arrays
from sim.sensors import (
    CHANNELS,
    Sensor,
    SensorSuite,
    fresh_memory,
    make_readings,
    quantile_table,
    steady_inductions,
)
from sim.wind.field import pack_winds
from sim.wind.spec import WindSpec
from tests.plant_lanes import rig, steady_wind, turbine

PERIOD = 0.04
FALSE_ALARM = 1e-4


@cache
def world():
    """One settled lane, and what the sensors need of its turbine and wind."""
    lane = rig(turbine(), [steady_wind(11.0)], seconds=30.0).march(20.0)
    return lane, steady_inductions([turbine()])


class Bench:
    """Sensors of many equal lanes, whose true values the test sets tick by tick."""

    def __init__(self, suite: SensorSuite, lanes: int = 1, faults=(), identity=None, depth: int = 40):
        lane, self.induction = world()
        self.rig = lane
        self.chain = suite.chain(PERIOD)
        self.memory = fresh_memory(lanes, depth)
        self.lanes = at.Lanes(*(np.repeat(column, lanes, axis=0) for column in lane.lanes))
        self.identity = np.arange(lanes, dtype=np.uint64) if identity is None else identity
        self.faults = lay_out(list(faults) or [()] * lanes, 0.0, PERIOD)

    def sense(self, tick: int, **true: object):
        """Return readings of all lanes at a tick; ``true`` sets columns of what the plant puts out."""
        for name, value in true.items():
            if name == "last_pass":
                self.lanes.last_pass[:], self.lanes.last_pass_tick[:] = value
            else:
                first = getattr(at, f"OUT_{name}")
                wide = np.atleast_1d(value)
                self.lanes.out[:, first : first + len(wide)] = wide
        self.lanes.tick[:] = tick
        shape = (len(self.identity), sensing.CHANNELS)
        reading, valid, age = np.empty(shape), np.empty(shape, bool), np.empty(shape)
        sensing.sense(
            reading, valid, age, self.memory, self.lanes, self.identity, self.chain, self.faults,
            self.rig.design, self.induction, self.rig.wind, PERIOD, 3,
        )  # fmt: skip
        return make_readings(reading, valid, age, self.lanes.tick.copy(), PERIOD, 3)


def one(name: str, **sensor: float) -> SensorSuite:
    return SensorSuite({name: Sensor(**({"delay": 0.0, "deviation": 0.0} | sensor))})


def test_the_quantile_of_the_noise_is_that_of_the_normal_law():
    """scipy's norm.ppf as reference: 1e-6 in the middle, 1e-6 of it in tails down to 32 bits."""
    table = quantile_table()
    tail = 10.0 ** np.linspace(-9.6, -1.0, 400)
    shares = np.concatenate([np.linspace(0.001, 0.999, 5000), tail, 1.0 - tail])
    ours = np.array([normal_quantile(share, table) for share in shares])
    assert ours == pytest.approx(stats.norm.ppf(shares), abs=2e-6)


@pytest.mark.parametrize(("every", "delay"), [(1, 0), (1, 3), (5, 0), (5, 3), (4, 9)])
def test_samples_are_held_and_delayed_by_the_exact_sequence(every, delay):
    """Definition: at tick t the reading is that of the last multiple of ``every`` up to t - ``delay``."""
    bench = Bench(one("rotor_speed", delay=delay * PERIOD, sampling=every * PERIOD))
    for tick in range(60):
        seen = bench.sense(tick, SPEED=100.0 + tick)
        sampled = max(tick - delay, 0) // every * every
        assert seen.rotor_speed[0] == 100.0 + sampled
        assert seen.age["rotor_speed"][0] == pytest.approx((tick - sampled) * PERIOD, abs=1e-12)
        assert seen.valid["rotor_speed"][0]


def test_bias_and_digits_give_the_nearest_multiple_of_the_step():
    bench = Bench(one("power", bias=30.0, quantum=250.0))
    for tick, power in enumerate(np.linspace(-900.0, 4.4e6, 50)):
        told = bench.sense(tick, POWER=power).power[0]
        assert told % 250.0 == 0.0
        assert abs(told - (power + 30.0)) <= 125.0


def test_the_azimuth_comes_back_within_a_turn():
    bench = Bench(one("azimuth", bias=0.5))
    told = bench.sense(0, AZIMUTH=2.0 * np.pi - 0.1).azimuth[0]
    assert told == pytest.approx(0.4)


def test_noise_is_white_and_normal_with_the_stated_deviation():
    """Sum of squares: chi-square; neighbours in time, lane and blade: uncorrelated; Kolmogorov: normal."""
    lanes, ticks, deviation = 40, 400, 2.0e5
    bench = Bench(one("root_flap_moment", deviation=deviation), lanes)
    seen = np.stack([bench.sense(t, FLAP=np.full(3, 7e6)).root_flap_moment for t in range(ticks)])
    unit = (seen - 7e6) / deviation
    count = unit.size
    low, high = stats.chi2.ppf([FALSE_ALARM / 2, 1 - FALSE_ALARM / 2], count)
    assert low < np.sum(unit**2) < high
    assert stats.kstest(unit.ravel(), "norm").pvalue > FALSE_ALARM
    bound = stats.norm.isf(FALSE_ALARM / 2) / np.sqrt(count)
    for one_way, other in (
        (unit[1:], unit[:-1]), (unit[:, 1:], unit[:, :-1]), (unit[..., 1:], unit[..., :-1]),
    ):  # fmt: skip
        assert abs(np.mean(one_way * other)) < 1.2 * bound


@pytest.mark.parametrize("what", ["noise", "losses"])
def test_no_two_channels_share_their_random_numbers(what):
    """Every pair of the channels that are always seen: correlation within its own scatter."""
    names = [name for name in CHANNELS if name not in ("tip_distance", "last_pass_clearance", "wind_preview")]
    lossy = {"loss_share": 0.5, "loss_length": 0.08} if what == "losses" else {}
    bench, rows = Bench(SensorSuite({n: Sensor(0.0, 1.0, **lossy) for n in names}), 20), []
    for tick in range(300):
        seen = bench.sense(tick)
        told = seen.valid if what == "losses" else {name: getattr(seen, name) for name in names}
        rows.append(np.concatenate([np.reshape(told[name], (20, -1)) for name in names], axis=1))
    table = np.array(rows, float).reshape(300 * 20, -1)
    count = table.shape[1]
    bound = stats.norm.isf(FALSE_ALARM / count**2) / np.sqrt(len(table))
    assert count == 16  # three blades of three sensors, five single ones, two of the tower top
    assert np.max(np.abs(np.corrcoef(table, rowvar=False) - np.eye(count))) < bound


def test_drift_is_a_random_walk_that_starts_at_nothing_and_has_its_deviation_after_an_hour():
    lanes, drift = 300, 5.0
    bench = Bench(one("power", drift=drift), lanes)
    steps = [bench.sense(0, POWER=0.0).power]
    assert np.all(steps[0] == 0.0)
    for second in range(1, 3601):
        steps.append(bench.sense(25 * second, POWER=0.0).power)
    walk = np.stack(steps)
    low, high = stats.chi2.ppf([FALSE_ALARM / 2, 1 - FALSE_ALARM / 2], lanes)
    for seconds in (900, 3600):  # variance grows in proportion to time
        share = np.sum(walk[seconds] ** 2) / (drift**2 * seconds / 3600.0)
        assert low < share < high
    moves = np.diff(walk, axis=0)
    bound = stats.norm.isf(FALSE_ALARM / 2) / np.sqrt(moves.size)
    assert abs(np.mean(moves[1:] * moves[:-1])) / np.var(moves) < 1.2 * bound


def run_lengths(lost: np.ndarray) -> np.ndarray:
    """Lengths of the runs of True down each column, runs cut by either end left out."""
    lengths = []
    for column in lost.T:
        edges = np.flatnonzero(np.diff(np.concatenate([[False], column, [False]]).astype(int)))
        starts, ends = edges[::2], edges[1::2]
        whole = (starts > 0) & (ends < len(column))
        lengths.extend((ends - starts)[whole])
    return np.array(lengths)


def test_drop_outs_have_geometric_lengths_and_their_share_of_the_samples():
    """Chi-square of the run lengths against P(n) = (1 - q) q^(n - 1), mean 1/(1 - q) samples."""
    lanes, ticks, share, mean = 200, 1500, 0.1, 4.0
    bench = Bench(one("power", loss_share=share, loss_length=mean * PERIOD), lanes)
    lost = np.stack([~bench.sense(t, POWER=1.0).valid["power"] for t in range(ticks)])
    lengths = run_lengths(lost)
    q = 1.0 - 1.0 / mean
    edges = np.arange(1, 16)
    expected = np.append((1 - q) * q ** (edges - 1), q**15) * len(lengths)
    observed = np.array([*(np.sum(lengths == n) for n in edges), np.sum(lengths > 15)])
    assert stats.chisquare(observed, expected).pvalue > FALSE_ALARM
    # samples are correlated over a run: variance of the mean is about (2 mean - 1) times that of coins
    spread = np.sqrt(share * (1 - share) * (2 * mean - 1) / lost.size)
    assert abs(lost.mean() - share) < stats.norm.isf(FALSE_ALARM / 2) * spread + 2 * mean / ticks * share


def test_a_lost_sample_keeps_the_last_value_and_ages_and_is_not_vouched_for():
    bench = Bench(one("power", loss_share=0.5, loss_length=0.2), lanes=8)
    last, stamp = np.full(8, np.nan), np.full(8, -1)
    for tick in range(200):
        seen = bench.sense(tick, POWER=float(tick))
        fresh = seen.valid["power"]
        last, stamp = np.where(fresh, tick, last), np.where(fresh, tick, stamp)
        assert np.array_equal(seen.power, last, equal_nan=True)
        expected = np.where(stamp >= 0, tick - stamp, tick) * PERIOD
        assert seen.age["power"] == pytest.approx(expected)
    assert np.sum(np.isfinite(last)) > 0


def test_a_sensor_that_is_not_fitted_says_nothing_and_vouches_for_nothing():
    seen = Bench(one("power")).sense(0)
    assert np.isnan(seen.wind_speed[0]) and not seen.valid["wind_speed"][0]
    assert np.isnan(seen.tip_distance).all() and not seen.valid["tip_distance"].any()


def test_the_tip_is_seen_within_the_field_of_view_only_and_its_last_distance_ages():
    suite = SensorSuite({"tip_distance": Sensor(0.0, 0.0)}, sight=np.radians(10.0), reach=20.0)
    bench = Bench(suite)
    told = {}
    for tick, degrees in enumerate((165.0, 171.0, 180.0, 189.0, 191.0, 200.0)):
        seen = bench.sense(tick, AZIMUTH=np.radians(degrees), DISTANCE=[5.0 + tick, np.nan, np.nan])
        told[degrees] = (
            seen.tip_distance[0, 0],
            seen.valid["tip_distance"][0, 0],
            seen.age["tip_distance"][0, 0],
        )
    assert np.isnan(told[165.0][0]) and not told[165.0][1]
    assert told[171.0][:2] == (6.0, True) and told[189.0][:2] == (8.0, True)
    assert told[200.0][:2] == (8.0, False)
    assert told[200.0][2] == pytest.approx(2 * PERIOD)


def test_a_tip_beyond_the_sensors_reach_is_not_seen():
    suite = SensorSuite({"tip_distance": Sensor(0.0, 0.0)}, reach=4.0)
    seen = Bench(suite).sense(0, AZIMUTH=np.pi, DISTANCE=[5.0, np.nan, np.nan])
    assert not seen.valid["tip_distance"][0, 0]


def test_a_measured_pass_keeps_one_noise_until_the_next_and_its_age_counts_from_the_pass():
    bench = Bench(one("last_pass_clearance", deviation=0.2), lanes=3)
    before = bench.sense(0, last_pass=(np.nan, 0))
    assert np.isnan(before.last_pass_clearance).all() and not before.valid["last_pass_clearance"].any()
    first = [bench.sense(t, last_pass=(6.0, 10)) for t in range(10, 30)]
    second = bench.sense(30, last_pass=(6.0, 30))
    assert all(np.array_equal(s.last_pass_clearance, first[0].last_pass_clearance) for s in first)
    assert first[-1].age["last_pass_clearance"] == pytest.approx(19 * PERIOD)
    assert np.all(second.last_pass_clearance != first[0].last_pass_clearance)


def test_readings_do_not_depend_on_the_company_or_its_order():
    suite = SensorSuite(
        {name: Sensor(0.08, 1.0, drift=1.0, loss_share=0.2, loss_length=0.1) for name in ("power", "pitch")}
    )
    names = np.array([7, 3, 9, 4], np.uint64)
    order = np.array([2, 0, 3])
    many, few = Bench(suite, 4, identity=names), Bench(suite, 3, identity=names[order])
    for tick in range(100):
        all_, some = many.sense(tick, POWER=3.0), few.sense(tick, POWER=3.0)
        assert np.array_equal(all_.pitch[order], some.pitch, equal_nan=True)
        assert np.array_equal(all_.power[order], some.power, equal_nan=True)
        assert np.array_equal(all_.valid["power"][order], some.valid["power"])


def broken(kind: str, sensor: str, **more) -> tuple[FaultSpec, ...]:
    return (FaultSpec(kind, 10 * PERIOD, 20 * PERIOD, sensor=sensor, **more),)


def marched(suite: SensorSuite, faults, ticks: int = 40):
    """Readings of the rotor speed (or another) whose truth is 100 + tick."""
    bench = Bench(suite, faults=[faults])
    return [
        bench.sense(t, SPEED=100.0 + t, AZIMUTH=0.01 * t, FLAP=[t, 1e3 + t, 2e3 + t]) for t in range(ticks)
    ]


def test_a_frozen_sensor_repeats_itself_and_vouches_for_it():
    seen = marched(one("rotor_speed"), broken("sensor_frozen", "rotor_speed"))
    told = [s.rotor_speed[0] for s in seen]
    assert told == [100.0 + (9 if 10 <= t < 30 else t) for t in range(40)]
    assert all(s.valid["rotor_speed"][0] and s.age["rotor_speed"][0] == 0.0 for s in seen)


def test_a_silent_sensor_is_known_to_be():
    seen = marched(one("rotor_speed"), broken("sensor_silent", "rotor_speed"))
    assert [bool(s.valid["rotor_speed"][0]) for s in seen] == [not 10 <= t < 30 for t in range(40)]
    assert seen[29].rotor_speed[0] == 109.0
    assert seen[29].age["rotor_speed"][0] == pytest.approx(20 * PERIOD)


def test_a_biased_sensor_is_wrong_by_its_size_and_a_drifting_one_evenly_more_so():
    biased = [
        s.rotor_speed[0]
        for s in marched(one("rotor_speed"), broken("sensor_biased", "rotor_speed", size=7.0))
    ]
    assert biased == [100.0 + t + (7.0 if 10 <= t < 30 else 0.0) for t in range(40)]
    drifts = [
        s.rotor_speed[0]
        for s in marched(one("rotor_speed"), broken("sensor_drifting", "rotor_speed", size=20.0))
    ]
    assert drifts == pytest.approx([100.0 + t + (t - 10 if 10 <= t < 30 else 0.0) for t in range(40)])


def test_a_delayed_sensor_stands_still_and_then_runs_late_without_telling():
    seen = marched(one("rotor_speed"), broken("sensor_delayed", "rotor_speed", size=5 * PERIOD))
    told = [s.rotor_speed[0] - 100.0 for s in seen]
    assert told[9:16] == [9, 10, 10, 10, 10, 10, 10]
    assert told[20] == 15 and told[29] == 24 and told[30] == 30
    assert all(s.age["rotor_speed"][0] == 0.0 for s in seen)


def test_another_blades_reading_is_told_for_the_blade_that_is_named():
    seen = marched(one("root_flap_moment"), broken("other_blade", "root_flap_moment", blade=2))[15]
    assert seen.root_flap_moment[0].tolist() == [15.0, 1015.0, 15.0]
    assert seen.valid["root_flap_moment"].all()


def test_an_encoder_that_slipped_is_off_by_its_size_within_a_turn():
    seen = marched(one("azimuth"), broken("encoder_slip", "azimuth", size=-1.0))
    assert seen[20].azimuth[0] == pytest.approx(0.2 - 1.0 + 2.0 * np.pi)
    assert seen[35].azimuth[0] == pytest.approx(0.35)


def test_a_noisy_fault_adds_its_variance():
    bench = Bench(
        one("rotor_speed"),
        60,
        faults=[(FaultSpec("sensor_noisy", 0.0, sensor="rotor_speed", size=0.5),)] * 60,
    )
    unit = np.stack([bench.sense(t, SPEED=1.0).rotor_speed - 1.0 for t in range(200)]) / 0.5
    low, high = stats.chi2.ppf([FALSE_ALARM / 2, 1 - FALSE_ALARM / 2], unit.size)
    assert low < np.sum(unit**2) < high


def test_a_false_echo_is_seen_where_a_blade_would_be_and_nowhere_else():
    suite = SensorSuite({"tip_distance": Sensor(0.0, 0.0)}, sight=0.3)
    faults = [(FaultSpec("false_echo", 0.0, sensor="tip_distance", size=2.5),)]
    seen = Bench(suite, faults=faults).sense(0, AZIMUTH=np.pi, DISTANCE=[6.0, np.nan, np.nan])
    assert seen.tip_distance[0, 0] == 2.5
    assert seen.valid["tip_distance"][0].tolist() == [True, False, False]


def test_the_anemometer_reads_the_free_wind_in_steady_wind_but_for_the_dip_of_each_root():
    """The transfer function takes the mean out; each of three roots dips the reading once a turn."""
    lane, _ = world()
    bench = Bench(one("wind_speed"))
    free = lane.lanes.out[0, at.OUT_WIND]
    turn = np.array([bench.sense(t, AZIMUTH=np.radians(2.0 * t)).wind_speed[0] for t in range(180)])
    assert np.max(turn) == pytest.approx(free, rel=0.02)
    dips = np.flatnonzero((turn[1:-1] < turn[:-2]) & (turn[1:-1] < turn[2:])) + 1
    assert len(dips) in (2, 3) and np.min(turn) < 0.92 * free
    calm = Bench(SensorSuite({"wind_speed": Sensor(0.0, 0.0)}, disturbance=0.0))
    assert calm.sense(0).wind_speed[0] == free


def test_the_vane_is_turned_to_the_right_by_the_swirl_of_the_wake():
    lane, _ = world()
    told = Bench(one("wind_direction")).sense(0).wind_direction[0]
    assert -0.15 < told - lane.lanes.out[0, at.OUT_DIRECTION] < -0.01


def test_the_preview_sees_a_gust_before_it_comes_by_the_time_of_its_travel():
    """Frozen wind: what stands ``ahead`` of the rotor comes ahead / speed later."""
    spec = WindSpec("steady", 12.0, 0.2, upflow=0.0, yaw=0.0, veer=0.0, sigma=2.0, turbulence_scale=42.0)
    machine = turbine()
    pack = pack_winds([spec], machine.rotor.hub_height, 2 * machine.rotor_radius, 60.0)
    wind = wind_arrays(pack, machine.rotor.hub_height)
    place = beam_place(0.0, wind.points, wind.box_z0, wind.box_dz)
    given = (wind.mean, wind.ground, wind.box, wind.boxes, wind.box_step, place)
    for time in (3.0, 17.3, 30.0):
        sharp = forward_wind(time, 0, *given, 120.0, 1e-6, 0.0)
        assert sharp == pytest.approx(wind_at(time + 10.0, 0, *given), abs=1e-6)
    series = np.array([wind_at(t, 0, *given) for t in np.arange(0.0, 50.0, 0.1)])
    soft = np.array([forward_wind(t, 0, *given, 0.0, 60.0, 0.0) for t in np.arange(10.0, 40.0, 0.1)])
    # five unlike points: sqrt of the sum of squared weights over their sum, 1/(1 + n^2) for n = -2 .. 2
    weights = 1.0 / (1.0 + np.arange(-2.0, 3.0) ** 2)
    damped = np.sqrt(np.sum(weights**2)) / np.sum(weights)
    assert np.std(np.diff(soft)) / np.std(np.diff(series)) == pytest.approx(damped, rel=0.1)
    assert abs(soft.mean() - series[100:400].mean()) < 0.5


@pytest.mark.parametrize(
    ("sensor", "words"),
    [
        ({"delay": 0.1}, r"delay = 0\.1 s is no whole number of controller periods"),
        ({"sampling": 0.05}, r"sampling = 0\.05 s is no whole number"),
        ({"loss_share": 0.95}, "loss_share = 0.95; must be at most 0.9"),
        ({"deviation": -1.0}, "deviation = -1.0; must be finite and >= 0"),
        ({"bias": np.nan}, "bias = nan; must be finite"),
    ],
)
def test_a_sensor_of_impossible_numbers_is_refused(sensor, words):
    with pytest.raises(InputError, match=words):
        one("power", **sensor).chain(PERIOD)
