"""The residual cylinder of toric eyes by drawing a million of each, numpy only.

What is to be corrected is a point of the double-angle plane, drawn from a normal distribution; the lens is a vector of the
same plane whose meridian is off by an angle drawn from a mixture of normal distributions. Counted is how often the vector
between them is no longer than a limit. No series, no integral, no formula of the package.

Writes one JSON object per eye. Exit 3 when numpy is missing.
"""

import json
import sys

try:
    import numpy as np
except ImportError:
    print("numpy is not installed for this python3", file=sys.stderr)
    sys.exit(3)

SEED = 20260305
EYES = 24
DRAWS = 1_000_000


def main():
    random = np.random.default_rng(SEED)
    for number in range(EYES):
        wanted, meridian = random.uniform(0.3, 4.0), random.uniform(0, 180)
        # Lenses near what is wanted, as they are chosen, and every fourth far from it.
        lens = wanted + random.uniform(-0.4, 0.4) if number % 4 else random.uniform(0.5, 4.0)
        axis = meridian + random.uniform(-6, 6)
        first, second, turn = random.uniform(0.1, 0.6), random.uniform(0.1, 0.6), random.uniform(0, np.pi)
        rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        covariance = rotate @ np.diag([first**2, second**2]) @ rotate.T
        parts = [
            {"weight": 0.96, "mean": random.uniform(-1, 1), "sd": random.uniform(0.5, 5)},
            {"weight": 0.04, "mean": random.uniform(-1, 1), "sd": random.uniform(5, 12)},
        ]

        def vector(cylinder, degrees):
            twice = np.radians(2 * np.asarray(degrees))
            return np.stack([cylinder * np.cos(twice), cylinder * np.sin(twice)], axis=-1)

        eyes = random.multivariate_normal(vector(wanted, meridian), covariance, size=DRAWS)
        part = random.choice(len(parts), size=DRAWS, p=[p["weight"] for p in parts])
        means, sds = np.array([p["mean"] for p in parts]), np.array([p["sd"] for p in parts])
        error = random.normal(means[part], sds[part])
        left = np.linalg.norm(eyes - vector(lens, axis + error), axis=1)
        print(json.dumps({
            "wanted": wanted, "meridian": meridian % 180 or 180.0, "lens": lens, "axis": axis % 180 or 180.0,
            "covariance": [covariance[0, 0], covariance[0, 1], covariance[1, 1]], "parts": parts,
            "within": {limit: float(np.mean(left <= float(limit))) for limit in ("0.25", "0.50", "0.75")},
            "mean": float(left.mean()), "median": float(np.median(left)), "p95": float(np.quantile(left, 0.95)),
        }))


main()
