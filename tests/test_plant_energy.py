"""The structural equations against their energy, against particles, and against sums of forces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.kernels import layout as at
from tests.plant_lanes import Rig, rig, steady_wind, turbine
from tests.plant_twins import GRAVITY, Energies, Particles, coordinates, directions

COUNT = 3


def uneven():
    """Tilted, coned, prebent, every blade a little different."""
    skerry = turbine(("rotor.tilt_deg", 6.0), ("rotor.cone_deg", 4.0))
    blade = replace(
        skerry.blade,
        pitch_offset=np.radians([0.3, -0.2, 0.1]),
        prebend_offset=np.array([0.2, -0.1, 0.0]),
        stiffness_factor=np.array([1.0, 1.02, 0.97]),
        mass_factor=np.array([1.01, 1.0, 0.98]),
    )
    return replace(skerry, blade=blade)


def in_vacuum(design, slope: bool = True):
    design.scalars[:, [at.DENSITY, at.FA_DAMPING, at.SS_DAMPING]] = 0.0
    design.matrices[:, :, at.MAT_C] = 0.0
    if not slope:
        design.scalars[:, at.FA_SLOPE] = 0.0


def stirred(side: float = -1.0, *, slope: bool = True, parts: int = 1, seconds: float = 40.0) -> Rig:
    """One lane in vacuum, no generator, pitch held at unlike angles, every mode far from rest."""
    machine = uneven()
    machine = replace(machine, rotor=replace(machine.rotor, side=side))
    lane = rig(machine, [steady_wind(10.0)], edit=lambda d: in_vacuum(d, slope), parts=parts, seconds=seconds)
    rng = np.random.Generator(np.random.Philox(key=[5, 1]))
    y = lane.lanes.y[0]
    y[at.Q : at.Q + 9] = rng.normal(size=9) * np.tile([3.0, 0.4, 0.8], 3)
    y[at.QD : at.QD + 9] = rng.normal(size=9) * np.tile([6.0, 2.0, 3.0], 3)
    y[at.TOWER : at.TOWER + 4] = 0.5, 0.4, -0.2, 0.3
    y[at.PITCH : at.PITCH + 3] = lane.pitch[:] = 0.2, 0.3, 0.1
    y[at.SPEED] = 1.15
    y[at.TORQUE] = lane.torque[:] = 0.0
    return lane.restart()


def tilt_of(lane: Rig, y) -> float:
    s = lane.design.scalars[0]
    return s[at.TILT] - s[at.SIDE] * s[at.FA_SLOPE] * y[at.TOWER]


def energies(lane: Rig) -> tuple[np.ndarray, np.ndarray]:
    """Total and kinetic energy after every eighth kept period [J]."""
    total, kinetic = [], []
    for y in lane.kept[::8, 0]:
        twin = Energies(lane.design, y[at.PITCH : at.PITCH + COUNT], tilt_of(lane, y))
        z, zd = coordinates(y, COUNT)
        kinetic.append(twin.kinetic(z, zd))
        total.append(kinetic[-1] + twin.potential(z))
    return np.array(total), np.array(kinetic)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_lagranges_equations_differentiated_numerically_give_the_same_accelerations(side):
    lane = stirred(side)
    y = lane.lanes.y[0]
    twin = Energies(lane.design, y[at.PITCH : at.PITCH + COUNT], tilt_of(lane, y))
    z, zd = coordinates(y, COUNT)
    _, ours = coordinates(lane.lanes.dy[0], COUNT)
    assert ours == pytest.approx(twin.accelerations(z, zd), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_without_air_damping_and_generator_no_energy_is_lost(side):
    """Closed form: energy of blades, tower, rotor and weight is constant; only the step's error remains."""
    drifts = []
    for parts in (2, 4):
        total, kinetic = energies(stirred(side, slope=False, parts=parts).march(12.0, keep="y"))
        drifts.append(np.ptp(total))
        assert np.ptp(kinetic) > 2e5
    assert drifts[0] < 1e-3 * np.ptp(kinetic)
    # the energy of a fourth-order method drifts with the fifth power of its step
    assert 3.6 < np.log2(drifts[0] / drifts[1]) < 5.6


def test_the_nodding_tower_top_wins_and_loses_energy_but_none_in_the_long_run():
    """The top's rotation is in the equations to first order only: the energy ripples, and does not drift."""
    total, kinetic = energies(stirred(parts=2).march(36.0, keep="y"))
    assert np.ptp(total) < 0.06 * np.ptp(kinetic)
    first, last = total[: len(total) // 3].mean(), total[-len(total) // 3 :].mean()
    assert abs(last - first) < 0.003 * np.ptp(kinetic)


def virtual_work(particles: Particles, lane: Rig):
    """Work of inertia and weight of all particles on every coordinate, and each blade's root moments.

    D'Alembert's principle, Jacobians by complex steps.
    """
    y, s = lane.lanes.y[0], lane.design.scalars[0]
    z, zd = coordinates(y, COUNT)
    _, zdd = coordinates(lane.lanes.dy[0], COUNT)
    work, moments, h = np.zeros(len(z)), [], 1e-3
    for b in range(COUNT):
        pitch = y[at.PITCH + b] + lane.design.blades[0, b, at.PITCH_OFFSET]

        def places(where, b=b, pitch=pitch):
            return particles.places(b, where, pitch, s)

        jacobian = np.stack([np.imag(places(z + 1e-30j * e)) / 1e-30 for e in np.eye(len(z))])
        bend = (places(z + h * zd) - 2.0 * places(z) + places(z - h * zd)) / h**2
        force = np.einsum("i,ipk->pk", zdd, jacobian) + bend + np.array([0.0, 0.0, GRAVITY])
        work += np.einsum("p,pk,ipk->i", particles.mass[b], force, jacobian)
        moments.append(root_moments(particles, b, z, pitch, s, -force * particles.mass[b][:, None]))
    return work, np.array(moments)


def root_moments(particles: Particles, b: int, z, pitch: float, scalars, force):
    """Flap and edge moment (positive downwind, towards the leading edge) of forces about the blade's root."""
    rotor = particles.machine.rotor
    rest = z.copy()
    rest[: COUNT * at.MODES] = 0.0
    straight = particles.places(b, rest, pitch, scalars)
    # the unbent blade's own axes, read from where particles on its axis and on its prebend stand
    tilt = rotor.tilt - rotor.side * scalars[at.FA_SLOPE] * z[COUNT * at.MODES]
    n, t, a = directions(z[-1] + 2 * np.pi * b / COUNT, tilt, rotor.cone, rotor.side)
    flapwise, edgewise = np.cos(pitch) * n + np.sin(pitch) * t, np.cos(pitch) * t - np.sin(pitch) * n
    prebend = rotor.side * particles.basis[b].prebend
    root = straight[0] - (particles.r[0] - particles.root) * a - prebend[0] * flapwise
    arm = particles.places(b, z, pitch, scalars) - root
    moment = np.cross(arm, force).sum(axis=0)
    return -(moment @ edgewise), moment @ flapwise


def settled(q, pitch: float = 0.0, *, push: bool = True) -> Rig:
    """A lane in vacuum with these amplitudes, their elastic load taken off: nothing springs back."""

    def edit(design):
        in_vacuum(design)
        if push:
            design.matrices[:, :, at.MAT_K] = 0.0

    lane = rig(uneven(), [steady_wind(10.0)], edit=edit, seconds=1.0)
    y = lane.lanes.y[0]
    y[at.Q : at.Q + 9] = np.tile(q, 3)
    y[at.TOWER : at.TOWER + 4] = 0.0
    y[at.PITCH : at.PITCH + 3], y[at.SPEED], y[at.TORQUE] = pitch, 1.15, 0.0
    return lane.restart()


STATES = (((0.0, 0.0, 0.0), 0.0), ((7.0, 0.1, 0.3), 0.0), ((4.0, -0.2, 0.2), 0.3))


@pytest.fixture(scope="module")
def particles():
    return Particles(uneven())


@pytest.mark.parametrize("q, pitch", STATES)
def test_particles_carried_by_shaft_and_tower_feel_what_the_equations_say(particles, q, pitch):
    """Brute force without any expansion: what is left out amounts to less than 0.02 m of deflection."""
    work, _ = virtual_work(particles, settled(q, pitch))
    stiffness = rig(uneven(), [steady_wind(10.0)], seconds=1.0).design.matrices[0, :COUNT, at.MAT_K, 0, 0]
    flap = work[: COUNT * at.MODES].reshape(COUNT, at.MODES)[:, 0] / stiffness
    assert np.abs(flap).max() < 0.02


@pytest.mark.parametrize("q, pitch", STATES)
def test_root_moments_are_the_sum_of_the_forces_times_their_arms(particles, q, pitch):
    """To 2 % of the largest moment: the tower top's rotation is in the equations to first order only."""
    lane = settled(q, pitch)
    _, moments = virtual_work(particles, lane)
    out = lane.lanes.out[0]
    ours = np.stack([out[at.OUT_FLAP : at.OUT_FLAP + COUNT], out[at.OUT_EDGE : at.OUT_EDGE + COUNT]], axis=1)
    assert np.ptp(moments) > 1e6
    assert ours == pytest.approx(moments, rel=0.01, abs=3e4)
