"""A turbine of a few lines, in plain numpy, on which controllers can be tried without the plant.

Invented throughout: a published curve fit for the power coefficient (S. Heier, Grid Integration of Wind
Energy Conversion Systems, 1998; from memory), a made-up thrust curve, one flap mode per blade.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sim.interface import SENSED, Commands, Known, Readings, SteadyTable

RADIUS, DENSITY, INERTIA, EFFICIENCY = 69.5, 1.2, 4.3e7, 0.95
RATED_POWER, RATED_SPEED, MINIMUM_SPEED = 4.4e6, 1.15, 0.65
RATED_TORQUE = RATED_POWER / EFFICIENCY / RATED_SPEED
FLAP_FREQUENCY, FLAP_DAMPING, STIFFNESS = 4.4, 0.5, 6.0e5
UNLOADED, REQUIRED, PERIOD = 13.0, 3.9, 0.04
AREA = np.pi * RADIUS**2
PITCH_FREQUENCY, PITCH_DAMPING, PITCH_RATE = 12.0, 0.8, np.deg2rad(8.0)


def power_coefficient(ratio, pitch):
    pitch_deg = np.maximum(np.rad2deg(pitch), 0.0)
    inverse = 1.0 / (ratio + 0.08 * pitch_deg) - 0.035 / (1.0 + pitch_deg**3)
    return 0.22 * (116.0 * inverse - 0.4 * pitch_deg - 5.0) * np.exp(-12.5 * inverse)


def thrust(wind, speed, pitch):
    ratio = speed * RADIUS / wind
    coefficient = np.clip(0.125 * ratio, 0.0, 1.1) * np.exp(-np.rad2deg(pitch) / 9.0)
    return 0.5 * DENSITY * AREA * wind**2 * coefficient


def torque(wind, speed, pitch):
    ratio = speed * RADIUS / wind
    return 0.5 * DENSITY * AREA * wind**3 * power_coefficient(ratio, pitch) / speed


def deflection(wind, speed, pitch):
    """Settled tip deflection towards the tower [m], about 7 m at rated."""
    return 7.0 * thrust(wind, speed, pitch) / 7.0e5


def steady_table(winds=None):
    winds = np.arange(3.0, 25.01, 0.5) if winds is None else winds
    ratios = np.linspace(2.0, 12.0, 2001)
    best = ratios[np.argmax(power_coefficient(ratios, 0.0))]
    speed = np.clip(best * winds / RADIUS, MINIMUM_SPEED, RATED_SPEED)
    low, high = np.zeros_like(winds), np.full_like(winds, 0.6)
    for _ in range(60):
        middle = 0.5 * (low + high)
        over = torque(winds, speed, middle) > RATED_TORQUE
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    pitch = np.where(torque(winds, speed, 0.0) > RATED_TORQUE, low, 0.0)
    h = 1e-4
    slope = (torque(winds, speed, pitch + h) - torque(winds, speed, pitch)) / h
    bend = (deflection(winds, speed, pitch + h) - deflection(winds, speed, pitch)) / h
    tip = deflection(winds, speed, pitch)
    rows = {
        "wind_speed": winds, "rotor_speed": speed, "pitch": pitch,
        "torque": np.minimum(torque(winds, speed, pitch), RATED_TORQUE),
        "thrust": thrust(winds, speed, pitch), "root_flap_moment": STIFFNESS * tip, "tip_deflection": tip,
        "clearance": UNLOADED - tip, "torque_per_pitch": slope, "deflection_per_pitch": bend,
    }  # fmt: skip
    gain = 0.5 * DENSITY * AREA * RADIUS**3 * power_coefficient(best, 0.0) / best**3
    return rows, gain


def known(lanes, blades=3, pad=0):
    rows, gain = steady_table()
    padded = {k: np.concatenate([v, np.repeat(v[-1:], pad)]) for k, v in rows.items()}
    table = SteadyTable(**{k: np.repeat(v[None, :], lanes, axis=0) for k, v in padded.items()})

    def full(value):
        return np.full(lanes, float(value))

    modes = np.repeat(np.array([[FLAP_FREQUENCY, 13.0, 8.0]]), lanes, axis=0)
    return Known(
        period=PERIOD, blade_count=blades, rated_power=full(RATED_POWER), rated_torque=full(RATED_TORQUE),
        rated_rotor_speed=full(RATED_SPEED), minimum_rotor_speed=full(MINIMUM_SPEED),
        efficiency=full(EFFICIENCY), rotor_inertia=full(INERTIA), optimal_torque_gain=full(gain),
        fine_pitch=full(0.0), feather_pitch=full(np.deg2rad(90.0)), pitch_rate_limit=full(PITCH_RATE),
        pitch_acceleration_limit=full(np.deg2rad(20.0)), pitch_natural_frequency=full(PITCH_FREQUENCY),
        pitch_damping_ratio=full(PITCH_DAMPING), pitch_delay=full(0.0), steady=table, blade_frequency=modes,
        blade_damping_ratio=np.full((lanes, 3), 0.005), flap_aerodynamic_damping_ratio=full(FLAP_DAMPING),
        deflection_per_moment=full(1.0 / STIFFNESS), unloaded_clearance=full(UNLOADED),
        required_clearance=full(REQUIRED), rotor_radius=full(RADIUS), side=full(-1.0),
        preview_range=full(np.nan),
    )  # fmt: skip


def readings(lanes, blades=3, **given):
    """Plausible readings at rated, all valid and fresh, with the given ones replaced."""
    shapes = {name: (lanes,) for name in SENSED}
    for name in ("pitch", "root_flap_moment", "root_edge_moment", "tip_distance", "last_pass_clearance"):
        shapes[name] = (lanes, blades)
    shapes["tower_acceleration"] = (lanes, 2)
    usual = {"rotor_speed": RATED_SPEED, "wind_speed": 10.0, "power": RATED_POWER, "last_pass_clearance": 7.0,
             "root_flap_moment": 6.0 * STIFFNESS}  # fmt: skip
    values = {name: np.full(shape, usual.get(name, 0.0)) for name, shape in shapes.items()}
    values |= {name: np.array(np.broadcast_to(value, shapes[name]), float) for name, value in given.items()}
    return Readings(
        tick=np.zeros(lanes, np.int64), time=np.zeros(lanes), **values,
        valid={name: np.isfinite(values[name]) for name in SENSED},
        age={name: np.zeros(shapes[name]) for name in SENSED},
    )  # fmt: skip


def no_commands(lanes, blades=3):
    return Commands(np.zeros((lanes, blades)), np.zeros(lanes), np.zeros(lanes, bool))


@dataclass
class History:
    """What one run did, step first."""

    speed: np.ndarray
    pitch: np.ndarray
    torque: np.ndarray
    passes: list

    def clearances(self):
        return np.array([row[2] for row in self.passes])

    def travel_deg_per_hour(self):
        seconds = len(self.pitch) * PERIOD
        return np.rad2deg(np.abs(np.diff(self.pitch, axis=0)).sum() / self.pitch[0].size) / seconds * 3600.0


def turbulence(mean, deviation, seconds, seed, correlation_s=8.0, rotor_s=2.0):
    """Draw a random wind, averaged as by a rotor, for each lane, (step, lane) [m/s]; at least 2 m/s."""
    generator = np.random.Generator(np.random.Philox(key=seed))
    steps = int(seconds / PERIOD)
    decay, average = np.exp(-PERIOD / correlation_s), np.exp(-PERIOD / rotor_s)
    wind = np.empty((steps, len(mean)))
    raw = now = generator.standard_normal(len(mean))
    for step in range(steps):
        raw = decay * raw + np.sqrt(1 - decay**2) * generator.standard_normal(len(mean))
        now = average * now + (1 - average) * raw
        wind[step] = np.maximum(np.asarray(mean) + deviation * now, 2.0)
    return wind


def march(layers, winds, low_winds=None, delay_s=0.2, edit=None, settle_s=0.0):
    """March the little machine with a stack of layers; ``winds`` is (step, lane).

    ``low_winds`` is an extra wind that only a blade near the tower meets. ``edit(step, readings)`` may
    spoil the readings. Readings are all ``delay_s`` old and say so.
    """
    steps, lanes = winds.shape
    knowledge = known(lanes)
    low = np.zeros_like(winds) if low_winds is None else low_winds
    table = steady_table()[0]
    speed = np.interp(winds[0], table["wind_speed"], table["rotor_speed"])
    servo = np.repeat(np.interp(winds[0], table["wind_speed"], table["pitch"])[:, None], 3, axis=1)
    servo_rate = np.zeros((lanes, 3))
    bent = deflection(winds[0][:, None], speed[:, None], servo)
    bent_rate = np.zeros_like(bent)
    azimuth = np.linspace(0.0, 2.0, lanes)
    last_pass = np.full((lanes, 3), np.nan)
    late = round(delay_s / PERIOD)
    queue, states, history = [], None, History([], [], [], [])
    spread = 2 * np.pi * np.arange(3) / 3
    for step in range(steps):
        now = dict(rotor_speed=speed, azimuth=azimuth, pitch=servo, root_flap_moment=STIFFNESS * bent,
                   last_pass_clearance=last_pass, wind_speed=winds[step])  # fmt: skip
        queue.append({k: v.copy() for k, v in now.items()})
        seen = readings(lanes, **queue[max(0, len(queue) - 1 - late)])
        queue = queue[-late - 1 :]
        seen = replace(seen, age={k: np.full_like(v, delay_s) for k, v in seen.age.items()})
        seen = seen if edit is None else edit(step, seen)
        if states is None:
            states = [layer.init(knowledge, seen) for layer in layers]
        command = reference = no_commands(lanes)
        for i, layer in enumerate(layers):
            states[i], command = layer.step(states[i], seen, command, reference)
            reference = reference if layer.tower_pass else command
        for _ in range(4):
            h = PERIOD / 4
            angle = azimuth[:, None] + spread
            met = winds[step][:, None] + low[step][:, None] * np.maximum(-np.cos(angle), 0.0) ** 2
            pull = (
                PITCH_FREQUENCY**2 * (command.pitch - servo)
                - 2 * PITCH_DAMPING * PITCH_FREQUENCY * servo_rate
            )
            servo_rate = np.clip(servo_rate + h * pull, -PITCH_RATE, PITCH_RATE)
            servo = servo + h * servo_rate
            target = deflection(met, speed[:, None], servo)
            force = FLAP_FREQUENCY**2 * (target - bent) - 2 * FLAP_DAMPING * FLAP_FREQUENCY * bent_rate
            bent_rate = bent_rate + h * force
            bent = bent + h * bent_rate
            drive = torque(met, speed[:, None], servo).mean(axis=1)
            speed = np.maximum(speed + h * (drive - command.torque) / INERTIA, 0.1)
            before = np.mod(angle - np.pi, 2 * np.pi)
            azimuth = np.mod(azimuth + h * speed, 2 * np.pi)
            passed = np.mod(azimuth[:, None] + spread - np.pi, 2 * np.pi) < before
            last_pass = np.where(passed, UNLOADED - bent, last_pass)
            if step * PERIOD >= settle_s:
                history.passes += [
                    (step, tuple(at), (UNLOADED - bent)[tuple(at)]) for at in np.argwhere(passed)
                ]
        history.speed.append(speed.copy())
        history.pitch.append(servo.copy())
        history.torque.append(command.torque.copy())
    for name in ("speed", "pitch", "torque"):
        setattr(history, name, np.array(getattr(history, name)))
    return history
