"""What does ten minutes of turbulence cost against the lane that it feeds?

Start with ``python -m tests.bench wind``. Marched and made are compared in one process and by its own
processor time, so that neighbours on the machine matter little: a lane among 64 under power production alone,
settling included, against a field for it, its factors at hand from the seed before.
"""

from __future__ import annotations

from collections.abc import Callable
from time import process_time
from typing import Any

from tests.bench.march import SPEED, make_flock

LANES, SPAN, SAMPLE = 64, 660.0, 20.0


def least(work: Callable[[int], Any], times: int = 3) -> float:
    """Return the least processor time [s] of several calls."""
    spent = []
    for number in range(times):
        start = process_time()
        work(number)
        spent.append(process_time() - start)
    return min(spent)


def lane_time(model: str) -> float:
    """Return the time [s] of marching one lane through ``SPAN`` in wind of one model."""
    from sim.march import march

    march(make_flock(LANES, 1.0, model), 0.0, 0.2, forks=False)
    flocks = [make_flock(LANES, SAMPLE, model) for _ in range(3)]
    return least(lambda n: march(flocks[n], 0.0, SAMPLE, forks=False)) / LANES * SPAN / SAMPLE


def field_times() -> dict[str, tuple[float, float]]:
    """Return for each model the time [s] of the first field of a speed and of the next ones."""
    from sim.wind.factors import factors
    from sim.wind.field import rotor_grid
    from sim.wind.sheared import tensor_box, wave_factors
    from sim.wind.turbulence import three_components, turbulence_box

    grid, scale = rotor_grid(140.0, SPAN), 42.0
    makers = {
        "longitudinal": lambda n: turbulence_box((n, 1), SPEED, scale, grid),
        "kaimal": lambda n: three_components([(n, 1), (n, 2), (n, 3)], SPEED, scale, grid),
        "tensor": lambda n: tensor_box((n, 1), SPEED, scale, grid),
    }
    fresh = {
        "longitudinal": lambda n: factors(SPEED + 0.1 + n, scale, grid),
        "kaimal": lambda n: [factors(SPEED + 0.2 + n, scale, grid, part) for part in range(3)],
        "tensor": lambda n: wave_factors(SPEED + 0.3 + n, scale, grid),
    }
    times = {}
    for name, make in makers.items():
        make(0)
        times[name] = (least(fresh[name], 1), least(make))
    return times


def main() -> None:
    """Print the table."""
    lanes = {model: lane_time(model) for model in ("longitudinal", "kaimal")}
    print(f"one lane of {SPAN:.0f} s among {LANES}: " + ", ".join(f"{m} {t:.3f} s" for m, t in lanes.items()))
    wanted = {"longitudinal": "at most 0.5", "kaimal": "at most 1", "tensor": "stated"}
    for name, (first, next_) in field_times().items():
        lane = lanes["longitudinal" if name == "longitudinal" else "kaimal"]
        print(
            f"{name:12s}: a field {next_:.3f} s, {next_ / lane:.2f} of its lane ({wanted[name]}); "
            f"factors, once a speed {first:.2f} s"
        )


if __name__ == "__main__":
    main()
