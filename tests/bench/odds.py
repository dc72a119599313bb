"""How many simulated seconds does a strike near 1e-8 per ten minutes take, against plain sampling?

Start with ``SAMPLES=1000 python -m tests.bench odds``; by default 300 samples a level. The softened Skerry
under power production alone, about rated wind, with model uncertainty. Where a strike is not near 1e-8, the
clearance at which the probability is nearest to that stands for it. Both are told at the same coefficient of
variation, so that the ratio does not depend on how long one samples.
"""

from __future__ import annotations

import os
from time import process_time

import numpy as np

TARGET = 1e-8


def main() -> None:
    """Print the table."""
    from scenarios.load import load_scenario
    from scenarios.studies.window_runs import WITHOUT, doubt_of, speed_bins, stacks_of, stratum_of
    from scenarios.window_job import Sampling, Span, WindowJob
    from scenarios.windows import sample

    samples = int(os.environ.get("SAMPLES", "300"))
    scenario, span = load_scenario("hollin-fell"), Span(20.0, 6.0, 14.0)
    speeds, middle, _ = speed_bins(scenario)[1]
    stratum = stratum_of(scenario, stacks_of(scenario)[WITHOUT], speeds, middle, doubt_of(scenario))
    job = WindowJob((stratum,), span, Sampling("subset", samples, 1e-12, 1), WITHOUT)
    start = process_time()
    found = sample(job)
    spent = process_time() - start
    simulated = float(found["simulated_s"][0])
    level, window = found["curve_m"][0], found["curve_probability"][0]
    within = 1.0 - (1.0 - window) ** (600.0 / span.judged)
    seen = within > 0.0
    place = int(np.argmin(np.abs(np.log(np.where(seen, within, 1e-300) / TARGET))))
    variation = float(found["variation"][0, 0])
    crude = 600.0 / (within[place] * variation**2)
    print(f"{speeds[0]:g} to {speeds[1]:g} m/s, {samples} samples a level: {found['evaluations'][0]} windows")
    print(f"a strike in a window: {found['probability'][0, 0]:.3g}, coefficient of variation {variation:.2f}")
    print(f"clearance below {level[place]:.2f} m: {within[place]:.2g} per ten minutes")
    print(f"simulated {simulated:.3g} s in {spent:.0f} s; plain sampling {crude:.3g} s at the same variation")
    print(f"ratio {crude / simulated:.3g} (at least 1e4)")
    print(f"for a variation of 0.3: {simulated * (variation / 0.3) ** 2:.3g} s")


if __name__ == "__main__":
    main()
