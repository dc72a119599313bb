"""The compiled plant against a slow twin in plain numpy, written apart from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.kernels import layout as at
from sim.kernels.step import command_machine
from sim.wind.field import Site, WindSpec, site_wind
from tests.plain_plant import PlainPlant, from_lane
from tests.plant_lanes import Rig, downwind, rig, steady_wind, turbine
from tests.test_plant_energy import uneven

BLADES = 3


def site(kind: str, speed: float, **more) -> WindSpec:
    machine = turbine()
    place = Site("II", "A", hub_height=machine.rotor.hub_height, rotor_diameter=2.0 * machine.rotor_radius)
    return site_wind(kind, place, speed, **more)


def agitated(machine, wind: WindSpec, tower: float) -> Rig:
    """A lane after ten seconds, then shaken; blade 0 stands at ``tower`` [rad] from the tower."""
    lane = rig(machine, [wind], seconds=12.0).march(10.0)
    rng = np.random.Generator(np.random.Philox(key=[8, 1]))
    y = lane.lanes.y[0]
    y[at.Q : at.Q + 18] += rng.normal(size=18) * 0.5
    y[at.TOWER + 1], y[at.TOWER + 3] = 0.2, -0.1
    y[at.RATE : at.RATE + BLADES] = 0.05, -0.03, 0.02
    y[at.AZIMUTH] = np.pi + tower
    return lane.restart()


WINDS = {
    "leaning": lambda: steady_wind(11.0, 0.2, upflow=0.1, yaw=0.15, veer=0.003),
    "turbulent": lambda: site("extreme_turbulence", 13.0, seed=3),
    "gusting": lambda: site("operating_gust", 10.0, transient_start=5.0),
}


@pytest.mark.parametrize("wind", WINDS)
@pytest.mark.parametrize("which", ["even", "uneven", "downwind"])
def test_the_compiled_rates_are_those_of_the_plain_plant(which, wind):
    """To 1e-6 of accelerations: the kernels' polynomials for elementary functions are good to 3e-8."""
    machine = {"even": turbine, "uneven": uneven, "downwind": downwind}[which]()
    lane = agitated(machine, WINDS[wind](), tower=-0.03)
    y, dy = lane.lanes.y[0], lane.lanes.dy[0]
    none = np.full(BLADES, -1.0)
    command_machine(y, dy, 0, lane.design, lane.pitch[0], none, lane.torque[0], BLADES)
    plain = PlainPlant(machine, lane.wind)
    plain.pitch_command, plain.torque_command = lane.pitch[0], lane.torque[0]
    expected = plain.rate(lane.lanes.tick[0] * lane.period, from_lane(y, BLADES))
    ours = from_lane(dy, BLADES)
    assert np.abs(expected[9:18]).max() > 1.0
    assert ours == pytest.approx(expected, rel=1e-6, abs=2e-5)


def test_the_twin_sees_the_fault_that_it_is_for():
    """Half a degree of pitch offset, or a tenth of a metre of prebend, is far beyond the tolerance."""
    machine = turbine()
    blade = replace(machine.blade, prebend_offset=np.array([0.1, 0.0, 0.0]))
    lane = agitated(machine, WINDS["leaning"](), tower=-0.03)
    plain = PlainPlant(replace(machine, blade=blade), lane.wind)
    expected = plain.rate(lane.lanes.tick[0] * lane.period, from_lane(lane.lanes.y[0], BLADES))
    assert np.abs(from_lane(lane.lanes.dy[0], BLADES)[9:18] - expected[9:18]).max() > 1e-3
