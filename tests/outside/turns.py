"""Turns and views by plain vectors: what a compass and a pair of eyes would say. Standard library only.

    python3 turns.py make COUNT        random eyes, one JSON object a line
    python3 turns.py judge             reads those objects with "ours" added, adds what plain geometry says
    python3 turns.py ring              the same for the table of a level ring in "ours"
    python3 turns.py screen            reads {eye, seat, places}: where each place appears to the surgeon
"""

import json
import math
import random
import sys


def unit(degrees):
    return math.cos(math.radians(degrees)), math.sin(math.radians(degrees))


def rotated(v, degrees):
    c, s = unit(degrees)
    return c * v[0] - s * v[1], s * v[0] + c * v[1]


def between(a, b):
    """Degrees between two directions, 0 to 180."""
    return abs(math.degrees(math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])))


def cross(a, b):
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def nose(eye):
    """Seen by a person in front of the patient: the nose is at the viewer's right of a right eye."""
    return (1.0, 0.0) if eye == "right" else (-1.0, 0.0)


def on_screen(eye, seat, degrees):
    """A place on the limbus as the surgeon sees it down the microscope: direction on the picture, degrees.

    The surgeon looks along -z (into the eye); what lies away from the surgeon is at the top of the picture, and the
    right of the picture is the cross product of the line of sight and that.
    """
    away = (0.0, -1.0) if seat == "head" else nose(eye)
    up = (*away, 0.0)
    right = cross((0.0, 0.0, -1.0), up)
    place = (*unit(degrees), 0.0)
    x = sum(p * r for p, r in zip(place, right))
    y = sum(p * u for p, u in zip(place, up))
    return math.degrees(math.atan2(y, x)) % 360.0


def make(count):
    rng = random.Random(20260310)
    for _ in range(count):
        marked = rng.random() < 0.5
        print(json.dumps({
            "eye": rng.choice(["right", "left"]),
            "seat": rng.choice(["head", "temporal"]),
            "axis": rng.choice([rng.uniform(0.001, 180.0), float(rng.randint(1, 180))]),
            "zero_side": rng.uniform(-20.0, 20.0) if marked else 0.0,
            "opposite_side": 180.0 + (rng.uniform(-20.0, 20.0) if marked else 0.0),
            "place": rng.uniform(0.0, 360.0),
        }))


def judge(case):
    """Turns each mark as told and says how far from the upper end of the axis it comes to lie."""
    upper_end = unit(case["axis"] if case["axis"] < 180.0 else 180.0)
    at_nose = case["zero_side"] if case["eye"] == "right" else case["opposite_side"]
    at_temple = case["opposite_side"] if case["eye"] == "right" else case["zero_side"]
    # The nasal mark must lie on the side of the nose, or the words are exchanged.
    assert between(unit(at_nose), nose(case["eye"])) < 90.0 < between(unit(at_temple), nose(case["eye"]))
    off = {}
    for name, mark in (("nasal", at_nose), ("temporal", at_temple)):
        for form in ("exact", "printed"):
            degrees, direction = case["ours"][name][form]
            sign = {"anticlockwise": 1.0, "clockwise": -1.0}[direction]
            off[f"{name}_{form}"] = between(rotated(unit(mark), sign * degrees), upper_end)
    off["sum"] = abs(case["ours"]["sum"] - (case["opposite_side"] - case["zero_side"]))
    seen = on_screen(case["eye"], case["seat"], case["place"])
    off["seen"] = between(unit(seen), unit(case["ours"]["seen"]))
    return off


def judge_ring(case):
    """Turns a whole eye and reads the nasal mark and the axis on a ring that stayed level."""
    mark = case["zero_side"] if case["eye"] == "right" else case["opposite_side"]
    worst, rows = 0.0, {row["read"]: row["set"] for row in case["ours"]["ring"]}
    for turned in range(-40, 41):
        seen = math.degrees(math.atan2(*reversed(rotated(unit(mark), turned)))) % 180.0
        axis = rotated(unit(case["axis"]), turned)
        for read, set_to in rows.items():
            if min(abs(seen - read), 180.0 - abs(seen - read)) < 1e-9:
                off = between(axis, unit(set_to))
                worst = max(worst, min(off, 180.0 - off))
    return {"ring": worst, "rows": len(rows)}


def main():
    if sys.argv[1] == "make":
        make(int(sys.argv[2]))
        return
    for line in sys.stdin:
        case = json.loads(line)
        if sys.argv[1] == "judge":
            print(json.dumps(judge(case)))
        elif sys.argv[1] == "ring":
            print(json.dumps(judge_ring(case)))
        else:
            print(json.dumps([on_screen(case["eye"], case["seat"], place) for place in case["places"]]))


if __name__ == "__main__":
    main()
