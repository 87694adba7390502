"""Whole plans of phakic lenses and re-alignments as 4x4 ray-transfer matrices, numpy only.

A ray is (x, y, n u, n v). The eye is a thin cornea, a gap, whatever lies behind it; how the eye behind the cornea looks does
not matter for an added lens: a thin toric lens right behind the place of the added lens is chosen so that the written
refraction focuses. Then the added lens is put in, and the correcting lens that focuses is looked for again. For a
re-alignment the eye is a cornea and a toric lens on the present axis; the lens is turned through all axes in small steps and
the one with the least astigmatism is taken. Nothing here uses vergence, power vectors or a formula of the package.

Writes one JSON object per eye: the case file, and the numbers expected of its plan. Exit 3 when numpy is missing.
"""

import json
import sys

try:
    import numpy as np
except ImportError:
    print("numpy is not installed for this python3", file=sys.stderr)
    sys.exit(3)

N = 1.336


def toric(mean, cylinder, steep):
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
    return np.linalg.solve(behind[:2, 2:], behind[:2, :2])


def symmetric(power):
    return (power + power.T) / 2


def spherocylinder(power):
    values, vectors = np.linalg.eigh(symmetric(power))
    axis = np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1])) % 180.0
    return [float(values[1]), float(values[0] - values[1]), float(axis)]


def from_written(sphere, cylinder, axis):
    """Power of a prescription: the sphere along the axis, sphere and cylinder across it."""
    return toric(sphere + cylinder / 2, cylinder, (axis + 90) % 180)


def cylinder(power):
    values = np.linalg.eigvalsh(symmetric(power))
    return float(values[1] - values[0])


def head(number, eye, procedure, lens):
    return {
        "patient": {"number": f"77-{number:04d}", "number_authority": "Elmhaven", "family_name": "Invented",
                    "given_name": f"Case {number}", "birth_date": "1990-01-01", "sex": "X"},
        "operation": {"eye": eye, "procedure": procedure, "date": "2026-03-12", "surgeon": "Dr. Imara Vost",
                      "target_d": "0.00", "lens_family": lens, "seat": "head", "corneal_surgery": "none",
                      "lens_status": "phakic" if procedure == "toric_phakic_lens" else "pseudophakic"},
        "surgeon": {"name": "Dr. Imara Vost", "formula": "Haigis 2000"},
    }


def keratometry(eye, flat, steep, at):
    other = at - 90 if at > 90 else at + 90
    return [{"eye": eye, "device": device, "exam_at": f"2026-03-02T09:{minute}:00+01:00",
             "flat": {"power_d": f"{flat:.2f}", "meridian_deg": other},
             "steep": {"power_d": f"{steep:.2f}", "meridian_deg": at},
             "keratometric_index": 1.3375, "surface": "anterior", "readings": 6}
            for device, minute in (("Halden K2", "14"), ("Orrin B1", "31"))]


def refraction(eye, sphere, cyl, axis, vertex):
    return {"eye": eye, "device": "Selden R3", "exam_at": "2026-03-02T10:05:00+01:00", "sphere_d": f"{sphere:+.2f}",
            "cylinder_d": f"{cyl:+.2f}", "axis_deg": axis, "vertex_mm": vertex}


def near(wanted):
    """Powers of the ladder from -30 to -1 by 0.25 about the wanted one."""
    middle = round(wanted * 4) / 4
    return [power for power in middle + np.arange(-4, 5) * 0.25 if -30 <= power <= -1]


def phakic(random, number):
    eye = ["right", "left"][number % 2]
    flat = round(random.uniform(41.0, 45.0), 2)
    steep = round(flat + random.uniform(0.8, 3.0), 2)
    at = int(random.integers(1, 181))
    sphere = round(random.uniform(-14.0, -4.0) * 4) / 4
    cyl = round(random.uniform(-4.0, -1.0) * 4) / 4
    axis = int(random.integers(1, 181))
    vertex = int(random.choice([12, 13, 14]))
    depth = round(random.uniform(3.1, 4.1), 2)
    offset = 0.25
    marks = ["least_power", "minus_cylinder_axis"][(number // 2) % 2]
    steps = [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0]
    case = head(number, eye, "toric_phakic_lens", "Brae P")
    case["keratometry"] = keratometry(eye, flat, steep, at)
    case["axial"] = {"eye": eye, "device": "Orrin B1", "exam_at": "2026-03-02T09:31:00+01:00", "length_mm": 25.9,
                     "chamber_depth_mm": depth, "chamber_depth_from": "corneal_front"}
    case["refraction"] = refraction(eye, sphere, cyl, axis, vertex)
    case["surgeon"]["backup"] = "none"
    case["lens"] = [{"name": "Brae P", "kind": "phakic", "marks": marks, "depth_offset_mm": offset,
                     "box_power": "sphere", "box_cylinder_sign": "minus", "box_cylinder_plane": "lens",
                     "equivalent_d": {"from": -30.0, "to": -1.0, "step": 0.25},
                     "steps": [{"code": f"P{int(c * 10)}", "cylinder_d": c} for c in steps]}]
    # The eye: net cornea, gap, a lens that makes the written refraction right, a gap to the retina.
    factor = (4 / 3 - 1) / 0.3375
    cornea = toric((flat + steep) / 2 * factor, (steep - flat) * factor, at)
    d = (depth - offset) / 1000
    retina = 0.020
    written = from_written(sphere, cyl, axis)
    before = gap(d, N) @ surface(cornea) @ gap(vertex / 1000, 1.0) @ surface(written)
    # Parallel light after `before` is a toric bundle: slope = -V x; the natural lens must take V to the retina.
    bundle = before[2:, :2] @ np.linalg.inv(before[:2, :2])
    natural = symmetric(np.eye(2) * N / retina + bundle)
    behind = gap(retina, N) @ surface(natural)

    def left(lens):
        return correction(behind @ surface(lens) @ gap(d, N) @ surface(cornea))

    def at_spectacles(lens):
        return correction(behind @ surface(lens) @ gap(d, N) @ surface(cornea) @ gap(0.012, 1.0))

    # The lens that leaves nothing: parallel light through the cornea alone must focus with it.
    plain = gap(d, N) @ surface(cornea)
    bare = plain[2:, :2] @ np.linalg.inv(plain[:2, :2])
    wanted = symmetric(np.eye(2) * N / retina + bare - natural)
    values, vectors = np.linalg.eigh(wanted)
    least = float(np.degrees(np.arctan2(vectors[1, 0], vectors[0, 0])) % 180)
    best = None
    for c in steps:
        rows = []
        # The nearest power of the ladder lies within a step of the wanted one; two are looked at on either side.
        for power in near(np.trace(wanted) / 2):
            lens = toric(power, -c, least)
            rows.append((abs(np.trace(symmetric(at_spectacles(lens))) / 2), float(power)))
        off = min(row[0] for row in rows)
        power = max(row[1] for row in rows if row[0] <= off + 1e-12)
        lens = toric(power, -c, least)
        residual = cylinder(left(lens))
        if best is None or residual < best[0] - 0.01:
            best = (residual, c, power, lens)
    residual, c, power, lens = best
    return case, {
        "kind": "phakic", "wanted": spherocylinder(wanted), "cylinder_d": c, "equivalent_d": power,
        "axis_deg": least if marks == "least_power" else (least + 90) % 180, "residual_d": residual,
        "predicted": spherocylinder(at_spectacles(lens)),
    }


def realignment(random, number):
    eye = ["right", "left"][number % 2]
    lens_cyl = round(float(random.choice([1.5, 2.3, 3.1, 3.9])), 2)
    ratio = random.uniform(1.30, 1.55)
    corneal = round(lens_cyl / ratio, 2)
    now_axis = int(random.integers(1, 181))
    eye_cyl = corneal + random.uniform(-0.5, 0.5)
    eye_steep = now_axis + random.uniform(-60, 60)
    mean = random.uniform(-1.0, 1.0)
    vertex = int(random.choice([12, 13, 14]))
    # The refraction at the cornea that this eye shows with the lens where it lies, and at spectacles.
    near = -toric(0.0, eye_cyl, eye_steep) + toric(0.0, corneal, now_axis) + np.eye(2) * mean
    exact = np.linalg.solve(np.eye(2) + near * vertex / 1000, near)
    sphere, cyl, axis = spherocylinder(exact)
    sphere, cyl, axis = round(sphere * 4) / 4, round(cyl * 4) / 4, int(round(axis)) or 180
    if cyl == 0:
        cyl = -0.25
    case = head(number, eye, "realignment", "Tarn T")
    case["refraction"] = refraction(eye, sphere, cyl, axis, vertex)
    case["implanted"] = {"lens": "Tarn T", "equivalent_d": 21.0, "cylinder_d": lens_cyl, "corneal_cylinder_d": corneal,
                         "axis_deg": now_axis, "seen_at": "2026-03-02", "by": "Dr. Imara Vost"}
    case["lens"] = [{"name": "Tarn T", "kind": "toric", "box_power": "spherical_equivalent",
                     "constants": {"a0": 1.2, "a1": 0.4, "a2": 0.1, "origin": "invented"},
                     "box_cylinder_plane": "lens", "equivalent_d": {"from": 6, "to": 30, "step": 0.5},
                     "steps": [{"code": "C", "cylinder_d": lens_cyl}]}]
    written = from_written(sphere, cyl, axis)
    at_cornea = symmetric(np.linalg.solve(np.eye(2) - written * vertex / 1000, written))

    def with_lens(angle):
        """The refraction at the cornea with the lens turned: its effect taken off where it lies and put on again."""
        return at_cornea - toric(0.0, corneal, now_axis) + toric(0.0, corneal, angle)

    left_by = lambda angle: cylinder(with_lens(angle))  # noqa: E731
    coarse = min(np.arange(0.0, 180.0, 1.0), key=left_by)
    best = min(np.arange(coarse - 1.5, coarse + 1.5, 0.01), key=left_by) % 180
    then = with_lens(best)
    spectacles = np.linalg.solve(np.eye(2) + then * 0.012, then)
    return case, {
        "kind": "realignment", "to_axis_deg": float(best), "residual_d": cylinder(then), "now_d": cylinder(at_cornea),
        "predicted": spherocylinder(spectacles),
    }


def main():
    count = int(sys.argv[1])
    random = np.random.default_rng(20261125)
    for number in range(count):
        case, plan = (phakic if number < count // 2 else realignment)(random, number)
        print(json.dumps({"file": json.dumps(case), "plan": plan}))


main()
