"""Case files of invented eyes and their plans, worked out a second time with numpy alone.

    python3 plan_numpy.py COUNT      prints one JSON object a line: {"file": the case file, "plan": the numbers}

Nothing is taken over from the package; each rule is written from its publication, where one exists in the form printed
there:

  combination      plain mean of double-angle vectors: Thibos, Wheeler, Horner, Optom Vis Sci 1997;74:367
  posterior        Eom, Kang, Kim, Song, Kim, Am J Ophthalmol 2015: with the rule 0.15 C + 0.22, oblique 0.05 C + 0.27,
                   against 0.27 D, each at 180; classes meet at 30 and 60 degrees from the vertical, blended over 5 on
                   either side (house rule)
  incision         flattening on its own meridian, torque at 45 degrees to it: Naeser, J Cataract Refract Surg 1994
  lens power       Haigis in Shammas, Intraocular Lens Power Calculations; Holladay et al., J Cataract Refract Surg
                   1988;14:17; Retzlaff, Sanders, Kraff, J Cataract Refract Surg 1990;16:333, the last two in their
                   closed form
  planes           ray-transfer matrices of a thin cornea, a thin lens and the gaps between them
  choice           greatest chance of at most 0.50 D, of those within 0.02 the weaker lens (house rule); with-the-rule:
                   the same among those that stay with the rule, if it costs at most 0.25 D more (house rule). The chance:
                   Rice's distribution of the length of a vector with normal errors, averaged over the angle of the lens

Exit 3 when numpy is missing.
"""

import json
import sys

try:
    import numpy as np
except ImportError:
    print("numpy is not installed for this python3", file=sys.stderr)
    sys.exit(3)

SEED = 20260305
N, VERTEX = 1.336, 0.012
SITES = {"nasal": 0, "superonasal": 45, "superior": 90, "superotemporal": 135,
         "temporal": 180, "inferotemporal": 225, "inferior": 270, "inferonasal": 315}


def vector(size, steep):
    """A cylinder and its steep meridian in the double-angle plane."""
    return size * np.array([np.cos(np.radians(2 * steep)), np.sin(np.radians(2 * steep))])


def polar(v):
    return float(np.hypot(*v)), float(np.degrees(np.arctan2(v[1], v[0])) / 2 % 180)


# ---- planes: a ray is (x, y, n u, n v) ------------------------------------------------------------------------------

def toric(mean, v):
    """Power matrix with the mean power and the double-angle vector of its astigmatism."""
    return mean * np.eye(2) + np.array([[v[0], v[1]], [v[1], -v[0]]]) / 2


def surface(power):
    m = np.eye(4)
    m[2:, :2] = -power
    return m


def gap(metres, index):
    m = np.eye(4)
    m[:2, 2:] = np.eye(2) * metres / index
    return m


def correction(behind):
    """Power before the system `behind` that focuses distant light on its last plane."""
    power = np.linalg.solve(behind[:2, 2:], behind[:2, :2])
    return (power + power.T) / 2


class Eye:
    """Net cornea, lens depth and optical length by a formula; lengths in metres."""

    def __init__(self, cornea, depth_mm, length_mm):
        self.cornea, self.depth, self.length = cornea, depth_mm / 1000, length_mm / 1000

    def behind_cornea(self, power, v):
        lens = surface(toric(power, v))
        return gap(self.length - self.depth, N) @ lens @ gap(self.depth, N)

    def corneal_cylinder(self, power, cylinder):
        """What a lens cylinder does at the cornea: the astigmatism of the bundle it focuses."""
        values = np.linalg.eigvalsh(correction(self.behind_cornea(power, vector(cylinder, 0.0))))
        return float(values[1] - values[0])

    def refraction(self, power, v, astigmatism):
        cornea = surface(toric(self.cornea, astigmatism))
        return correction(self.behind_cornea(power, v) @ cornea @ gap(VERTEX, 1.0))

    def prediction(self, power):
        return float(self.refraction(power, np.zeros(2), np.zeros(2))[0, 0])


# ---- formulas -------------------------------------------------------------------------------------------------------

def closed_form(r, length, depth, nc, ref):
    """Lens power of Holladay 1988 and Retzlaff 1990 as printed: radius, optical length, lens depth in millimetres."""
    v, m = 12.0, nc - 1
    far, near = N * r - m * length, N * r - m * depth
    return (1000 * N * (far - 0.001 * ref * (v * far + length * r))
            / ((length - depth) * (near - 0.001 * ref * (v * near + depth * r))))


def place(formula, flat, steep, length, chamber, constants, target):
    """The eye of a formula and the power it wants."""
    mean = (flat + steep) / 2
    r = 337.5 / mean
    if formula == "Haigis 2000":
        radius = (337.5 / flat + 337.5 / steep) / 2
        depth = constants["a0"] + constants["a1"] * chamber + constants["a2"] * length
        dc = 331.5 / radius
        z = dc + target / (1 - target * VERTEX)
        wanted = 1000 * N / (length - depth) - 1 / (1 / z - depth / 1000 / N)
        return Eye(dc, depth, length), wanted, 1.3315
    if formula == "Holladay 1988":
        width, arm = min(12.5 * length / 23.45, 13.5), max(r, 7.0)
        depth = 0.56 + arm - np.sqrt(arm ** 2 - width ** 2 / 4) + constants["sf"]
        return (Eye(1000 / 3 / r, depth, length + 0.2),
                closed_form(r, length + 0.2, depth, 4 / 3, target), 4 / 3)
    corrected = length if length <= 24.2 else -3.446 + 1.716 * length - 0.0237 * length ** 2
    width = -5.41 + 0.58412 * corrected + 0.098 * mean
    height = r - np.sqrt(r ** 2 - width ** 2 / 4)
    depth = height + (0.62467 * constants["a"] - 68.747) - 3.336
    optical = length + 0.65696 - 0.02029 * length
    return Eye(333 / r, depth, optical), closed_form(r, optical, depth, 1.333, target), 1.333


# ---- the plan -------------------------------------------------------------------------------------------------------

def in_1_3375(reading, index):
    if "radius_mm" in reading:
        return 337.5 / reading["radius_mm"]
    return reading["power_d"] * 0.3375 / (index - 1)


def combine(sources):
    vectors, means = [], []
    for source in sources:
        flat, steep = (in_1_3375(source[k], source["keratometric_index"]) for k in ("flat", "steep"))
        # The steep meridian and the one across the flat count alike.
        across = source["flat"]["meridian_deg"] + 90
        off = (across - source["steep"]["meridian_deg"] + 90) % 180 - 90
        vectors.append(vector(steep - flat, source["steep"]["meridian_deg"] + off / 2))
        means.append((flat + steep) / 2)
    return np.mean(vectors, axis=0), float(np.mean(means))


def posterior(model, measured):
    if model == "none":
        return np.zeros(2)
    if model == "constant":
        return vector(0.25, 180)
    size, steep = polar(measured)
    from_vertical = abs(steep - 90)
    by_class = [0.15 * size + 0.22, 0.05 * size + 0.27, 0.05 * size + 0.27, 0.27]
    return vector(float(np.interp(from_vertical, [25, 35, 55, 65], by_class)), 180)


def usual_place(incision, right):
    if "at_deg" in incision:
        return incision["at_deg"]["right" if right else "left"]
    return SITES[incision["site"]] if right else 180 - SITES[incision["site"]]


def cut(incision, right, at):
    if "steepened_d" in incision:
        steep = incision["steepened_deg"] if right else 180 - incision["steepened_deg"]
        return vector(incision["steepened_d"], steep)
    torque = incision["torque_d"] if right else -incision["torque_d"]
    return vector(incision["flattening_d"], at + 90) + vector(torque, at + 45)


def class_of(steep):
    return "with" if abs(steep - 90) <= 30 else "other"


def chance(to_correct, cylinder):
    """That at most 0.50 D is left of a vector with normal errors behind a lens whose angle errs, too."""
    sigma = 0.8 * np.sqrt(0.20**2 + 0.18**2 + 0.20**2 + 0.08**2 + 0.17**2)
    lengths = np.linspace(0, 0.5, 101)[:, None]
    steep = polar(to_correct)[1]
    total = 0.0
    for weight, degrees in ((0.98, np.sqrt(3.5**2 + 2.0**2 + 3.0**2 + 1.5**2)), (0.02, 12.0)):
        off = np.linspace(-6, 6, 121)
        density = np.exp(-off**2 / 2)
        turned = np.radians(2 * (steep + off * degrees * 0.8))
        left = np.hypot(to_correct[0] - cylinder * np.cos(turned), to_correct[1] - cylinder * np.sin(turned))
        rice = lengths / sigma**2 * np.exp(-(lengths**2 + left**2) / (2 * sigma**2)) * np.i0(lengths * left / sigma**2)
        within = np.sum((rice[1:] + rice[:-1]) / 2 * np.diff(lengths, axis=0), axis=0)
        total += weight * np.sum(density * within) / np.sum(density)
    return total


def choose(lenses, to_correct, leftover):
    """Lenses weakest first as (code, corneal cylinder); the code of the one taken."""
    size, steep = polar(to_correct)
    left = [(code, abs(size - cylinder), steep if cylinder <= size else (steep + 90) % 180, chance(to_correct, cylinder))
            for code, cylinder in lenses]

    def most(rows):
        best = None
        for row in rows:
            if best is None or row[3] > best[3] + 0.02:
                best = row
        return best

    best = most(left)
    if leftover == "with-the-rule":
        ruled = most([row for row in left if class_of(row[2]) == "with"])
        if ruled and ruled[1] <= best[1] + 0.25:
            best = ruled
    return best[0]


def plan(case):
    right = case["operation"]["eye"] == "right"
    surgeon, lens = case["surgeon"], case["lens"][0]
    measured, mean = combine(case["keratometry"])
    size, steep = polar(measured)
    back = posterior(surgeon["posterior_model"], measured)
    at = case["operation"].get("incision_deg")
    incision = surgeon["incision"]
    own = cut(incision, right, usual_place(incision, right) if at is None else at)
    total = measured + back + own
    axial, target = case["axial"][0], case["operation"]["target_d"]
    eye, wanted, index = place(surgeon["formula"], mean - size / 2, mean + size / 2, axial["length_mm"],
                               axial["chamber_depth_mm"], lens["constants"], target)
    to_correct = total * (index - 1) / 0.3375
    ladder = lens["equivalent_d"]
    rungs = np.arange(round((ladder["to"] - ladder["from"]) / ladder["step"]) + 1) * ladder["step"] + ladder["from"]
    predictions = {float(p): eye.prediction(p) for p in rungs}
    power = min(predictions, key=lambda p: (round(abs(predictions[p] - target), 9), -p))
    steps = [("", 0.0, 0.0)] + [(s["code"], s["cylinder_d"], eye.corneal_cylinder(power, s["cylinder_d"]))
                                for s in lens["steps"]]
    code = choose([(c, corneal) for c, _, corneal in steps], to_correct, surgeon["leftover"])
    _, cylinder, corneal = next(s for s in steps if s[0] == code)
    axis = polar(to_correct)[1]
    # The marks lie on the lens's meridian of least power: its steep one lies across the axis.
    refraction = eye.refraction(power, vector(cylinder, axis + 90), to_correct)
    values, vectors = np.linalg.eigh(refraction)
    sums = [measured, measured + back, total, to_correct]
    parts = [measured, back, own, to_correct - total]
    return {
        "keratometry": {"flat_d": mean - size / 2, "steep_d": mean + size / 2, "steep_deg": steep},
        "steps": [{"own": list(map(float, p)), "total": list(map(float, s))} for p, s in zip(parts, sums)],
        "wanted_d": float(wanted),
        "power_d": power,
        "predictions": predictions,
        "corneal": {c: corneal for c, _, corneal in steps if c},
        "code": code,
        "cylinder_d": cylinder,
        "axis_deg": axis if code else None,
        "residual": list(map(float, to_correct - vector(corneal, axis))),
        # Minus form: the axis lies where the power is greatest.
        "predicted": {"sphere_d": float(values[1]), "cylinder_d": float(values[0] - values[1]),
                      "axis_deg": float(np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1])) % 180)},
    }


# ---- invented eyes --------------------------------------------------------------------------------------------------

def reading(rng, kind, power, meridian, index):
    meridian = int(round(meridian)) % 180 or 180
    if kind == "radius":
        return {"radius_mm": round(337.5 / power, 2), "meridian_deg": meridian}
    return {"power_d": round(power * (index - 1) / 0.3375, 2), "meridian_deg": meridian}


def case(rng, number):
    right = bool(rng.integers(2))
    eye = "right" if right else "left"
    mean, size, steep = rng.uniform(40.5, 46.5), rng.uniform(0.4, 4.0), rng.uniform(0, 180)
    keratometry = []
    others = (1.3375, 1.3375) if rng.random() < 0.5 else (1.332, 1.336)
    for device, kind, index in [("Halden K2", "radius", 1.3375), ("Orrin B1", "power", others[0]),
                                ("Vellan T1", "power", others[1])][: rng.choice([1, 2, 2, 3])]:
        noise = rng.normal(0, [0.04, 0.05, 0.6])
        m, c, s = mean + noise[0], max(size + noise[1], 0.1), steep + noise[2]
        keratometry.append({
            "eye": eye, "device": device, "exam_at": f"2026-03-02T09:{10 + len(keratometry)}:00+01:00",
            "flat": reading(rng, kind, m - c / 2, s + 90 + rng.integers(-1, 2), index),
            "steep": reading(rng, kind, m + c / 2, s, index),
            "keratometric_index": index, "surface": "anterior", "zone_mm": 3.0, "readings": 5, "spread_d": 0.05,
        })
    at = {"right": float(rng.integers(0, 360)), "left": float(rng.integers(0, 360))}
    effects = [
        {"site": str(rng.choice(list(SITES))), "flattening_d": round(rng.uniform(0, 0.6), 2),
         "torque_d": round(rng.uniform(-0.2, 0.2), 2), "n": 40},
        {"at_deg": at, "flattening_d": round(rng.uniform(0, 0.6), 2), "torque_d": round(rng.uniform(-0.2, 0.2), 2)},
        {"site": "superior", "steepened_d": round(rng.uniform(0.1, 0.6), 2),
         "steepened_deg": float(rng.integers(1, 181))},
    ]
    incision = effects[rng.integers(3)]
    operation = {
        "eye": eye, "procedure": "toric_lens", "date": "2026-03-12", "surgeon": "Dr. Imara Vost",
        "target_d": float(rng.choice([0.0, -0.25, -0.5, -1.25, -2.5])), "lens_family": "Tarn T",
        "incision_width_mm": 2.2, "seat": str(rng.choice(["head", "temporal"])), "corneal_surgery": "none",
        "lens_status": "phakic",
    }
    if rng.random() < 0.6:
        operation["incision_deg"] = float((usual_place(incision, right) + rng.integers(-8, 9)) % 360)
    return {
        "patient": {"number": f"TP-{number:05}", "number_authority": "Elmhaven", "family_name": "Testperson",
                    "given_name": "Nobody", "birth_date": "1951-05-06", "sex": "F"},
        "operation": operation,
        "keratometry": keratometry,
        "axial": [{"eye": eye, "device": "Orrin B1", "exam_at": "2026-03-02T09:31:00+01:00",
                   "length_mm": round(rng.uniform(21.5, 27.5), 2), "method": "optical",
                   "chamber_depth_mm": round(rng.uniform(2.4, 3.9), 2), "chamber_depth_from": "corneal_front",
                   "lens_thickness_mm": 4.5, "corneal_thickness_um": 545, "white_to_white_mm": 11.9}],
        "surgeon": {"name": "Dr. Imara Vost",
                    "formula": ["Haigis 2000", "Holladay 1988", "Retzlaff 1990"][number % 3],
                    "posterior_model": str(rng.choice(["eom2015", "eom2015", "constant", "none"])),
                    "leftover": str(rng.choice(["least", "least", "with-the-rule"])), "incision": incision},
        # Lengths and depths drawn one by one set formulas apart that agree in eyes of people.
        "answer": [{"code": "F02", "reason": "the eye is invented", "by": "Dr. Imara Vost"}],
        "lens": [{"name": "Tarn T", "kind": "toric", "box_power": "spherical_equivalent", "box_cylinder_plane": "lens",
                  "constants": {"a": 118.7, "sf": 1.65, "a0": -0.70, "a1": 0.24, "a2": 0.21, "origin": "invented"},
                  "equivalent_d": {"from": 4.0, "to": 34.0, "step": 0.5},
                  "steps": [{"code": f"T{i + 1}", "cylinder_d": c}
                            for i, c in enumerate([1.0, 1.5, 2.25, 3.0, 3.75, 4.5])]}],
    }


def main():
    rng = np.random.default_rng(SEED)
    for number in range(int(sys.argv[1])):
        invented = case(rng, number)
        print(json.dumps({"file": json.dumps(invented, indent=1), "plan": plan(invented)}))


if __name__ == "__main__":
    main()
