"""The eyes of optics_numpy.py by real rays through real toric surfaces, with rayoptics.

One JSON object per eye on standard input: front and back of the cornea and a lens, each toric and crossed. A ray leaves the
retina on the axis, is refracted by Snell's law at each surface (a toroid turned to its meridian), and is caught in front of
the cornea. Rays a ten-thousandth of a radian off the axis give the vergence there as a matrix, which is the refraction.
No power is added to another and no vergence is used on the way.

Writes one JSON object per eye. Exit 3 when rayoptics is missing.
"""

import json
import sys

try:
    import numpy as np
    from rayoptics.elem.profiles import Spherical, YToroid
    from rayoptics.elem.surface import Surface
    from rayoptics.raytr.raytrace import trace_raw
except ImportError as error:
    print(f"rayoptics cannot be used by this python3: {error}", file=sys.stderr)
    sys.exit(3)

AQUEOUS = 1.336
CORNEA = 1.376
LENS = 1.46
VERTEX_MM = 12.0
OFF_AXIS = 1e-4


def toroid(power, cylinder, strongest_deg, before, after):
    """A surface whose power is `power + cylinder/2` along the meridian `strongest_deg`, `power - cylinder/2` across it."""
    curvature = lambda dioptres: dioptres / (after - before) / 1000.0
    profile = YToroid(c=curvature(power - cylinder / 2), cR=curvature(power + cylinder / 2))
    return Surface(profile=profile, interact_mode="transmit"), strongest_deg


def turn(degrees):
    """From the frame of the eye to that of a surface turned anticlockwise by `degrees`: its x lies on that meridian."""
    a = np.radians(degrees)
    return np.array([[np.cos(a), np.sin(a), 0.0], [-np.sin(a), np.cos(a), 0.0], [0.0, 0.0, 1.0]])


def flat(mode):
    return Surface(profile=Spherical(c=0.0), interact_mode=mode), 0.0


def caught(eye, direction):
    """Place and slope, in front of the cornea, of the ray that leaves the retina in a direction."""
    depth, length = eye["depth_mm"], eye["length_mm"]
    parts = [
        (flat("dummy"), AQUEOUS, length - depth),
        (flat("transmit"), LENS, 0.0),
        (
            toroid(
                eye["lens_equivalent_d"],
                eye["lens_cylinder_d"],
                eye["lens_axis_deg"] + 90.0,
                LENS,
                AQUEOUS,
            ),
            AQUEOUS,
            depth,
        ),
        (
            toroid(eye["back_d"], -eye["back_cylinder_d"], eye["back_steep_deg"], AQUEOUS, CORNEA),
            CORNEA,
            0.0,
        ),
        (toroid(eye["front_d"], eye["front_cylinder_d"], eye["front_steep_deg"], CORNEA, 1.0), 1.0, 0.0),
        (flat("dummy"), 1.0, 0.0),
    ]
    path = []
    for number, ((surface, turned), index, gap) in enumerate(parts):
        following = parts[number + 1][0][1] if number + 1 < len(parts) else 0.0
        between = turn(following) @ turn(turned).T
        path.append([surface, None, (between, np.array([0.0, 0.0, gap])), index, 1])
    ray, _, _ = trace_raw(iter(path), np.zeros(3), direction, 555.0)
    place, away = ray[-1][0], ray[-1][1]
    # From the plane through the vertex: the last surface is flat, so its own frame is that of the eye.
    return place[:2] / 1000.0, away[:2] / away[2]


def refraction(eye, ahead_mm):
    """The power that sends parallel light to the retina, in a plane so far in front of the cornea."""
    places, slopes = np.zeros((2, 2)), np.zeros((2, 2))
    for axis in range(2):
        for sign in (1.0, -1.0):
            direction = np.array([0.0, 0.0, 1.0])
            direction[axis] = sign * OFF_AXIS
            place, slope = caught(eye, direction / np.linalg.norm(direction))
            places[:, axis] += sign * (place + slope * ahead_mm / 1000.0)
            slopes[:, axis] += sign * slope
    power = slopes @ np.linalg.inv(places)
    values, vectors = np.linalg.eigh((power + power.T) / 2)
    most = vectors[:, 1]
    return [
        float(values[1]),
        float(values[0] - values[1]),
        float(np.degrees(np.arctan2(most[1], most[0])) % 180.0),
    ]


def main():
    for line in sys.stdin:
        eye = json.loads(line)
        print(json.dumps({"at_cornea": refraction(eye, 0.0), "at_spectacles": refraction(eye, VERTEX_MM)}))


if __name__ == "__main__":
    main()
