"""Does a lane march through each model's wind, and to the same bits whatever winds are beside it?"""

from __future__ import annotations

from sim.wind.field import Site, site_wind
from tests.plant_lanes import rig, turbine

SITE = Site("II", "A", hub_height=96.0, rotor_diameter=140.0)


def test_a_lane_marches_to_the_same_bits_among_winds_of_every_model() -> None:
    skerry = turbine()
    specs = [
        site_wind("normal_turbulence", SITE, 11.0, seed=4, model=model)
        for model in ("kaimal", "tensor", "longitudinal")
    ]
    specs.append(site_wind("coherent_gust", SITE, 11.0, transient_start=1.0))
    together = rig(skerry, specs, seconds=12.0).march(4.0)
    for index, spec in enumerate(specs):
        alone = rig(skerry, [spec], seconds=12.0).march(4.0)
        assert alone.lanes.y[0].tobytes() == together.lanes.y[index].tobytes()
    states = {lane.tobytes() for lane in together.lanes.y}
    assert len(states) == 4
