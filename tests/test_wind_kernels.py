"""Does the wind that was asked for arrive at the blades: all components, every direction, without a jump?"""

import dataclasses

import numpy as np
import pytest

from sim.kernels import layout as at
from sim.kernels.advance import make_work
from sim.kernels.inflow import dam, wind_plane
from sim.kernels.stations import face_wind, part_air, read_wind, shade_air
from sim.plant.air import wind_arrays
from sim.wind.field import BoxGrid, Site, pack_winds, site_wind

SITE = Site("II", "A", hub_height=96.0, rotor_diameter=140.0)
HUB = 96.0
GRID = BoxGrid(width=154.0, height=154.0, duration=30.0, ny=5, nz=4)


def plane_of(pack, time: float, w: int = 0) -> tuple[np.ndarray, float]:
    """The wind on the grid (component, z, y) as the kernel lays it, and the wind at the hub."""
    wind, work = wind_arrays(pack, HUB), make_work()
    wind_plane(work, time, w, wind)
    nz, ny = wind.points
    return work.plane.reshape(6, at.POINTS)[:3, : nz * ny].reshape(3, nz, ny), float(work.at_hub[0])


def turned(along, across, up, upflow, direction):
    """Wind components in the ground frame, from rotation matrices."""
    tilt = np.array([[np.cos(upflow), 0, -np.sin(upflow)], [0, 1, 0], [np.sin(upflow), 0, np.cos(upflow)]])
    # Positive direction: the wind comes from the left, so it blows towards -y.
    cosine, sine = np.cos(direction), np.sin(direction)
    turn = np.array([[cosine, sine, 0], [-sine, cosine, 0], [0, 0, 1]])
    return turn @ tilt @ np.array([along, across, up])


@pytest.mark.parametrize("time", [0.0, 7.53, 29.95])
def test_the_plane_is_mean_event_and_turbulence_turned_into_the_ground_frame(time) -> None:
    spec = site_wind("normal_turbulence", SITE, 11.0, upflow=0.14, yaw=0.2, veer=-0.002, shear_exponent=0.3)
    event = site_wind("vertical_shear", SITE, 11.0, sign=-1, transient_start=2.0)
    spec = dataclasses.replace(
        spec, kind="coherent_gust", added_speed=15.0, added_direction=1.1, transient_start=2.0
    )
    pack = pack_winds([spec, event], HUB, 140.0, 30.0, GRID)
    found, at_hub = plane_of(pack, time)
    share = min(max(time - 2.0, 0.0) / 10.0, 1.0)
    added, gust = 7.5 * (1 - np.cos(np.pi * share)), 1.1 * share
    step, part = int(time / 0.1), time / 0.1 - int(time / 0.1)
    box = pack.boxes[0].astype(float)
    eddies = spec.sigma * ((1 - part) * box[step] + part * box[step + 1])
    for row in range(4):
        above = -77.0 + row * 154.0 / 3
        for column in range(5):
            u, v, w = eddies[:, row, column]
            mean = 11.0 * ((HUB + above) / HUB) ** 0.3
            expected = turned(mean + added + u, v, w, 0.14, 0.2 - 0.002 * above + gust)
            np.testing.assert_allclose(found[:, row, column], expected, atol=2e-3)
    # Twenty points: the middle is none of them, the one after it stands for the hub.
    assert at_hub == pytest.approx(11.0 * ((HUB + 25.667) / HUB) ** 0.3 + added + eddies[0, 2, 0], abs=1e-3)


def test_a_shear_event_adds_its_gradients_up_and_across() -> None:
    pack = pack_winds(
        [site_wind("vertical_shear", SITE, 11.0, sign=-1), site_wind("horizontal_shear", SITE, 11.0)],
        HUB, 140.0, 30.0, GRID,
    )  # fmt: skip
    before, _ = plane_of(pack, 0.0)
    steep = 2.0 * pack.transients[0, 150, 2] * 2.0
    up = plane_of(pack, 6.0)[0][0] - before[0]
    np.testing.assert_allclose(up, np.repeat(np.linspace(-77, 77, 4)[:, None] * steep / 2, 5, 1), atol=1e-9)
    assert up[0, 0] > 0.0
    across = plane_of(pack, 6.0, 1)[0][0] - before[0]
    np.testing.assert_allclose(across, np.tile(np.linspace(-77, 77, 5) * -steep / 2, (4, 1)), atol=1e-9)


def test_a_box_repeats_without_a_jump() -> None:
    spec = site_wind("normal_turbulence", SITE, 11.0)
    pack = pack_winds([spec], HUB, 140.0, 30.0, GRID)
    period = GRID.period_samples * GRID.step
    usual = np.abs(np.diff(pack.boxes[0, :, 0].astype(float), axis=0)).max(axis=(1, 2)) * spec.sigma
    times = period + np.arange(-1.0, 1.05, 0.1)
    planes = np.array([plane_of(pack, time)[0][0] for time in times])
    assert np.abs(np.diff(planes, axis=0)).max() <= 1.001 * usual.max()
    np.testing.assert_allclose(plane_of(pack, period + 3.21)[0], plane_of(pack, 3.21)[0], atol=1e-5)


def test_stations_read_a_wind_that_is_linear_across_the_disc_exactly() -> None:
    rng = np.random.default_rng(3)
    y, z = rng.uniform(-77.0, 77.0, 60), rng.uniform(-77.0, 77.0, 60)
    scratch, plane = np.zeros(at.SCRATCH_ROWS * at.WIDTH), np.zeros((6, at.POINTS))
    scratch[at.Y : at.Y + 60], scratch[at.Z : at.Z + 60] = y, z + HUB
    rows, columns = np.meshgrid(np.linspace(-77, 77, 4), np.linspace(-77, 77, 5), indexing="ij")
    slopes = ((10.0, 0.02, -0.03), (1.0, -0.01, 0.002), (-2.0, 0.03, 0.01))
    for part, (mean, along_y, along_z) in enumerate(slopes):
        plane[part, :20] = (mean + along_y * columns + along_z * rows).ravel()
    read_wind(scratch, 60, plane.ravel(), 5, 4, -77.0, HUB - 77.0, 154.0 / 4, 154.0 / 3)
    for row, (mean, along_y, along_z) in zip((at.WX, at.WY, at.WZ), slopes, strict=True):
        np.testing.assert_allclose(scratch[row : row + 60], mean + along_y * y + along_z * z, atol=1e-4)


def stations_at(x, y, z, wind) -> np.ndarray:
    scratch = np.zeros(at.SCRATCH_ROWS * at.WIDTH)
    for row, value in ((at.X, x), (at.Y, y), (at.Z, z)):
        scratch[row] = value
    scratch[[at.WX, at.WY, at.WZ]] = wind
    return scratch


def tower(height=93.9, base=2.15, top=1.65, drag=0.6) -> np.ndarray:
    scalars = np.zeros(at.SCALARS)
    scalars[at.TOWER_HEIGHT], scalars[at.TOWER_DRAG] = height, drag
    scalars[at.TOWER_BASE_RADIUS], scalars[at.TOWER_TOP_RADIUS] = base, top
    return scalars


@pytest.mark.parametrize("direction", [0.0, 0.5, -1.2, 2.9])
def test_the_dam_stands_to_the_wind_whatever_its_direction(direction) -> None:
    # Potential flow is turned as a whole: the station is turned with the wind, the wind found is turned back.
    x, y, height, speed = -5.0, 1.3, 40.0, 9.0
    radius = 2.15 - 0.5 * 40.0 / 93.9
    along, across = dam(x, y, radius)
    cosine, sine = np.cos(direction), -np.sin(direction)
    turn = np.array([[cosine, -sine], [sine, cosine]])
    scratch = stations_at(*(turn @ [x, y]), height, [*(turn @ [speed, 0.0]), 0.7])
    part_air(scratch, 0, 1, tower())
    np.testing.assert_allclose(scratch[[at.WX, at.WY]], turn @ [speed * along, speed * across], atol=1e-12)
    assert scratch[at.WZ] == 0.7


@pytest.mark.parametrize("direction", [0.0, 0.5, -1.2, 2.9])
def test_the_wake_follows_the_wind_whatever_its_direction(direction) -> None:
    cosine, sine = np.cos(direction), -np.sin(direction)
    turn = np.array([[cosine, -sine], [sine, cosine]])
    kept = []
    for x, y in ((6.0, 0.0), (6.0, 1.5), (-6.0, 0.0), (6.0, 9.0)):
        scratch = stations_at(*(turn @ [x, y]), 40.0, [*(turn @ [9.0, 0.0]), 0.9])
        shade_air(scratch, 0, 1, tower())
        kept.append(np.hypot(scratch[at.WX], scratch[at.WY]) / 9.0)
        assert scratch[at.WZ] == pytest.approx(0.9 * kept[-1])
    straight = stations_at(6.0, 0.0, 40.0, [9.0, 0.0, 0.0])
    shade_air(straight, 0, 1, tower())
    assert kept[0] == pytest.approx(straight[at.WX] / 9.0) and kept[0] < 0.8
    assert kept[0] < kept[1] < 1.0
    assert kept[2:] == [1.0, 1.0]


def test_all_components_meet_the_blade_along_its_normal_and_its_motion() -> None:
    rng = np.random.default_rng(5)
    frame, air = np.zeros(21), np.array([1.1, 0.3, -0.2])
    n, t = np.array([0.9, 0.1, -0.2]), np.array([-0.1, 0.7, 0.6])
    frame[4:7], frame[7:10], frame[12] = n, t, -0.8
    frame[16:19] = 0.004, 1.02, 1.03
    wind = rng.normal(size=3)
    scratch = stations_at(0.0, 0.0, 0.0, wind)
    scratch[at.RHO], scratch[at.VD] = 50.0, 0.4
    face_wind(scratch, 0, 1, frame, air)
    # The tower top moves by 0.3 m/s fore-aft and turns by 0.004 per metre, the blade points down.
    felt = wind - [0.3 * (1.02 + 0.004 * -0.8 * 50.0), -0.2 * 1.03, 0.0]
    assert scratch[at.VN] == pytest.approx(felt @ n)
    assert scratch[at.VT] == pytest.approx(1.1 * 50.0 + 0.4 - felt @ t)
