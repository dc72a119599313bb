"""The open 5 MW reference rotor as the tests need it: geometry, structure, and generic polars.

Jonkman, Butterfield, Musial, Scott, Definition of a 5-MW reference wind turbine for offshore system
development, NREL/TP-500-38060, 2009. All numbers are values from memory; blade mass times 1.04536 as the
report scales it.
The polars are parameters only (slope, zero lift, stall, least drag), not the report's tables.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.design import Blade, Machine, Nacelle, Pitch, Rotor, Section, Tower, Turbine

STRUCTURE = """
1.50 678.935 18110.00 18113.60 13.308
2.70 773.363 19424.90 19558.60 13.308
3.70 740.550 17455.90 19497.80 13.308
4.70 740.042 15287.40 19788.80 13.308
5.70 592.496 10782.40 14858.50 13.308
6.70 450.275 7229.72 10220.60 13.308
7.70 424.054 6309.54 9144.70 13.308
8.70 400.638 5528.36 8063.16 13.308
9.70 382.062 4980.06 6884.44 13.308
10.70 399.655 4936.84 7009.18 13.308
11.70 426.321 4691.66 7167.68 13.308
12.70 416.820 3949.46 7271.66 13.181
13.70 406.186 3386.52 7081.70 12.848
14.70 381.420 2933.74 6244.53 12.192
15.70 352.822 2568.96 5048.96 11.561
16.70 349.477 2388.65 4948.49 11.072
17.70 346.538 2271.99 4808.02 10.792
19.70 339.333 2050.05 4501.40 10.232
21.70 330.004 1828.25 4244.07 9.672
23.70 321.990 1588.71 3995.28 9.110
25.70 313.820 1361.93 3750.76 8.534
27.70 294.734 1102.38 3447.14 7.932
29.70 287.120 875.80 3139.07 7.321
31.70 263.343 681.30 2734.24 6.711
33.70 253.207 534.72 2554.87 6.122
35.70 241.666 408.90 2334.03 5.546
37.70 220.638 314.54 1828.73 4.971
39.70 200.293 238.63 1584.10 4.401
41.70 179.404 175.88 1323.36 3.834
43.70 165.094 126.01 1183.68 3.332
45.70 154.411 107.26 1020.16 2.890
47.70 138.935 90.88 797.81 2.503
49.70 129.555 76.31 709.61 2.116
51.70 107.264 61.05 518.19 1.730
53.70 98.776 49.48 454.87 1.342
55.70 90.248 39.36 395.12 0.954
57.70 72.906 30.41 304.73 0.574
58.70 68.772 26.52 281.42 0.404
59.70 59.340 19.63 158.81 0.253
60.70 52.484 12.83 118.79 0.178
61.70 45.818 7.55 85.07 0.101
62.20 41.669 4.60 64.26 0.062
62.70 11.453 0.25 6.61 0.023
63.00 10.319 0.17 5.01 0.000
"""

# radius [m], twist [deg], chord [m], thickness ratio
PLANFORM = """
1.5000 13.308 3.542 1.00
8.3333 13.308 4.167 1.00
11.7500 13.308 4.557 0.40
15.8500 11.480 4.652 0.35
19.9500 10.162 4.458 0.35
24.0500 9.011 4.249 0.30
28.1500 7.795 4.007 0.25
32.2500 6.544 3.748 0.25
36.3500 5.361 3.502 0.21
40.4500 4.188 3.256 0.21
44.5500 3.125 3.010 0.18
48.6500 2.319 2.764 0.18
52.7500 1.526 2.518 0.18
56.1667 0.863 2.313 0.18
58.9000 0.370 2.086 0.18
61.6333 0.106 1.419 0.18
63.0000 0.000 1.100 0.18
"""

# thickness ratio, slope [1/rad], zero lift [deg], largest and smallest lift, least drag, moment
SECTIONS = """
0.40 7.49 -3.2 1.35 -0.60 0.0113 -0.08
0.35 7.18 -1.2 1.67 -0.60 0.0094 -0.08
0.30 7.33 -2.2 1.45 -0.61 0.0087 -0.08
0.25 6.45 -3.2 1.43 -0.69 0.0065 -0.10
0.21 6.20 -4.2 1.41 -0.53 0.0057 -0.11
0.18 6.00 -4.4 1.41 -0.79 0.0052 -0.11
"""


def _rows(text: str) -> np.ndarray:
    return np.array([[float(word) for word in line.split()] for line in text.strip().splitlines()])


def reference_sections() -> tuple[Section, ...]:
    """From thin to thick; the round root has drag 0.5."""
    lifting = [
        Section(f"{t:.0%}", t, False, slope, np.radians(zero), top, bottom, drag, moment, None)
        for t, slope, zero, top, bottom, drag, moment in _rows(SECTIONS)[::-1]
    ]
    return (*lifting, Section("round", 1.0, True, 0.0, 0.0, 0.0, 0.0, 0.5, 0.0, None))


def reference_turbine() -> Turbine:
    """The 5 MW turbine, tip at 63 m, 12.1 rpm, 5.2966 MW at the shaft."""
    r, mass, flap, edge, twist = _rows(STRUCTURE).T
    at, aero_twist, chord, ratio = _rows(PLANFORM).T
    none, one = np.zeros(3), np.ones(3)
    blade = Blade(
        r, mass * 1.04536, flap * 1e6, edge * 1e6, None, np.radians(twist),
        np.radians(np.interp(r, at, aero_twist)), np.interp(r, at, chord), np.interp(r, at, ratio),
        np.full_like(r, 0.3), np.zeros_like(r), np.full(3, 0.00477), none, none, one, one,
    )  # fmt: skip
    rpm, degree = np.pi / 30, np.pi / 180
    return Turbine(
        name="5 MW reference",
        source=Path("nowhere"),
        air_density=1.225,
        rotor=Rotor(-1.0, 3, 90.0, 1.5, 5.0, 5 * degree, 2.5 * degree),
        blade=blade,
        sections=reference_sections(),
        tower=Tower(87.6, 6.0, 3.87, 0.0351, 0.0247, 2.1e11, 8500.0, 0.01, 0.5),
        nacelle=Nacelle(240e3, 1.9, 1.75, 56780.0, 115926.0),
        machine=Machine(5e6, 12.1 * rpm, 6.9 * rpm, 97.0, 534.116, 0.1, 0.944, 3.0, 25.0, 1.1, 0.35),
        pitch=Pitch(
            0.0,
            90 * degree,
            8.0,
            0.7,
            0.0,
            8 * degree,
            15 * degree,
            8 * degree,
            0.0,
            0.0,
            0.0,
            *np.ones((3, 3)),
        ),
    )
