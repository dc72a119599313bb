"""What wind does a lane meet?

`pack_winds` turns many wind specs into the arrays that the march reads.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.one_thread import in_one_thread
from sim.wind import gusts
from sim.wind.atmosphere import Profile
from sim.wind.grid import BOX_REACH
from sim.wind.kinds import KINDS, site_wind
from sim.wind.sheared import tensor_box
from sim.wind.spec import WindSpec
from sim.wind.standard import Site
from sim.wind.turbulence import BoxGrid, three_components, turbulence_box

__all__ = [
    "KINDS",
    "BoxGrid",
    "Site",
    "WindPack",
    "WindSpec",
    "box_bytes",
    "pack_winds",
    "rotor_grid",
    "site_wind",
]

COMPONENTS = 3


class WindPack(NamedTuple):
    """Arrays that the march reads; wind is the index of a spec."""

    mean: NDArray[Any]
    """(wind, 6) float64: speed [m/s], shear exponent [-], upflow, yaw [rad], sigma1 [m/s], veer [rad/m]."""
    box: NDArray[Any]
    """(wind,) int64: index into ``boxes``, -1 without turbulence."""
    boxes: NDArray[Any]
    """(box, step, component, z, y) float32 [-]: over sigma1, one whole period; y from the rotor axis, z from
    the hub; components along, across (to the left, looking downwind) and up."""
    box_step: float
    """[s]"""
    box_y0: float
    """[m] of the first point."""
    box_z0: float
    """[m] of the first point, from the hub."""
    box_dy: float
    """[m]"""
    box_dz: float
    """[m]"""
    transient: NDArray[Any]
    """(wind,) int64: index into ``transients``, -1 without an event."""
    transients: NDArray[Any]
    """(event, row, 4) float64: see `sim.wind.gusts`."""
    transient_step: float
    """[s]"""
    transient_start: NDArray[Any]
    """(wind,) float64 [s] from the start of the lane."""
    profiles: list[Profile | None]
    """[wind] mean wind over height, None where power law and veer tell it."""


def rotor_grid(rotor_diameter: float, duration: float) -> BoxGrid:
    """Return the usual grid: 15 x 15 points over 1.1 rotor diameters [m], 10 Hz, for a duration [s]."""
    size = BOX_REACH * rotor_diameter
    return BoxGrid(width=size, height=size, duration=duration)


def box_bytes(grid: BoxGrid) -> int:
    """Return the memory [bytes] of one box of this grid, all three components, for cutting batches."""
    return grid.nbytes


@in_one_thread
def pack_winds(
    specs: Sequence[WindSpec],
    hub_height: float,
    rotor_diameter: float,
    duration: float,
    grid: BoxGrid | None = None,
) -> WindPack:
    """Return the arrays of many winds; winds with the same turbulent field share one box.

    Parameters
    ----------
    specs : sequence of WindSpec
    hub_height, rotor_diameter : float [m]
    duration : float [s]
        Of the lanes, settling included.
    grid : BoxGrid, optional
        `rotor_grid` unless given.

    Raises
    ------
    InputError
        If a length or the duration is not positive.

    Notes
    -----
    A box depends on its spec and the grid alone, never on the other specs. The lowest points of a grid may
    lie below the ground when the hub is lower than 1.1 radii; the blades do not reach them.
    """
    for name, value in (
        ("hub_height", hub_height),
        ("rotor_diameter", rotor_diameter),
        ("duration", duration),
    ):
        if not value > 0.0:
            raise InputError(f"wind: {name} = {value!r}; must be > 0")
    grid = grid or rotor_grid(rotor_diameter, duration)
    box, boxes = _pack_boxes(specs, grid)
    tables = [spec.transient_table() for spec in specs]
    order = np.cumsum([table is not None for table in tables], dtype=np.int64) - 1
    return WindPack(
        mean=np.array([_mean_row(spec) for spec in specs], np.float64).reshape(-1, 6),
        box=box,
        boxes=boxes,
        box_step=grid.step,
        box_y0=-0.5 * grid.width,
        box_z0=-0.5 * grid.height,
        box_dy=grid.dy,
        box_dz=grid.dz,
        transient=np.where([table is not None for table in tables], order, -1).astype(np.int64),
        transients=gusts.stack_tables([table for table in tables if table is not None]),
        transient_step=gusts.TRANSIENT_STEP,
        transient_start=np.array([spec.transient_start for spec in specs], np.float64),
        profiles=[spec.own_profile() for spec in specs],
    )


def _mean_row(spec: WindSpec) -> tuple[float, ...]:
    return spec.speed, spec.shear_exponent, spec.upflow, spec.yaw, spec.sigma, spec.veer


def _pack_boxes(specs: Sequence[WindSpec], grid: BoxGrid) -> tuple[NDArray[Any], NDArray[Any]]:
    places: dict[Any, int] = {}
    box = np.full(len(specs), -1, np.int64)
    for index, spec in enumerate(specs):
        if spec.sigma > 0.0:
            keys = tuple(spec.turbulence_key(component) for component in range(COMPONENTS))
            field = (spec.model, spec.speed, spec.turbulence_scale, keys)
            box[index] = places.setdefault(field, len(places))
    shape = (len(places), grid.period_samples, COMPONENTS, grid.nz, grid.ny)
    boxes = np.empty(shape, np.float32)
    for (model, speed, scale, keys), place in sorted(places.items(), key=lambda item: item[0][:3]):
        fill_box(boxes[place], model, keys, speed, scale, grid)
    return box, boxes


def fill_box(
    box: NDArray[Any],
    model: str,
    keys: Sequence[tuple[int, int]],
    speed: float,
    scale: float,
    grid: BoxGrid,
) -> None:
    """Write one field of a model of turbulence, in units of sigma1, into (step, component, z, y) float32."""
    if model == "kaimal":
        three_components(keys, speed, scale, grid, box)
    elif model == "tensor":
        box[:] = tensor_box(keys[0], speed, scale, grid)
    else:
        box[:, 0] = turbulence_box(keys[0], speed, scale, grid)
        box[:, 1:] = 0.0
