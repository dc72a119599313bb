"""How many simulated seconds does a strike near 1e-8 per ten minutes take, against plain sampling?

Start with ``SAMPLES=1000 python -m tests.bench odds``; by default 300 samples a level. The softened Skerry
under power production alone, about rated wind, with model uncertainty. Where a strike is not near 1e-8, the
clearance at which the probability is nearest to that stands for it. Both are told at the same coefficient of
variation, so that the ratio does not depend on how long one samples.

``CRUDE=1500`` (by default 0) samples the same windows plainly beside subset simulation of 400 a level, and
holds both against one another at likelihoods where both are sharp.
"""

from __future__ import annotations

import os
from time import process_time
from typing import Any

import numpy as np

TARGET = 1e-8
ENDS = ("probability", "low", "high")


def _job(method: str, samples: int, smallest: float) -> Any:
    """Return the windows about rated wind, to be sampled one way or the other."""
    from scenarios.load import load_scenario
    from scenarios.studies.window_runs import WITHOUT, doubt_of, speed_bins, stacks_of, stratum_of
    from scenarios.window_job import Sampling, Span, WindowJob

    scenario, span = load_scenario("hollin-fell"), Span(20.0, 6.0, 14.0)
    speeds, middle, _ = speed_bins(scenario)[1]
    stratum = stratum_of(scenario, stacks_of(scenario)[WITHOUT], speeds, middle, doubt_of(scenario))
    return WindowJob((stratum,), span, Sampling(method, samples, smallest, 1), WITHOUT)


def main() -> None:
    """Print the table."""
    from scenarios.windows import sample

    crude = int(os.environ.get("CRUDE", "0"))
    if crude:
        compare(crude)
        return
    samples = int(os.environ.get("SAMPLES", "300"))
    job = _job("subset", samples, 1e-11)
    speeds, span = job.strata[0].speeds, job.span
    start = process_time()
    found = sample(job)
    spent = process_time() - start
    simulated = float(found["simulated_s"][0])
    level, window, scatter = (found[f"curve_{name}"][0, 0] for name in ("m", "probability", "variation"))
    within = 1.0 - (1.0 - window) ** (600.0 / span.judged)
    seen = within > 0.0
    place = int(np.argmin(np.abs(np.log(np.where(seen, within, 1e-300) / TARGET))))
    variation = float(scatter[place])
    crude = 600.0 / (within[place] * variation**2)
    print(f"{speeds[0]:g} to {speeds[1]:g} m/s, {samples} samples a level: {found['evaluations'][0]} windows")
    strike = [float(found[name][0, 0, 0]) for name in ("probability", "variation")]
    print(f"a strike in a window: {strike[0]:.3g}, coefficient of variation {strike[1]:.2f}")
    print(
        f"clearance below {level[place]:.2f} m: {within[place]:.2g} per ten minutes, scatter {variation:.2f}"
    )
    print(f"simulated {simulated:.3g} s in {spent:.0f} s; plain sampling {crude:.3g} s at the same variation")
    print(f"ratio {crude / simulated:.3g} (at least 1e4)")
    print(f"for a variation of 0.3: {simulated * (variation / 0.3) ** 2:.3g} s")


def compare(crude: int) -> None:
    """Print how far plain sampling and subset simulation of the same windows lie apart.

    Notes
    -----
    Where a share of 0.02, 0.01 and 0.005 of the plain samples come nearer; between the levels of the curves
    the logarithm of the probability is linear. Apart: in standard deviations of the difference of logarithms,
    each from the width of its own interval.
    """
    from scenarios.windows import sample

    near = [sample(_job("subset", 400, 5e-3)), sample(_job("crude", crude, 5e-3))]
    curves = [
        {name: found[f"curve_{name}"][0, 0] for name in ("m", "probability", "low", "high")} for found in near
    ]
    print(f"plain {crude} windows, subset simulation {near[0]['evaluations'][0]} windows")
    for share in (0.02, 0.01, 0.005):
        plain = curves[1]
        level = float(np.interp(share, plain["probability"], plain["m"]))
        told = []
        for curve in curves:
            seen = curve["probability"] > 0.0
            ends = [np.interp(level, curve["m"][seen], np.log(curve[name][seen])) for name in ENDS]
            told.append((ends[0], (ends[2] - ends[1]) / (2.0 * 1.96)))
        (one, s_one), (two, s_two) = told
        apart = (one - two) / np.hypot(s_one, s_two)
        print(
            f"below {level:.2f} m: subset {np.exp(one):.3g}, plain {np.exp(two):.3g}, ratio "
            f"{np.exp(one - two):.2f}, {apart:+.1f} standard deviations apart"
        )


if __name__ == "__main__":
    main()
