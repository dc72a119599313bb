"""Does the report's picture of a field show the field, and its spectra against the right targets?"""

from __future__ import annotations

import numpy as np
import pytest

from scenarios.load import load_scenario
from scenarios.report.wind_figures import field_figure, field_section, spectra_of
from sim.wind.field import Site, pack_winds, site_wind

SITE = Site("II", "A", hub_height=96.0, rotor_diameter=140.0)


def wind(model: str):
    return site_wind("extreme_turbulence", SITE, 11.0, seed=3, model=model)


@pytest.mark.parametrize("model", ["kaimal", "tensor"])
def test_spectra_of_a_field_lie_on_their_targets(model) -> None:
    spec = wind(model)
    pack = pack_winds([spec], 96.0, 140.0, 600.0)
    spectra = spectra_of(spec, spec.sigma * pack.boxes[0], pack.box_step)
    # Above 0.5 Hz the 225 points are independent, and a band holds 80 frequencies or more.
    fast = spectra.frequency > 0.5
    ratio = spectra.found[:, fast] / spectra.target[:, fast]
    assert fast.sum() >= 8
    np.testing.assert_allclose(ratio, 1.0, atol=5.0 / np.sqrt(225 * 80) + 0.01)


def test_a_figure_has_its_three_panels_and_the_same_bytes_each_time() -> None:
    first = field_figure(wind("longitudinal"), 96.0, 140.0)
    assert first == field_figure(wind("longitudinal"), 96.0, 140.0)
    for words in ("across the disc", "at hub height", "spectra: target and found", "along"):
        assert words in first
    assert ">up<" not in first


def test_the_appendix_shows_the_strongest_turbulence_of_the_scenario() -> None:
    (section,) = field_section(load_scenario("load-cases"))
    assert "three independent components" in section.parts[0].text
    assert section.parts[1].caption.startswith("6.1 at rest, wind from the left, 42.5 m/s, seed 1")


def test_a_scenario_without_turbulence_has_no_such_appendix() -> None:
    gusts = [("winds", [{"label": "gust", "kind": "operating_gust", "speeds_m_s": [10], "phases": 2}])]
    assert field_section(load_scenario("load-cases", gusts)) == []
