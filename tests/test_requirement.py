"""Do the rules of clearance ask for what their sources say, and refuse what does not belong to them?"""

from __future__ import annotations

import numpy as np
import pytest

from scenarios.load import load_scenario
from scenarios.requirement import Requirement
from sim.errors import InputError
from sim.plant.geometry import unloaded_clearance
from tests.brisk import FILE

FACTORS = [
    ("requirement", {"rule": "factored_deflection", "material_factor": 1.1, "consequence_factor": 1.0}),
]


@pytest.mark.parametrize(
    ("has_fault", "given", "combined"),
    # CHECKS 2 (values from memory): 1.485 normal, 1.21 abnormal, 1.375 extrapolated normal turbulence.
    [(False, None, 1.485), (True, None, 1.21), (False, 1.25, 1.375)],
)
def test_the_factored_deflection_just_reaches_the_tower_at_what_is_required(has_fault, given, combined):
    rule = Requirement("factored_deflection", material_factor=1.1, consequence_factor=1.0)
    factor = rule.load_factor(has_fault, given)
    unloaded = 13.0
    required = unloaded * rule.share_of(unloaded, factor)
    assert (unloaded - required) * combined == pytest.approx(unloaded, rel=1e-12)
    assert rule.load_factor_in(unloaded, required) == pytest.approx(factor)
    assert f"in all {combined:.4g}" in rule.words(unloaded, required)


def test_a_share_and_a_distance_are_asked_under_a_load_factor_of_one():
    assert Requirement("share_of_unloaded", share=0.3).share_of(13.0, 1.0) == 0.3
    assert Requirement("share_of_unloaded", share=0.3).load_factor(True, 1.35) == 1.0
    own = Requirement("distance", distance=2.6)
    assert own.share_of(13.0, 1.0) * 13.0 == pytest.approx(2.6)


def test_the_rule_of_a_file_reaches_every_case_and_the_logic_of_each():
    scenario = load_scenario(FILE, FACTORS)
    unloaded = unloaded_clearance(scenario.reference.design)
    for case in scenario.cases_of(scenario.reference):
        assert case.required_share * unloaded == pytest.approx(unloaded * (1.0 - 1.0 / 1.485))
    own = load_scenario(FILE, [("requirement", {"rule": "distance", "distance_m": 2.0})])
    shares = [case.required_share * unloaded_clearance(own.reference.design) for case in own.cases]
    assert np.allclose(shares, 2.0)


@pytest.mark.parametrize(
    ("requirement", "message"),
    [
        ({"rule": "share_of_unloaded"}, r"requirement.share is missing; the rule share_of_unloaded needs it"),
        (
            {"rule": "distance", "distance_m": 2.0, "share": 0.3},
            r"requirement.share = 0.3; is not of the rule distance; one rule at a time",
        ),
        (
            {"rule": "distance", "distance_m": 40.0},
            r"distance_m = 40; must be below the unloaded 13.00 m \(entry 'stiff'\)",
        ),
        (
            {"rule": "factored_deflection", "material_factor": 1.1},
            r"requirement.consequence_factor is missing; the rule factored_deflection needs it",
        ),
    ],
)
def test_a_rule_without_its_keys_or_with_anothers_is_refused(requirement, message):
    with pytest.raises(InputError, match=message):
        load_scenario(FILE, [("requirement", requirement)])


def test_a_load_factor_without_the_rule_that_uses_it_is_refused():
    with pytest.raises(InputError, match=r"load_factor = 1.25; is not of the rule share_of_unloaded"):
        load_scenario(FILE, [("winds[0].load_factor", 1.25)])
