"""What is one mix of levers worth: the clearance that it leaves, and everything that it costs?"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from scenarios.studies import lever_loads as loads
from scenarios.studies.lever_design import SPAR_SHARE, Mix
from scenarios.studies.lever_running import RATED, Array, Running, running, yearly_energy
from scenarios.studies.waterfall import bend_of, bent_clearance
from sim.design import Turbine
from sim.plant.geometry import unloaded_clearance
from sim.plant.rotor import RotorState
from sim.plant.spinning import Spin
from sim.plant.tower import tower_modes
from sim.wind.standard import Site, normal_sigma, shear_gradient

_RPM = 60.0 / (2.0 * math.pi)
_STILL = 0.5  # [m/s] that a fall of the wind leaves at least


@dataclass(frozen=True)
class Given:
    """What a mix is judged under.

    Attributes
    ----------
    site : Site
        Its annual mean gives the winds of a year (Rayleigh), its shear the extreme bending.
    spar_share : float [-]
    bearing_share : float [-]
        Of the overhang, from the hub centre to the main bearing.
    gust : float [m/s]
        Sudden rise of the governing wind, its fall behind the tower; nan for one standard deviation of the
        site's normal turbulence.
    """

    site: Site
    spar_share: float = SPAR_SHARE
    bearing_share: float = loads.BEARING_SHARE
    gust: float = math.nan


@dataclass(frozen=True)
class Worth:
    """Clearances, and prices in the units of their names.

    ``governing_m`` is what remains in the governing wind, ``governing_wind_m_s``. ``root_steady_kNm`` is the
    mean flap moment in rated wind, ``root_turning_kNm`` what rotation and weight do to the unbent blade.
    """

    unloaded_m: float
    governing_m: float
    governing_wind_m_s: float
    rated_wind_m_s: float
    energy_GWh: float  # noqa: N815
    main_bearing_mean_kNm: float  # noqa: N815
    main_bearing_extreme_kNm: float  # noqa: N815
    bed_plate_mean_kNm: float  # noqa: N815
    bed_plate_extreme_kNm: float  # noqa: N815
    yaw_bearing_kNm: float  # noqa: N815
    root_steady_kNm: float  # noqa: N815
    root_turning_kNm: float  # noqa: N815
    blade_mass_t: float
    envelope_m: float
    tower_mass_t: float
    pitch_travel_deg_h: float

    def told(self) -> dict[str, float]:
        """Return every number by its name."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


CLEARANCES = ("unloaded_m", "governing_m")
PLACES = ("governing_wind_m_s", "rated_wind_m_s")
PRICES = tuple(field.name for field in fields(Worth) if field.name not in (*CLEARANCES, *PLACES))


def worth_of(turbine: Turbine, mix: Mix, given: Given) -> Worth:
    """Return what a mix of levers leaves and costs.

    Parameters
    ----------
    turbine : as it is
    mix : where its levers are put
    given : Given

    Notes
    -----
    Steady and axisymmetric; a tilted disc is met by V cos(tilt). The governing wind is the steady one in
    which least remains after the wind suddenly rises, behind the tower falls: pitch, rotor speed and induced
    velocity held, the blade bent as far as it would come to rest. A pulse of pitch is met likewise: more
    pitch before the tower, less behind it. The blade hangs.
    """
    run = running(turbine, mix, given.spar_share)
    changed = run.turbine
    left, wind = _governing(run, given)
    point = run.judged_points()[RATED : RATED + 1]
    state = run.rotor.evaluate(point)
    shaken = loads.hub_bending(changed.rotor.blade_count, _swing(run, point, state, given))
    main = loads.overhung_bending(changed, given.bearing_share)
    plate = loads.overhung_bending(changed)
    turning, hanging = loads.root_bending(changed, float(point[0, 1]))
    return Worth(
        unloaded_m=unloaded_clearance(changed),
        governing_m=left,
        governing_wind_m_s=wind / math.cos(changed.rotor.tilt),
        rated_wind_m_s=run.rated / math.cos(changed.rotor.tilt),
        energy_GWh=yearly_energy(run, given.site.vave) / 1e9,
        main_bearing_mean_kNm=main / 1e3,
        main_bearing_extreme_kNm=(main + shaken) / 1e3,
        bed_plate_mean_kNm=plate / 1e3,
        bed_plate_extreme_kNm=(plate + shaken) / 1e3,
        yaw_bearing_kNm=loads.yaw_bearing_bending(changed, float(state.thrust[0])) / 1e3,
        root_steady_kNm=(float(state.root_flap_moment[0]) + hanging) / 1e3,
        root_turning_kNm=(turning + hanging) / 1e3,
        blade_mass_t=loads.blade_mass(changed) / 1e3,
        envelope_m=loads.blade_envelope(changed),
        tower_mass_t=loads.tower_mass(changed) / 1e3,
        pitch_travel_deg_h=2.0 * mix.pulse_deg * changed.machine.rated_rotor_speed * _RPM * 60.0,
    )


def governing_clearance(turbine: Turbine, mix: Mix, given: Given) -> float:
    """Return what remains in the governing wind alone [m]."""
    return _governing(running(turbine, mix, given.spar_share), given)[0]


def gust_of(given: Given, wind: float) -> float:
    """Return by how much the wind suddenly changes [m/s]."""
    return normal_sigma(given.site, wind) if math.isnan(given.gust) else given.gust


def _governing(run: Running, given: Given) -> tuple[float, float]:
    """Return the clearance in the governing wind, and that wind normal to the disc [m, m/s]."""
    turbine, rotor = run.turbine, run.rotor
    points = run.judged_points()
    steady = rotor.evaluate(points)
    facing = math.cos(turbine.rotor.tilt)
    rise = np.array([gust_of(given, wind / facing) for wind in points[:, 0]]) * facing
    rise = np.maximum(-turbine.rotor.side * rise, _STILL - points[:, 0])
    pulse = np.full_like(rise, run.away * math.radians(run.mix.pulse_deg))
    met = points + np.stack([rise, 0.0 * rise, pulse], axis=1)
    held = steady.induction * (points[:, 0] / met[:, 0])[:, None]
    bent = rotor.evaluate(met, steady.q, held)
    mode = tower_modes(turbine).fore_aft
    left = []
    for row in range(len(points)):
        spin = Spin(float(met[row, 1]), float(met[row, 2]), turbine.rotor.cone)
        bend = bend_of(turbine, rotor, bent.q[row], spin)
        top = float(steady.thrust[row]) * facing / mode.stiffness
        left.append(bent_clearance(turbine, spin.pitch, bend, top, mode))
    at = int(np.argmin(left))
    return float(left[at]), float(points[at, 0])


def _swing(run: Running, point: Array, state: RotorState, given: Given) -> float:
    """Amplitude of the flap moment at the shaft, once a turn, in the site's extreme shear, rated wind [N m].

    Notes
    -----
    Half of what lies between the blade up and down; the wind at three quarters of the radius stands for the
    blade's; induced velocity held. At fine pitch the blade stalls in the upper wind, which caps it.
    """
    added = 2.0 * shear_gradient(given.site, float(point[0, 0])) * 0.75 * run.turbine.rotor_radius
    moments = []
    for sign in (1.0, -1.0):
        met = point + np.array([[sign * added, 0.0, 0.0]])
        there = run.rotor.evaluate(met, state.q, state.induction * point[0, 0] / met[0, 0])
        force = float(there.thrust[0]) / run.turbine.rotor.blade_count
        moments.append(float(there.root_flap_moment[0]) + run.turbine.rotor.hub_radius * force)
    return 0.5 * (moments[0] - moments[1])
