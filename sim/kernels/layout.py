"""Where does each quantity lie in the packed arrays: the one place that names offsets.

A lane's state is one contiguous array: modal amplitudes (blade, mode), their rates, tower
displacements and rates, azimuth, rotor speed, generator torque, pitch, pitch rate, pitch held; then, from
``FLAT`` on, the station states in rows of ``WIDTH``. Rows have a fixed width, so that the compiler
can see that they do not overlap and vectorises the station loops.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

STATIONS = 20  #: aerodynamic stations of a blade
WIDTH = 64  #: length of a row of stations, all blades one after the other
MODES = 3  #: flap 1, flap 2, edge 1
SHAPES = (
    5  #: the modes, then hinge rotations in flap and edge, held at zero, whose reactions are the root moments
)
TIP_COLUMN = 60  #: the blade tips stand behind the stations of all blades in the rows of constants
BLADES = 3  #: the most blades that a row has room for
POINTS = 256  #: length of a row of the wind's grid, one height after the other

# State offsets for up to three blades.
Q = 0
QD = Q + BLADES * MODES
TOWER = QD + BLADES * MODES  # fore-aft, its rate, side-side, its rate
AZIMUTH = TOWER + 4
SPEED = AZIMUTH + 1
TORQUE = SPEED + 1
PITCH = TORQUE + 1  # of the servo; the blade stands within its play of it
RATE = PITCH + BLADES
HELD = RATE + BLADES  # where the blade stood at the last step: what the servo's play is reckoned from
FLAT = 40
ROW_Z, ROW_W, ROW_X1, ROW_X2, ROW_F = (n * WIDTH for n in range(5))  # from FLAT
STATE = FLAT + 5 * WIDTH

# Rows of station constants, by where they begin: Design.stations[design, row + station].
R, DR, CHORD, TWIST, ARM, MID, THICK, PREBEND = (n * WIDTH for n in range(8))
PHI_X = 8 * WIDTH  # 5 shapes
PHI_Y = 13 * WIDTH  # 5 shapes
LIFT_P = 18 * WIDTH  # 3 modes: shortening linear in the amplitude, from prebend
LIFT_S = 21 * WIDTH  # 6: shortening quadratic in the amplitudes, 00 01 02 11 12 22
OVER_CHORD, TIP_GAP, ROOT_GAP, SOLIDITY, INFLOW_LAG = (n * WIDTH for n in range(27, 32))  # see kernels.aero
# For the servos' torque: moment coefficient in attached flow, the quarter chord seen from the pitch axis.
MOMENT, LIFT_X, LIFT_Y = (n * WIDTH for n in range(32, 35))
STATION_ROWS = 35

# Rows of scratch, by where they begin; written and read within one evaluation.
(
    X, Y, Z, RHO, V, UD, VD, WX, WY, WZ, VN, VT, V0, A, SIN, COS, SPEED2, ANGLE, THREE_QUARTER, ALPHA,
    CL_ATT, F_STATIC, CL_SEP, CD, PN, PT,
) = (n * WIDTH for n in range(26))  # fmt: skip
SCRATCH_ROWS = 26
# Where a station lies in the wind's grid: rows that are free until the wind is read.
LOW, FAR, RIGHT, OVER = VN, VT, V0, A

# Rows of the wind's grid, by where they begin: Wind.ground[wind, row + point], Wind.grid and Work.plane.
PROFILE, SINE, COSINE = (n * POINTS for n in range(3))
BESIDE, ABOVE = (n * POINTS for n in range(2))
PLANE_X, PLANE_Y, PLANE_Z, EDDY_U, EDDY_V, EDDY_W = (n * POINTS for n in range(6))

# Scalars of a design: Design.scalars[design, name].
(
    SIDE,
    TILT,
    COS_CONE,
    SIN_CONE,
    OVERHANG,
    HUB_HEIGHT,
    HUB_RADIUS,
    TIP_RADIUS,
    DENSITY,
    ROTOR_INERTIA,
    FA_MASS,
    FA_STIFFNESS,
    FA_DAMPING,
    FA_SLOPE,
    FA_LEVER,
    FA_GRAVITY,
    FA_BASE,
    SS_MASS,
    SS_STIFFNESS,
    SS_DAMPING,
    SS_SLOPE,
    SS_LEVER,
    SS_BASE,
    TOWER_HEIGHT,
    TOWER_BASE_RADIUS,
    TOWER_TOP_RADIUS,
    TOWER_DRAG,
    PITCH_FREQUENCY,
    PITCH_DAMPING,
    PITCH_RATE_LIMIT,
    PITCH_ACCELERATION_LIMIT,
    PITCH_LOW,
    PITCH_HIGH,
    TORQUE_LAG,
    EFFICIENCY,
    RATED_SPEED,
    DEFLECTION_LIMIT,
    TOP_LIFT,
) = range(38)
SCALARS = 38

# Scalars of a blade: Design.blades[design, blade, name].
MASS, FIRST, SECOND, PREBEND_0, PREBEND_1, PREBEND_2, PITCH_OFFSET = range(7)
# Its servo: natural frequency, limits of rate and acceleration, rate of an emergency stop, half its play, the
# blade's own inertia about the pitch axis, friction moment over root moment and over radial force.
(SERVO_FREQUENCY, SERVO_RATE, SERVO_ACCELERATION, STOP_RATE, HALF_PLAY, PITCH_INERTIA, FRICTION_ARM,
 FRICTION_RADIUS) = range(7, 15)  # fmt: skip
BLADE_SCALARS = 15

# What one tick puts out: out[lane, name], blade quantities from the named offset on.
(
    OUT_FLAP,
    OUT_EDGE,
    OUT_DISTANCE,
    OUT_PITCH,
) = range(0, 12, 3)
(
    OUT_AZIMUTH,
    OUT_SPEED,
    OUT_FA_ACCELERATION,
    OUT_SS_ACCELERATION,
    OUT_WIND,
    OUT_POWER,
    OUT_THRUST,
    OUT_TORQUE,
    OUT_FA_BASE,
    OUT_SS_BASE,
    OUT_FA,
    OUT_SS,
) = range(12, 24)
OUT_TIP = 24  # tip deflection of each blade, flapwise in its own axes
OUT_STATION_WIND = 27  # mean longitudinal wind over the outer half of each blade
OUT_RATE = 30  # pitch rate of each blade
OUT_SERVO = 33  # torque of each servo about the pitch axis
OUT_DIRECTION = 36  # of the wind, from the left of the shaft positive
OUTPUTS = 37

# Columns of a completed pass.
(
    PASS_BLADE,
    PASS_TIME,
    PASS_AZIMUTH,
    PASS_RADIUS,
    PASS_CLEARANCE,
    PASS_PITCH,
    PASS_WIND,
    PASS_FIRST_ACT,
    PASS_TICK,
) = range(9)
PASS_COLUMNS = 9

# Modal integrals over a blade; sums over its mass as sim.plant.blade defines them.
VEC_FX, VEC_FY, VEC_JX, VEC_JY, VEC_PR, VEC_P1, VEC_PX, VEC_PY = range(8)
# SYMMETRIC is Mxy + Mxy', SKEW is Mxy' - Mxy.
MAT_M, MAT_YY, MAT_SYMMETRIC, MAT_SKEW, MAT_SR, MAT_S1, MAT_K, MAT_C, MATRICES = range(9)


class Design(NamedTuple):
    """Everything about the turbines that the kernels need; the leading axis is the design."""

    scalars: np.ndarray  #: (design, SCALARS)
    stations: np.ndarray  #: (design, STATION_ROWS * WIDTH)
    polars: np.ndarray  #: (design, STATIONS, 361, 4) attached lift, separation point, separated lift, drag
    blades: np.ndarray  #: (design, BLADES, BLADE_SCALARS)
    vectors: np.ndarray  #: (design, BLADES, 8, SHAPES) rows VEC_*
    matrices: np.ndarray  #: (design, BLADES, MATRICES, SHAPES, SHAPES) rows MAT_*
    inverse: np.ndarray  #: (design, BLADES, MODES, MODES) inverse of the modal mass matrix
    tower_shape: np.ndarray  #: (design, 2, 65) fore-aft and side-side shape over height, equal steps


class Wind(NamedTuple):
    """What the kernels need of the wind; the leading axis is the wind."""

    mean: np.ndarray  #: (wind, 6) hub speed, shear exponent, upflow, yaw, sigma1, veer
    ground: np.ndarray  #: (wind, 3 * POINTS) mean speed [m/s], sine and cosine of its direction, gusts apart
    tilt: np.ndarray  #: (wind, 2) sine and cosine of the upflow
    grid: np.ndarray  #: (2 * POINTS,) y and height above the hub of the points [m]
    box: np.ndarray  #: (wind,) index of the turbulence box, -1 for none
    boxes: np.ndarray  #: (box, time, 3 * point) float32, over sigma1; the first step follows the last
    points: tuple[int, int]  #: along z and y
    box_step: float  #: [s]
    box_y0: float
    box_z0: float
    box_dy: float
    box_dz: float
    transient: np.ndarray  #: (wind,) index, -1 for none
    transients: np.ndarray  #: (transient, time, 4)
    transient_step: float  #: [s]
    transient_start: np.ndarray  #: (wind,) [s]


# What is summed and what is the largest over the judged time: Lanes.totals[lane, name].
(
    SUM_ENERGY,
    SUM_TIME,
    SUM_WIND,
    MAX_SPEED,
    MAX_THRUST,
    MIN_CLEARANCE,
    MAX_TIP,
) = range(7)
# For each blade: pitch travel, its product with the root moment, time in motion, starts, whether it moved at
# the last tick, work done by the servo; largest rate, torque and power.
(SUM_TRAVEL, SUM_LOADED_TRAVEL, SUM_MOVING, SUM_STARTS, WAS_MOVING, SUM_WORK, MAX_RATE, MAX_SERVO_TORQUE,
 MAX_SERVO_POWER) = range(7, 34, 3)  # fmt: skip
LARGEST = 34  # the largest magnitude of each channel of TURN_*
TOTALS = LARGEST + 26

# The running search for a pass's minimum: Lanes.search[lane, blade, name].
(LAST, LAST_BUT_ONE, LEAST, LEAST_TIME, LEAST_RADIUS, LEAST_AZIMUTH, LEAST_PITCH, LEAST_WIND) = range(8)
SEARCH = 8

# Channels whose cycles are counted, three blades where a blade is meant.
TURN_FLAP, TURN_EDGE, TURN_PITCH, TURN_OUT_OF_PLANE, TURN_IN_PLANE, TURN_RESULTANT = range(0, 18, 3)
(TURN_SHAFT_1, TURN_SHAFT_2, TURN_HUB_TILT, TURN_HUB_YAW, TURN_FA_BASE, TURN_SS_BASE, TURN_FA_TOP,
 TURN_SS_TOP) = range(18, 26)  # fmt: skip
TURNING = 26


class Lanes(NamedTuple):
    """Everything that marches, lane-first; a lane's row is all that there is of it."""

    y: np.ndarray  #: (lane, STATE) the plant's state
    dy: np.ndarray  #: (lane, STATE) its rate at the same instant
    out: np.ndarray  #: (lane, OUTPUTS) what can be measured at this instant
    design: np.ndarray  #: (lane,) int64
    wind: np.ndarray  #: (lane,) int64
    tick: np.ndarray  #: (lane,) int64 periods since the start
    status: np.ndarray  #: (lane,) int64
    status_time: np.ndarray  #: (lane,) [s]
    search: np.ndarray  #: (lane, BLADES, SEARCH)
    first_act: np.ndarray  #: (lane, BLADES) int64 first acting tick of the present run-up, -1 for none
    last_pass: np.ndarray  #: (lane, BLADES) smallest clearance of the last pass [m], nan before the first
    last_pass_tick: np.ndarray  #: (lane, BLADES) int64 tick at which it was complete
    totals: np.ndarray  #: (lane, TOTALS)
    rate_limit: np.ndarray  #: (lane, BLADES) of each servo in this period [rad/s]; negative: the design's own


# Columns of a fault: Faults.table[lane, fault, name]; ticks are whole numbers.
(FAULT_KIND, FAULT_FROM, FAULT_UNTIL, FAULT_CHANNEL, FAULT_COLUMNS, FAULT_BLADE, FAULT_SIZE) = range(7)
FAULT_WIDTH = 7


class Faults(NamedTuple):
    """What breaks in each lane, and the safety chain's latch; lane-first."""

    table: np.ndarray  #: (lane, room, FAULT_WIDTH)
    count: np.ndarray  #: (lane,) int64 faults of the lane
    stopped: np.ndarray  #: (lane,) int64 tick at which an emergency stop began, -1 for none


class Log(NamedTuple):
    """What is kept of the judged time, lane-first."""

    judged_from: np.ndarray  #: (lane,) int64 tick
    passes: np.ndarray  #: (lane, room, PASS_COLUMNS)
    pass_count: np.ndarray  #: (lane,) int64
    turning: np.ndarray  #: (lane, TURNING, room); room 0 keeps none
    turning_state: np.ndarray  #: (lane, TURNING, 2)
    turning_count: np.ndarray  #: (lane, TURNING) int64
    cells: (
        np.ndarray
    )  #: (lane, TURNING, cell, sum) closed cycles, see kernels.tally; no cell where none are kept
