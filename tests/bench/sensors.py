"""How much do sensors, faults and the servos' commands add to the march of the plant and its logic?

Start with ``python -m tests.bench sensors``. Ratios of one run count. Wanted: at most 10 % more than with
ideal sensors of what the logic reads, nothing delayed, nothing lost, nothing broken.
"""

from __future__ import annotations

from time import perf_counter

import numpy as np

PERIOD, SPEED, LANES, TICKS = 0.04, 11.0, 64, 250


def make_flock(lanes: int, sensors: str, broken: bool):
    """Lanes of the shipped turbine under power and guard; ``sensors`` is "ideal", "demo" or "full"."""
    from controllers.registry import find
    from scenarios.load import load_scenario
    from scenarios.simulate import sensor_suite
    from sim.faults import KINDS, FaultSpec
    from sim.flock import Flock, World
    from sim.plant.air import wind_arrays
    from sim.plant.geometry import unloaded_clearance
    from sim.sensors import CHANNELS, Sensor, SensorSuite
    from sim.stack import Stack
    from sim.turbine import load_turbine
    from sim.wind.field import Site, pack_winds, site_wind

    skerry = load_turbine("skerry")
    hub, disc = skerry.rotor.hub_height, 2.0 * skerry.rotor_radius
    site = Site("II", "A", hub_height=hub, rotor_diameter=disc)
    specs = [site_wind("normal_turbulence", site, SPEED, seed=n % 8) for n in range(lanes)]
    wind = wind_arrays(pack_winds(specs, hub, disc, 30.0), hub)
    more = {"bias": 0.01, "drift": 0.01, "quantum": 1e-3, "loss_share": 0.01, "loss_length": 0.2}
    needed = ("azimuth", "rotor_speed", "pitch", "last_pass_clearance", "root_flap_moment")
    if sensors == "demo":
        suite = sensor_suite(load_scenario("hollin-fell").cases[0].sensors)
    elif sensors == "full":
        suite = SensorSuite({name: Sensor(0.12, 0.01, **more) for name in CHANNELS})
    else:
        suite = SensorSuite({name: Sensor(0.0, 0.0) for name in needed})
    kinds = [name for name, kind in KINDS.items() if kind.part != "machine"]
    faults = [
        (FaultSpec(kinds[n % len(kinds)], 0.0, 20.0, sensor="", size=0.1),)
        if KINDS[kinds[n % len(kinds)]].part == "servo"
        else (FaultSpec("sensor_noisy", 0.0, 20.0, sensor="root_flap_moment", size=0.1),)
        for n in range(lanes)
    ]
    return Flock.settle_in(
        World.make([skerry], wind, suite, PERIOD, np.radians(0.05)),
        Stack([find("power"), find("guard")], ["power", "guard"]),
        np.zeros(lanes, np.int64),
        np.arange(lanes),
        np.arange(lanes),
        np.linspace(0.0, 2.0, lanes),
        np.full(lanes, 0.3 * unloaded_clearance(skerry)),
        faults if broken else (),
    )


def times(sensors: str, broken: bool) -> np.ndarray:
    """Return the times of sensing, deciding, commanding and marching on, median over ticks [s]."""
    from sim.counting import empty_log
    from sim.kernels.advance import advance

    flock = make_flock(LANES, sensors, broken)
    log = empty_log(LANES, 0, 2 * TICKS, turning=True, period=PERIOD)
    world, rows = flock.world, []
    for _ in range(TICKS):
        marks = [perf_counter()]
        seen = flock.sense()
        marks.append(perf_counter())
        commands, reference, _ = flock.decide(seen)
        acting = flock.acting(commands, reference)
        marks.append(perf_counter())
        applied, torque = flock.apply(commands)
        marks.append(perf_counter())
        advance(
            flock.lanes, log, world.design, world.wind, applied, torque, acting, PERIOD, world.parts,
            world.blade_count,
        )  # fmt: skip
        marks.append(perf_counter())
        rows.append(np.diff(marks))
    return np.median(rows[20:], axis=0)


def main() -> None:
    """Print the table."""
    print(f"{LANES} lanes, power + guard; microseconds a tick, median of {TICKS}")
    least = 0.0
    for label, sensors, broken in (
        ("ideal sensors", "ideal", False),
        ("the demo's sensors", "demo", False),
        ("the same, a fault in every lane", "demo", True),
        ("every sensor with every error", "full", True),
    ):
        sensing, logic, commanding, plant = 1e6 * times(sensors, broken)
        least = least or sensing + commanding
        added = (sensing + commanding - least) / (least + logic + plant)
        share = (sensing + commanding) / (sensing + commanding + logic + plant)
        print(
            f"{label:32s} sensing {sensing:6.0f}  commands {commanding:5.0f}  logic {logic:5.0f}  plant "
            f"{plant:6.0f}: added {100.0 * added:4.1f} % (wanted at most 10 %), {100.0 * share:.1f} % of all"
        )


if __name__ == "__main__":
    main()
