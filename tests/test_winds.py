"""Does ``wideberth winds`` tell a site's standard conditions, and refuse impossible sites?

Worked numbers: computed independently from the formulas of IEC 61400-1:2005/:2019 (formulas from memory), to
five digits. Set A: class I, category B, D 126 m, hub 90 m. Set B: class I, category A, D 178.3 m, hub 119 m.
"""

import json
import re

import numpy as np
import pytest

from scenarios.cli import main
from scenarios.studies import winds
from scenarios.studies.winds import EVENTS, event_at
from sim.errors import InputError
from sim.wind import standard
from sim.wind.standard import Site

SETS = {"A": ("B", 90.0, 126.0), "B": ("A", 119.0, 178.3)}
WORKED = [
    ("A", 11.4, "sigma_normal_m_s", 1.9810),
    ("A", 11.4, "sigma_extreme_m_s", 3.0742),
    ("A", 11.4, "operating_gust_m_s", 5.0287),
    ("A", 11.4, "operating_gust_min_m_s", 10.052),
    ("A", 11.4, "operating_gust_max_m_s", 15.121),
    ("A", 11.4, "direction_change_deg", 30.455),
    ("A", 11.4, "coherent_gust_direction_deg", 63.158),
    ("A", 11.4, "shear_amplitude_m_s", 5.8371),
    ("A", 11.4, "shear_bottom_negative_m_s", 14.798),
    ("A", 11.4, "shear_top_positive_m_s", 18.514),
    ("A", 11.4, "extreme_50_year_m_s", 70.0),
    ("A", 11.4, "extreme_1_year_m_s", 56.0),
    ("A", 10.0, "operating_gust_max_m_s", 13.445),
    ("A", 25.0, "operating_gust_min_m_s", 22.680),
    ("A", 25.0, "shear_bottom_positive_m_s", 11.407),
    ("B", 11.4, "operating_gust_min_m_s", 9.9941),
    ("B", 11.4, "shear_bottom_negative_m_s", 15.305),
]


TOLD: dict[tuple[str, float], dict] = {}
"""What the command said, for each set and speed."""


def asked(which: str, speed: float, *more: str) -> list[str]:
    category, hub, diameter = SETS[which]
    site = ["--class", "I", "--category", category, "--hub-height", str(hub), "--diameter", str(diameter)]
    return ["winds", *site, "--speed", str(speed), *more]


@pytest.mark.parametrize("which, speed, key, value", WORKED)
def test_the_json_holds_the_worked_numbers(capsys, tmp_path, which, speed, key, value) -> None:
    if (which, speed) not in TOLD:
        assert main(asked(which, speed, "--json", "--out", str(tmp_path))) == 0
        TOLD[which, speed] = json.loads(capsys.readouterr().out)
    found = TOLD[which, speed][key]
    assert float(f"{found:.5g}") == pytest.approx(value, rel=5e-6)


def test_the_table_and_the_picture_show_every_event(capsys, tmp_path) -> None:
    assert main(asked("A", 11.4, "--out", str(tmp_path))) == 0
    said = capsys.readouterr().out
    assert re.search(r"operating gust +5\.029 m/s +hub from 10\.052 to 15\.121 m/s", said)
    picture = (tmp_path / "winds.svg").read_text()
    assert picture.startswith("<svg")
    for title, _, _ in EVENTS:
        assert title in picture


def test_an_event_is_drawn_as_worked_at_hub_top_bottom_and_sides() -> None:
    site = Site("I", "B", 90.0, 126.0)
    shear = event_at(site, 11.4, "", "vertical_shear", -1)
    middle = np.argmin(abs(shear.time - 6.0))
    assert (shear.top[middle], shear.bottom[middle]) == pytest.approx((6.8392, 14.798), abs=5e-4)
    sideways = event_at(site, 11.4, "", "horizontal_shear", 1)
    assert (sideways.left[middle], sideways.right[middle]) == pytest.approx((17.237, 5.5629), abs=5e-4)
    turning = event_at(site, 11.4, "", "direction_change", 1)
    assert np.degrees(turning.direction[[0, -1]]) == pytest.approx((0.0, 30.455), abs=5e-4)


def test_gusts_that_fall_below_zero_low_down_are_told_and_not_refused(capsys, tmp_path) -> None:
    assert main(asked("A", 4.0, "--json", "--out", str(tmp_path))) == 0
    said = capsys.readouterr()
    warned = json.loads(said.out)["warnings"]
    # 2.5 + 0.2 6.4 0.14 (0.75 4 + 5.6) 3^0.25 = 4.528 m/s on 4 (27/90)^0.2, 4 (153/90)^0.2 and, sideways, 4.
    expected = ["high up: .* -1.38 m/s at the lower tip", "low down: .* -0.08 m/s at the upper tip"]
    expected += ["left: .* -0.53 m/s at the right edge", "right: .* -0.53 m/s at the left edge"]
    assert len(warned) == 4
    for told, pattern in zip(warned, expected, strict=True):
        assert re.search(pattern, told)
    assert "below zero" in said.err
    main(asked("A", 4.0, "--quiet", "--out", str(tmp_path)))
    assert "below zero" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"--hub-height": "50"}, r"--hub-height = 50 m.*-13 m, inside the ground; must be above 63 m"),
        ({"--speed": "60"}, r"--speed = 60 m/s; must be above 0 and at most Vref = 50 m/s"),
        ({"--speed": "0"}, r"--speed = 0 m/s; must be above 0"),
        ({"--class": "IV"}, r"--class = 'IV' is not known; did you mean 'I'"),
        ({"--category": "D"}, r"--category = 'D' is not known"),
        ({"--class": "S"}, r"--class = 'S' needs --reference-speed"),
        ({"--reference-intensity": "0.1"}, r"--reference-intensity may be stated with --category 'S' only"),
        (
            {"--category": "S", "--reference-intensity": "16"},
            r"--reference-intensity = 16; must be at most 1, for it is a share: 16 % is 0.16",
        ),
        ({"--class": "S", "--reference-speed": "162"}, r"--reference-speed = 162; must be at most 100 m/s"),
        ({"--out": "{file}"}, r"winds.svg: cannot be written \(.*; choose another with --out DIR"),
        ({"--diameter": "-5"}, r"--diameter = -5.0; must be a positive number"),
    ],
)
def test_an_impossible_site_ends_with_2_and_names_the_option(capsys, tmp_path, changed, message) -> None:
    line = asked("A", 11.4, "--out", str(tmp_path / "out"))
    (tmp_path / "file").touch()
    for option, value in changed.items():
        value = value.format(file=tmp_path / "file")
        if option in line:
            line[line.index(option) + 1] = value
        else:
            line += [option, value]
    assert main(line) == 2
    assert re.search(message, capsys.readouterr().err)
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_the_2019_distribution_has_the_representative_value_near_its_ninety_per_cent_quantile() -> None:
    # IEC 61400-1: the normal turbulence model's sigma1 is the 90 % quantile; 2019 gives its distribution.
    site = Site("I", "B", 90.0, 126.0)
    for speed in (4.0, 8.0, 11.4, 15.0, 25.0):
        ratio = standard.sigma_at(site, speed, 0.9) / standard.normal_sigma(site, speed)
        assert ratio == pytest.approx(1.0, abs=0.03)
    # Worked: k = 0.27 * 15 + 1.4 = 5.45, C = 0.14 (11.25 + 3.3) = 2.037; the median is C (ln 2)^(1/k).
    assert standard.sigma_at(site, 15.0, 0.5) == pytest.approx(2.037 * np.log(2.0) ** (1 / 5.45), rel=1e-12)


def test_the_extreme_winds_means_follow_the_return_period() -> None:
    site = Site("II", "A", 96.0, 140.0)
    assert [standard.extreme_mean(site, years) for years in (50, 1)] == pytest.approx([42.5, 34.0])
    assert [standard.extreme_gust(site, years) for years in (50, 1)] == pytest.approx([59.5, 47.6])
    with pytest.raises(InputError, match="return_period_years = 10; must be 1 or 50"):
        standard.extreme_mean(site, 10)


def test_what_the_command_calls_its_options_is_what_a_site_needs() -> None:
    assert set(winds.OPTIONS) == set(Site.__dataclass_fields__)
