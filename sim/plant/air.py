"""How do the kernels find a pack of winds laid out?"""

from __future__ import annotations

import numpy as np

from sim.errors import InputError
from sim.kernels import layout as at
from sim.wind.field import COMPONENTS, WindPack


def wind_arrays(pack: WindPack, hub_height: float) -> at.Wind:
    """Lay a pack of winds out for the kernels, with the mean wind at every point of the grid.

    Raises
    ------
    InputError
        If the grid has more points than the kernels have room for.

    Notes
    -----
    Power law from the hub, with a steady veer, or the wind's own profile where it has one. Heights below one
    metre count as one metre.
    """
    nz, ny = pack.boxes.shape[-2:]
    points = nz * ny
    if points > at.POINTS:
        raise InputError(f"wind: a grid of {nz} x {ny} points; must have at most {at.POINTS}")
    above = np.repeat(pack.box_z0 + pack.box_dz * np.arange(nz), ny)
    beside = np.tile(pack.box_y0 + pack.box_dy * np.arange(ny), nz)
    heights = np.maximum(hub_height + above, 1.0)
    speed, exponent, yaw, veer = (pack.mean[:, column : column + 1] for column in (0, 1, 3, 5))
    profile = speed * (heights / hub_height) ** exponent
    direction = yaw + veer * above
    for index, own in enumerate(pack.profiles):
        if own is not None:
            profile[index] = own.speed(heights)
            direction[index] = yaw[index] + own.direction(heights)
    ground, grid = np.zeros((len(pack.mean), 3, at.POINTS)), np.zeros((2, at.POINTS))
    ground[:, :, :points] = np.stack([profile, np.sin(direction), np.cos(direction)], axis=1)
    grid[:, :points] = beside, above
    tilt = np.stack([np.sin(pack.mean[:, 2]), np.cos(pack.mean[:, 2])], axis=1)
    return at.Wind(
        pack.mean, ground.reshape(len(ground), -1), tilt, grid.ravel(), pack.box,
        pack.boxes.reshape(*pack.boxes.shape[:2], COMPONENTS * points), (nz, ny), float(pack.box_step),
        float(pack.box_y0), float(pack.box_z0), float(pack.box_dy), float(pack.box_dz),
        pack.transient, pack.transients, float(pack.transient_step), pack.transient_start,
    )  # fmt: skip
