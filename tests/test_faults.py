"""What faults in flight do to a marching lane, and that they change nothing else by a single bit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from controllers.registry import find
from sim import fork as forks
from sim.errors import InputError
from sim.faults import KINDS, FaultSpec, lay_out
from sim.interface import Commands
from sim.kernels import breaking
from sim.kernels import layout as at
from sim.march import march
from sim.sensors import Sensor, SensorSuite
from sim.stack import Stack
from tests.plant_flocks import Nothing, Nudge, Steady, differences, flock_of
from tests.plant_lanes import PERIOD, steady_wind, turbine
from tests.test_plant_twin import site

SETTLE = 4.0
FINE, FEATHER = turbine().pitch.fine, turbine().pitch.feather


def stack_of(*layers) -> Stack:
    return Stack(list(layers), [type(layer).__name__ for layer in layers])


def watch(faults, seconds: float = 12.0, wind: float = 10.0, stack: Stack | None = None):
    """March one lane a tuple of faults in steady wind; outputs (tick, lane, OUTPUTS) and the commands."""
    count = len(faults)
    flock = flock_of(
        [steady_wind(wind)] * count, stack or stack_of(Steady()), faults=faults, settle=SETTLE, seconds=40.0
    )
    out, asked = [], []

    def observe(flock, seen, commands, reference):
        out.append(flock.lanes.out.copy())
        asked.append(commands.pitch.copy())

    march(flock, SETTLE, seconds, observe=observe)
    return np.stack(out)[round(SETTLE / PERIOD) :], np.stack(asked)[round(SETTLE / PERIOD) :], flock


def test_every_kind_of_fault_has_a_code_of_its_own_part():
    codes = {kind.code: kind.part for kind in KINDS.values()}
    assert all((code < breaking.SENSORS_END) == (part == "sensor") for code, part in codes.items())
    assert len({kind.code for name, kind in KINDS.items() if name != "encoder_slip"}) == len(KINDS) - 1


def test_an_emergency_stop_feathers_at_the_stated_rate_and_takes_the_torque_away():
    """Stop rate of the turbine file, 8 deg/s; the travel ends on the feather stop."""
    out, _, flock = watch([(FaultSpec("emergency_stop", 2.0),)], 16.0)
    pitch, rate = out[:, 0, at.OUT_PITCH], out[:, 0, at.OUT_RATE]
    ticks = np.flatnonzero((pitch > 0.3) & (pitch < 1.2))
    assert rate[ticks] == pytest.approx(turbine().pitch.stop_rate, rel=1e-3)
    assert np.degrees(turbine().pitch.stop_rate) == pytest.approx(8.0)
    assert pitch[-1] == pytest.approx(FEATHER, abs=np.radians(0.1))
    assert pitch[round(2.0 / PERIOD)] == pytest.approx(pitch[0], abs=1e-6)
    assert abs(out[-1, 0, at.OUT_POWER]) < 1.0
    assert flock.faults.stopped[0] == round((SETTLE + 2.0) / PERIOD)


def test_after_an_emergency_stop_the_tip_swings_away_and_comes_back_once_more_weakly():
    """PHYSICS.md: about 8 m in three seconds away from the tower, then back once, more weakly."""
    out, _, _ = watch([(FaultSpec("emergency_stop", 2.0),)], 14.0, wind=10.0)
    tip = out[round(2.0 / PERIOD) :, 0, at.OUT_TIP]
    far = int(np.argmin(tip))
    assert 6.0 < tip[0] - tip[far] < 12.0
    assert 1.5 < far * PERIOD < 4.5
    back = tip[far:].max() - tip[far]
    assert 1.0 < back < 0.85 * (tip[0] - tip[far])


def test_a_stop_that_a_layer_asks_for_is_latched_and_does_not_wait_for_the_delay():
    class Tripping(Steady):
        def step(self, state, seen, below, reference):
            state, commands = super().step(state, seen, below, reference)
            return state, replace(commands, stop=seen.tick == round(SETTLE / PERIOD) + 10)

    out, _, flock = watch([()], 6.0, stack=stack_of(Tripping()))
    moved = np.flatnonzero(out[:, 0, at.OUT_RATE] > 1e-4)
    assert moved[0] == 11
    assert flock.faults.stopped[0] == round(SETTLE / PERIOD) + 10
    assert out[-1, 0, at.OUT_PITCH] > 0.5


def test_a_stuck_servo_stands_and_the_others_go_on():
    out, _, _ = watch([(FaultSpec("servo_stuck", 1.0, blade=1), FaultSpec("emergency_stop", 2.0))], 8.0)
    pitch = out[:, 0, at.OUT_PITCH : at.OUT_PITCH + 3]
    assert np.ptp(pitch[30:, 1]) < 1e-9
    assert pitch[-1, 0] > 0.6 and pitch[-1, 2] > 0.6


def test_a_slow_servo_and_one_weak_at_a_stop_keep_their_share_of_the_rate():
    faults = [
        (FaultSpec("servo_slow", 0.0, blade=0, size=0.25), FaultSpec("emergency_stop", 2.0)),
        (FaultSpec("servo_weak", 0.0, blade=0, size=0.5), FaultSpec("emergency_stop", 2.0)),
    ]
    out, _, _ = watch(faults, 6.0)
    full = turbine().pitch.stop_rate
    for lane, share in enumerate((0.25, 0.5)):
        rates = out[-1, lane, at.OUT_RATE : at.OUT_RATE + 3]
        assert rates == pytest.approx([share * full, full, full], rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "end"), [("servo_to_fine", FINE - np.radians(2.0)), ("servo_to_feather", FEATHER)]
)
def test_a_servo_that_runs_away_ends_on_its_stop_whatever_is_asked(kind, end):
    out, asked, _ = watch([(FaultSpec(kind, 1.0, blade=2), FaultSpec("emergency_stop", 16.0))], 18.0)
    assert out[round(15.5 / PERIOD), 0, at.OUT_PITCH + 2] == pytest.approx(end, abs=np.radians(0.05))
    assert asked[-1, 0, 2] == pytest.approx(FINE + 0.05)
    if kind == "servo_to_fine":
        assert out[-1, 0, at.OUT_PITCH + 2] == pytest.approx(end, abs=np.radians(0.05))
        assert out[-1, 0, at.OUT_PITCH] > 0.15


def test_lost_torque_fades_with_the_generators_lag_and_comes_back():
    out, _, _ = watch([(FaultSpec("torque_lost", 1.0, 1.0),)], 4.0)
    power = out[:, 0, at.OUT_POWER]
    lag = turbine().machine.torque_lag
    begun = round(1.0 / PERIOD)
    assert power[begun + 3] / power[begun] == pytest.approx(np.exp(-3 * PERIOD / lag), abs=0.03)
    assert power[-1] == pytest.approx(power[0], rel=0.05)


def test_a_lost_grid_trips_the_safety_chain_after_its_wait():
    _, _, flock = watch([(FaultSpec("grid_lost", 1.0, 0.1),), (FaultSpec("grid_lost", 1.0),)], 3.0)
    assert flock.faults.stopped.tolist() == [-1, round((SETTLE + 1.2) / PERIOD)]


class Counting(Steady):
    """Pitches by a step every tick, so that what is held, late or forgotten can be told."""

    def init(self, known, seen):
        return super().init(known, seen) | {"count": np.zeros_like(known.rated_torque)}

    def step(self, state, seen, below, reference):
        pitch = (0.01 + 1e-4 * state["count"])[:, None] + 0.0 * below.pitch
        commands = Commands(pitch, state["torque"].copy(), below.stop.copy())
        return state | {"count": state["count"] + 1.0}, commands


def counts(faults, seconds=4.0):
    _, asked, _ = watch([faults], seconds, stack=stack_of(Counting()))
    return np.round((asked[:, 0, 0] - 0.01) / 1e-4).astype(int) - round(SETTLE / PERIOD)


def test_a_frozen_computer_holds_its_commands_and_goes_on_where_it_was():
    told = counts((FaultSpec("computer_frozen", 1.0, 1.0),))
    assert told[:26].tolist() == [*range(25), 24]
    assert np.all(told[25:50] == 24)
    assert told[50:53].tolist() == [25, 26, 27]


def test_a_restarted_computer_begins_anew_with_all_forgotten():
    told = counts((FaultSpec("computer_restarted", 1.0, 1.0),))
    assert np.all(told[25:50] == 24)
    assert told[50:53].tolist() == [-100, -99, -98]


def test_a_late_computer_stands_still_and_then_runs_late():
    flock = flock_of(
        [steady_wind(10.0)], stack_of(Counting()), faults=[(FaultSpec("computer_late", 1.0, 2.0, size=0.4),)]
    )
    applied = []
    asked = np.linspace(0.0, 1.0, 101)
    for tick in range(101):
        flock.lanes.tick[:] = tick
        commands = Commands(np.full((1, 3), asked[tick]), np.array([asked[tick]]), np.zeros(1, bool))
        applied.append(flock.apply(commands)[1][0])
    assert applied[:25] == pytest.approx(asked[:25])
    assert applied[25:36] == pytest.approx([asked[25]] * 11)
    assert applied[40] == pytest.approx(asked[30])
    assert applied[75] == pytest.approx(asked[75])


def everything() -> list[tuple[FaultSpec, ...]]:
    """One lane for each kind of fault, and one with several at once."""
    single = []
    for name, kind in KINDS.items():
        sensor = (
            "" if kind.part != "sensor" else "azimuth" if name == "encoder_slip" else "last_pass_clearance"
        )
        size = {"reading": 0.4, "s": 0.2, "-": 0.3, "": 0.0}[kind.size]
        blade = 1 if kind.part == "servo" else None
        single.append((FaultSpec(name, 1.0, 5.0, blade, sensor, size),))
    return [*single, (*single[0], *single[9], *single[15])]


def lossy() -> SensorSuite:
    more = {"drift": 1.0, "loss_share": 0.1, "loss_length": 0.1, "sampling": 0.08}
    names = ("azimuth", "rotor_speed", "pitch", "root_flap_moment", "last_pass_clearance", "wind_speed")
    return SensorSuite({name: Sensor(0.12, 0.002, **more) for name in names})


@pytest.fixture(scope="module")
def broken_lanes():
    """Stack, winds and faults of a batch in which every kind of fault is in flight, and its record."""
    faults = everything()
    winds = [site("extreme_turbulence", 11.0 + 0.1 * n, seed=n) for n in range(len(faults))]
    stack = Stack([find("power"), find("guard")], ["power", "guard"])

    def flock(rows=None):
        return flock_of(winds, stack, faults=faults, settle=SETTLE, suite=lossy(), rows=rows, seconds=20.0)

    return flock, march(flock(), SETTLE, 10.0)


def test_with_faults_in_flight_a_lane_in_other_company_gives_the_same_record(broken_lanes):
    flock, record = broken_lanes
    rows = [20, 3, 14, 9, 17, 0, 11]
    assert differences(record, rows, march(flock(rows), SETTLE, 10.0), range(len(rows))) == []


def test_with_faults_in_flight_lanes_that_are_copied_out_march_on_the_same(broken_lanes):
    flock, record = broken_lanes
    rows = np.array([16, 5, 18, 20])
    assert differences(record, rows, march(flock().take(rows), SETTLE, 10.0), range(len(rows))) == []


def test_with_faults_in_flight_a_fork_in_which_nothing_differs_repeats_the_march(monkeypatch):
    """Every fork drawn, a layer without effect that counts as acting: sensors, servos, computer in flight."""
    monkeypatch.setattr(forks, "COST", 1e-9)
    faults = everything()
    winds = [site("extreme_turbulence", 11.0, seed=2)] * len(faults)
    flock = flock_of(
        winds, stack_of(find("power"), Nothing()), faults=faults, settle=SETTLE, suite=lossy(),
        acted_above=-1.0, seconds=20.0,
    )  # fmt: skip
    passes = march(flock, SETTLE, 12.0).passes
    drawn = passes["acted"] & (passes["weight"] > 0.0) & np.isfinite(passes["clearance_without_m"])
    assert len(np.unique(passes["lane"][drawn])) >= 15
    assert np.count_nonzero(drawn) >= 2 * len(faults)
    assert np.array_equal(passes["clearance_without_m"][drawn], passes["clearance_m"][drawn])


def test_a_fork_of_a_frozen_computer_holds_what_the_reference_commanded(monkeypatch):
    """The logic acts, then the computer hangs: without the logic the reference's command would have stood."""
    monkeypatch.setattr(forks, "COST", 1e-9)
    frozen = [(FaultSpec("computer_frozen", 2.0, 12.0),)]
    begun = round((SETTLE + 1.6) / PERIOD)

    def passes(*layers):
        flock = flock_of(
            [site("extreme_turbulence", 11.0, seed=2)], stack_of(*layers), faults=frozen, settle=SETTLE
        )
        return march(flock, SETTLE, 16.0).passes

    acted, bare = passes(Steady(), Nudge(begun, begun + 10**6)), passes(Steady())
    first = int(np.argmax(acted["acted"]))
    assert acted["clearance_without_m"][first] == bare["clearance_m"][first]
    # forks that begin while it hangs: the reference's command stands instead of the logic's
    inside = acted["acted"] & (acted["time_s"] > 8.5) & (acted["time_s"] < 13.0)
    assert np.count_nonzero(inside) >= 2
    assert np.all(np.abs(acted["clearance_without_m"] - acted["clearance_m"])[inside] > 0.1)
    assert abs(acted["clearance_m"][first + 2] - bare["clearance_m"][first + 2]) > 0.05


def test_lanes_without_faults_are_untouched_by_the_fault_machinery():
    winds = [site("extreme_turbulence", 11.0, seed=2)]
    stack = Stack([find("power"), find("guard")], ["power", "guard"])
    later = [(FaultSpec("sensor_silent", 500.0, sensor="azimuth"),)]
    sound = march(flock_of(winds, stack), SETTLE, 6.0)
    never = march(flock_of(winds, stack, faults=later, settle=SETTLE), SETTLE, 6.0)
    assert differences(sound, [0], never, [0]) == []


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (FaultSpec("sensor_broken", 0.0), "unknown; did you mean 'sensor_frozen'"),
        (FaultSpec("sensor_frozen", 0.0), "needs one of its sensors"),
        (FaultSpec("sensor_frozen", 0.0, sensor="azimut"), "did you mean 'azimuth'"),
        (FaultSpec("sensor_frozen", 0.0, sensor="azimuth", blade=0), "no sensor of single blades"),
        (FaultSpec("false_echo", 0.0, sensor="power"), "needs one of its sensors"),
        (FaultSpec("servo_stuck", 0.0, blade=3), "there are blades 1 to 3"),
        (FaultSpec("torque_lost", 0.0, blade=1), "not about a blade"),
        (FaultSpec("torque_lost", 0.0, sensor="power"), "not about a sensor"),
        (FaultSpec("computer_restarted", 0.0), "needs one"),
    ],
)
def test_a_fault_that_makes_no_sense_is_refused(fault, words):
    with pytest.raises(InputError, match=words):
        lay_out([(fault,)], 0.0, PERIOD)
