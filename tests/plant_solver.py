"""The compiled plant handed to scipy's DOP853, and its clearance at any state."""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_ivp

from sim.kernels import layout as at
from sim.kernels.advance import make_work
from sim.kernels.inflow import wind_plane
from sim.kernels.passing import clearance
from sim.kernels.step import blade_frame, command_machine, evaluate, place_hub
from tests.plant_lanes import Rig


def solve(lane: Rig, end: float, tolerance: float = 1e-10):
    """March a rig's first lane from its present state to ``end`` [s] with DOP853; dense output included."""
    work = make_work()
    design_limit = np.full(lane.blade_count, -1.0)

    def rate(time, y):
        dy = np.zeros_like(y)
        wind_plane(work, time, 0, lane.wind)
        evaluate(y, dy, 0, lane.design, lane.wind, work, lane.blade_count, at.SHAPES)
        command_machine(y, dy, 0, lane.design, lane.pitch[0], design_limit, lane.torque[0], lane.blade_count)
        return dy

    return solve_ivp(
        rate, (0.0, end), lane.lanes.y[0].copy(), method="DOP853",
        rtol=tolerance, atol=tolerance, dense_output=True,
    )  # fmt: skip


def clearance_of(lane: Rig, y, b: int) -> tuple[float, float]:
    """Clearance of blade ``b`` [m] at a state, and the radius [m] of the nearest station."""
    scalars = lane.design.scalars[0]
    hub, frame = np.zeros(3), np.zeros(21)
    tilt = place_hub(hub, y, scalars)
    azimuth = y[at.AZIMUTH] + 2.0 * np.pi * b / lane.blade_count
    blade_frame(
        frame, azimuth, y[at.PITCH + b] + lane.design.blades[0, b, at.PITCH_OFFSET], 0.0, tilt, scalars
    )
    q = y[at.Q + at.MODES * b : at.Q + at.MODES * (b + 1)]
    return clearance(
        q, y[at.TOWER], y[at.TOWER + 2], hub, frame, b * at.STATIONS,
        lane.design.stations[0], scalars, lane.design.tower_shape[0],
    )  # fmt: skip
