"""How many times as fast as a general-purpose solver does the march run the same plant and controller?

Start with ``python -m tests.bench march``. The other side is the plant as an engineer would write it first
(tests/plain_plant.py: numpy, vectorised over stations), marched by scipy's ``solve_ivp`` with RK45 at its
default tolerances, restarted each controller period. Ratios of one run count; times drift with the machine.
"""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np

from tests.plain_plant import PlainPlant, from_lane

PERIOD, SPEED, SETTLE = 0.04, 11.0, 2.0
SENSED = ("azimuth", "rotor_speed", "pitch", "root_flap_moment", "wind_speed")


def make_flock(lanes: int, duration: float, model: str = "kaimal"):
    """Lanes of the shipped turbine in turbulence of their own seed, power production alone."""
    from controllers.registry import find
    from sim.flock import Flock, World
    from sim.plant.air import wind_arrays
    from sim.plant.geometry import unloaded_clearance
    from sim.sensors import Sensor, SensorSuite
    from sim.stack import Stack
    from sim.turbine import load_turbine
    from sim.wind.field import Site, pack_winds, site_wind

    skerry = load_turbine("skerry")
    hub, disc = skerry.rotor.hub_height, 2.0 * skerry.rotor_radius
    site = Site("II", "A", hub_height=hub, rotor_diameter=disc)
    specs = [site_wind("normal_turbulence", site, SPEED, seed=n % 8, model=model) for n in range(lanes)]
    wind = wind_arrays(pack_winds(specs, hub, disc, duration), hub)
    suite = SensorSuite({name: Sensor(0.0, 0.0) for name in SENSED})
    world = World.make([skerry], wind, suite, PERIOD, np.radians(0.05))
    return Flock.settle_in(
        world,
        Stack([find("power")], ["power"]),
        np.zeros(lanes, np.int64),
        np.arange(lanes),
        np.arange(lanes),
        np.linspace(0.0, 2.0, lanes),
        np.full(lanes, 0.3 * unloaded_clearance(skerry)),
    )


def compiled_speed(lanes: int, duration: float) -> tuple[float, float]:
    """Return times real time of the whole march, and the controller's share of the wall time."""
    from sim.march import march

    march(make_flock(lanes, 1.0), 0.0, 0.2, forks=False)
    flock = make_flock(lanes, duration)
    stack, spent = flock.stack, [0.0]
    step = stack.step

    def timed(*given):
        start = perf_counter()
        answer = step(*given)
        spent[0] += perf_counter() - start
        return answer

    stack.step = timed  # type: ignore[method-assign]
    start = perf_counter()
    march(flock, 0.0, duration, forks=False)
    wall = perf_counter() - start
    return lanes * duration / wall, spent[0] / wall


def plain_march(duration: float) -> tuple[float, float, np.ndarray]:
    """Return times real time of the solver, the time of one right-hand side [s], and the last state."""
    from scipy.integrate import solve_ivp

    flock = make_flock(1, duration)
    first = flock.sense()
    plant = PlainPlant(flock.world.turbines[0], flock.world.wind)
    state = from_lane(flock.lanes.y[0], 3)
    late = [state[25:28].copy() for _ in range(3)]
    flock.states = []
    calls = 0

    def rate(time, y):
        nonlocal calls
        calls += 1
        return plant.rate(time, y)

    start = perf_counter()
    for tick in range(round(duration / PERIOD)):
        seen = replace(
            first,
            tick=np.array([tick]),
            time=np.array([tick * PERIOD]),
            azimuth=state[22:23] % (2.0 * np.pi),
            rotor_speed=state[23:24].copy(),
            pitch=state[None, 25:28].copy(),
        )
        commands, _, _ = flock.decide(seen)
        low, high = flock.known.fine_pitch, flock.known.feather_pitch
        late = [*late[1:], np.clip(commands.pitch[0], low, high)]
        plant.pitch_command, plant.torque_command = late[0], commands.torque[0]
        end = (tick + 1) * PERIOD
        state = solve_ivp(rate, (tick * PERIOD, end), state, method="RK45").y[:, -1]
    wall = perf_counter() - start
    start = perf_counter()
    for _ in range(300):
        plant.rate(0.0, state)
    return duration / wall, (perf_counter() - start) / 300, state


def evaluation_time(lanes: int = 64, ticks: int = 100) -> float:
    """Return the time [s] of one compiled plant evaluation of one lane, watching of passes included."""
    flock = make_flock(lanes, 10.0)
    from sim.counting import empty_log

    seen = flock.sense()
    commands, reference, _ = flock.decide(seen)
    log = empty_log(lanes, 0, 2 * ticks, turning=False, period=PERIOD)
    acting = flock.acting(commands, reference)
    flock.advance(log, commands, acting)
    start = perf_counter()
    for _ in range(ticks):
        flock.advance(log, commands, acting)
    return (perf_counter() - start) / ticks / lanes / 4.0 / flock.world.parts


def main() -> None:
    """Print the table."""
    slow, one_call, _ = plain_march(8.0)
    print(f"solve_ivp RK45, restarted each period: {slow:8.1f} times real time")
    print(f"  its right-hand side, numpy vectorised over stations: {1e6 * one_call:.0f} us a call")
    print(f"compiled: {1e6 * evaluation_time():.2f} us an evaluation of one lane")
    for lanes, wanted in ((1, 30.0), (64, 300.0), (256, 450.0)):
        fast, share = compiled_speed(lanes, 60.0 if lanes == 1 else 40.0)
        print(
            f"{lanes:4d} lanes: {fast:8.0f} times real time, {fast / slow:6.0f} x the solver "
            f"(wanted {wanted:.0f} x); controller {100.0 * share:.0f} % of the wall time"
        )


if __name__ == "__main__":
    main()
