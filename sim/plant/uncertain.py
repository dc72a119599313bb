"""What does a packed design become where the model is wrong in its loads, stiffness or damping?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.kernels import layout as at

Floats = NDArray[np.float64]


def varied(design: at.Design, aerodynamics: ArrayLike, stiffness: ArrayLike, damping: ArrayLike) -> at.Design:
    """Return one row for each sample, all of one turbine; what the controllers know stays as it is.

    Parameters
    ----------
    design : Design
        Of one turbine.
    aerodynamics : (n,) float64 [-]
        Factor on all aerodynamic loads.
    stiffness : (n,) float64 [-]
        Factor on the blades' elastic stiffness; their shapes stay.
    damping : (n,) float64 [-]
        Factor on the damping ratios of the blades.

    Notes
    -----
    Loads enter as the density does. The damping constant of a mode is ratio 2 sqrt(k m), so it grows with
    damping sqrt(stiffness).
    """
    load, stiff, damp = (
        np.asarray(factor, dtype=np.float64) for factor in (aerodynamics, stiffness, damping)
    )
    rows = np.zeros(load.size, np.int64)
    many = at.Design(*(np.ascontiguousarray(column[rows]) for column in design))
    many.scalars[:, at.DENSITY] *= load
    many.matrices[:, :, at.MAT_K] *= stiff[:, None, None, None]
    many.matrices[:, :, at.MAT_C] *= (damp * np.sqrt(stiff))[:, None, None, None]
    return many
