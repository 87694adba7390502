"""Whole toric eyes as 4x4 ray-transfer matrices, numpy only.

A ray is (x, y, n u, n v): place and reduced slope. A thin toric surface adds -F times the place to the slope, a gap adds
t/n times the slope to the place. The correcting lens is the matrix that makes the place on the retina independent of the
place in the lens: B^-1 A of the system behind it. Nothing here uses vergence, power vectors or a formula of the package.

Writes one JSON object per eye. Exit 3 when numpy is missing.
"""

import json
import sys

try:
    import numpy as np
except ImportError:
    print("numpy is not installed for this python3", file=sys.stderr)
    sys.exit(3)

SEED = 20240517
EYES = 200
N = 1.336
VERTEX = 0.012


def toric(mean, cylinder, steep):
    """Power matrix of a surface: `mean + cylinder/2` along the meridian `steep`, less half across it."""
    a = np.radians(steep)
    along = np.array([np.cos(a), np.sin(a)])
    across = np.array([-np.sin(a), np.cos(a)])
    return (mean + cylinder / 2) * np.outer(along, along) + (mean - cylinder / 2) * np.outer(across, across)


def surface(power):
    m = np.eye(4)
    m[2:, :2] = -power
    return m


def gap(metres, index):
    m = np.eye(4)
    m[:2, 2:] = np.eye(2) * metres / index
    return m


def correction(behind):
    """Power of the lens before the system `behind` that focuses distant light on its last plane."""
    return np.linalg.solve(behind[:2, 2:], behind[:2, :2])


def spherocylinder(power):
    """Sphere, minus cylinder, axis by eigenvectors: the axis is where the power is greatest."""
    assert abs(power[0, 1] - power[1, 0]) < 1e-6, power
    values, vectors = np.linalg.eigh((power + power.T) / 2)
    most = vectors[:, 1]
    axis = np.degrees(np.arctan2(most[1], most[0])) % 180.0
    return [float(values[1]), float(values[0] - values[1]), float(axis)]


def main():
    random = np.random.default_rng(SEED)
    for _ in range(EYES):
        eye = {
            "length_mm": random.uniform(21.0, 28.0),
            "depth_mm": random.uniform(4.0, 6.5),
            "front_d": random.uniform(45.0, 52.0),
            "front_cylinder_d": random.uniform(0.0, 5.0),
            "front_steep_deg": random.uniform(0.0, 180.0),
            "back_d": random.uniform(-6.5, -5.5),
            "back_cylinder_d": random.uniform(0.0, 0.8),
            "back_steep_deg": random.uniform(0.0, 180.0),
            "lens_cylinder_d": random.uniform(0.0, 6.0),
            "lens_axis_deg": random.uniform(0.0, 180.0),
        }
        # The cylinder of the back is the size of its negative power: its strongest meridian is the given one.
        front = toric(eye["front_d"], eye["front_cylinder_d"], eye["front_steep_deg"])
        back = toric(eye["back_d"], -eye["back_cylinder_d"], eye["back_steep_deg"])
        cornea = surface(back) @ surface(front)
        to_retina = gap((eye["length_mm"] - eye["depth_mm"]) / 1000, N)
        to_lens = gap(eye["depth_mm"] / 1000, N)
        # A lens near the right power, so that the refractions are those of patients.
        mean = eye["front_d"] + eye["back_d"]
        reaching = mean / (1 - eye["depth_mm"] / 1000 / N * mean)
        power = N / ((eye["length_mm"] - eye["depth_mm"]) / 1000) - reaching + random.uniform(-3.0, 3.0)
        eye["lens_equivalent_d"] = power
        # The marks lie on the meridian of least power.
        lens = surface(toric(power, eye["lens_cylinder_d"], eye["lens_axis_deg"] + 90.0))
        behind_cornea = to_retina @ lens @ to_lens @ cornea
        eye["at_cornea"] = spherocylinder(correction(behind_cornea))
        eye["at_spectacles"] = spherocylinder(correction(behind_cornea @ gap(VERTEX, 1.0)))
        print(json.dumps(eye))


if __name__ == "__main__":
    main()
