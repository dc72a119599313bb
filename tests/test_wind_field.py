"""Does a pack hold each wind that was asked for, and is a wind's identity its own?"""

import dataclasses
import json
import tracemalloc

import numba
import numpy as np
import pytest

from scenarios.batches import MAKING
from scenarios.foreman import Limits
from sim.errors import InputError
from sim.wind.factors import CACHE_BYTES
from sim.wind.field import KINDS, BoxGrid, Site, WindSpec, box_bytes, pack_winds, rotor_grid, site_wind
from sim.wind.sheared import wave_factors
from sim.wind.spec import KIND_NAMES

SITE = Site("I", "B", hub_height=90.0, rotor_diameter=126.0)
SMALL = BoxGrid(width=138.6, height=138.6, duration=60.0, ny=4, nz=5)


def pack(*specs):
    return pack_winds(specs, 90.0, 126.0, 60.0, SMALL)


def test_one_spec_of_each_kind_packs_with_the_promised_shapes():
    kinds = [kind for kind in KINDS if kind != "measured_series"]
    made = pack(*(site_wind(kind, SITE, 11.4, transient_start=70.0) for kind in kinds))
    assert made.mean.shape == (11, 6) and made.mean.dtype == np.float64
    assert made.boxes.shape == (1, SMALL.period_samples, 3, 5, 4) and made.boxes.dtype == np.float32
    assert made.box.tolist() == [-1, -1, -1, 0, 0, 0, -1, -1, -1, -1, -1] and made.box.dtype == np.int64
    assert made.transient.tolist() == [-1] * 6 + [0, 1, 2, 3, 4] and made.transient.dtype == np.int64
    assert made.transients.shape == (5, 601, 4) and made.transients.dtype == np.float64
    assert made.transient_start.tolist() == [70.0] * 11
    np.testing.assert_allclose(made.mean[4], [11.4, 0.2, 0.0, 0.0, 3.07418, 0.0], rtol=1e-5)
    # IEC 61400-1 (from memory): exponent 0.11 and sigma1 = 0.11 V for the turbulent extreme wind.
    np.testing.assert_allclose(made.mean[5], [11.4, 0.11, 0.0, 0.0, 0.11 * 11.4, 0.0])


def test_kinds_are_those_that_a_spec_knows():
    assert set(KINDS) == set(KIND_NAMES)


def test_the_usual_grid_covers_the_rotor_and_a_tenth_more():
    grid = rotor_grid(126.0, 660.0)
    assert (grid.ny, grid.nz, grid.step) == (15, 15, 0.1)
    assert grid.dy * 14 == pytest.approx(1.1 * 126.0)
    assert (grid.samples - 1) * grid.step >= 660.0
    assert grid.period_samples > grid.samples
    assert box_bytes(grid) < 18.5e6


def test_a_box_has_the_same_bits_alone_and_among_others():
    specs = [
        site_wind("normal_turbulence", SITE, speed, seed=seed) for speed in (8, 11.4) for seed in range(3)
    ]
    together = pack(*specs)
    for index in (5, 0, 3):
        alone = pack(specs[index])
        assert alone.boxes[0].tobytes() == together.boxes[together.box[index]].tobytes()
    backwards = pack(*specs[::-1])
    assert backwards.boxes[backwards.box[0]].tobytes() == together.boxes[together.box[5]].tobytes()


def test_winds_that_differ_in_shear_and_size_of_turbulence_share_a_box():
    base = site_wind("normal_turbulence", SITE, 11.4, seed=4)
    same = [
        site_wind("extreme_turbulence", SITE, 11.4, seed=4, yaw=0.1, upflow=0.14),
        dataclasses.replace(base, shear_exponent=0.1, veer=0.001),
    ]
    other = [
        dataclasses.replace(base, seed=5),
        dataclasses.replace(base, speed=11.5),
        dataclasses.replace(base, label="1.3"),
        dataclasses.replace(base, turbulence_scale=40.0),
    ]
    made = pack(base, *same, *other)
    assert made.box.tolist() == [0, 0, 0, 1, 2, 3, 4]
    assert made.boxes.shape[0] == 5


def test_fields_of_other_seeds_labels_and_speeds_are_not_correlated():
    base = site_wind("normal_turbulence", SITE, 11.4, seed=4)
    changes = ({}, {"seed": 5}, {"label": "b"}, {"speed": 11.5})
    made = pack(*(dataclasses.replace(base, **change) for change in changes))
    sizes = np.corrcoef(np.diff(made.boxes[made.box], axis=1).reshape(4, -1))
    # 610 steps of 20 points, each almost independent after differencing: 5 / sqrt(12000) = 0.046.
    assert abs(sizes - np.eye(4)).max() < 0.046


def test_identity_is_stable_and_follows_every_field():
    spec = site_wind("normal_turbulence", SITE, 8, seed=2)
    assert spec.identity() == site_wind("normal_turbulence", SITE, 8.0, seed=2).identity()
    assert all(0 <= part < 2**64 for part in spec.identity())
    values = json.loads(json.dumps(dataclasses.asdict(spec)))
    assert WindSpec(**values) == spec
    words = {"kind": "steady", "label": "x", "model": "tensor", "series": "x", "profile": ((1.0, 2.0, 0.0),)}
    for name, value in values.items():
        if name == "series_path":
            continue
        changed = words[name] if name in words else value + 1
        assert dataclasses.replace(spec, **{name: changed}).identity() != spec.identity(), name


def test_turbulence_key_is_the_same_in_every_process_and_version():
    # Snapshot, from this code: the stores of results rely on it.
    assert site_wind("normal_turbulence", SITE, 8, seed=2).turbulence_key() == (
        7208440035497179130,
        250149948340951325,
    )


def test_steady_winds_pack_without_boxes_and_events():
    made = pack(site_wind("steady", SITE, 9.0))
    assert made.boxes.shape == (0, SMALL.period_samples, 3, 5, 4)
    assert made.transients.shape == (0, 1, 4)
    assert made.box[0] == made.transient[0] == -1


@pytest.mark.parametrize(
    "arguments, message",
    [
        ({"kind": "gust"}, "kind = 'gust' is not known"),
        ({"speed": 0.0}, "speed = 0.0 m/s; must be > 0"),
        ({"sign": 2}, r"sign = 2; must be \+1 or -1"),
        ({"shear_exponet": 0.1}, "shear_exponet is not known; did you mean .*'shear_exponent'"),
        ({"yaw": float("nan")}, "yaw = nan; must be finite"),
        ({"sigma": -1.0}, "sigma = -1.0 m/s; must be >= 0"),
    ],
)
def test_an_impossible_wind_is_refused_with_the_key(arguments, message):
    full = {"kind": "steady", "speed": 10.0, **arguments}
    with pytest.raises(InputError, match=message):
        site_wind(full.pop("kind"), SITE, full.pop("speed"), **full)


def test_an_impossible_pack_is_refused():
    with pytest.raises(InputError, match="rotor_diameter = 0; must be > 0"):
        pack_winds([], 90.0, 0, 60.0)


@pytest.mark.skipif(numba.config.DISABLE_JIT, reason="225 points take minutes where nothing is compiled")
@pytest.mark.parametrize("model", ["kaimal", pytest.param("tensor", marks=pytest.mark.slow)])
def test_winds_are_made_within_the_room_that_batches_leave_for_it(model):
    # What a worker holds at most: its batch's boxes, `MAKING` more while one is made, and kept factors:
    # those of the coherence below CACHE_BYTES, those of the tensor for eight speeds. Together: a gibibyte.
    specs = [site_wind("normal_turbulence", SITE, 25.0, seed=seed, model=model) for seed in range(3)]
    pack_winds(specs[:1], 90.0, 126.0, 200.0)
    tracemalloc.start()
    boxes = pack_winds(specs, 90.0, 126.0, 200.0).boxes
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # Besides, in chunks that do not grow with the duration: waves of the tensor's whole period.
    assert peak < boxes.nbytes + MAKING * boxes[0].nbytes + 16e6
    kept = wave_factors(25.0, SITE.scale, rotor_grid(126.0, 200.0))[0].nbytes if model == "tensor" else 0
    # A lane of 4200 s has 20 times the bins, and ln(20) / GROUP_WIDTH more bands: twice as many.
    assert Limits().wind_bytes + CACHE_BYTES + 8 * 2 * kept + 16e6 < 2**30


@pytest.mark.parametrize(
    "changed, message",
    [({"ny": 1}, "ny = 1; must be at least 2"), ({"width": 0.0}, "width = 0; must be above 0"),
     ({"step": np.nan}, "step = nan; must be above 0"), ({"duration": np.inf}, "duration = inf; must be")],
)  # fmt: skip
def test_an_impossible_grid_is_refused(changed, message):
    with pytest.raises(InputError, match=message):
        dataclasses.replace(SMALL, **changed)
