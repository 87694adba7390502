#!/usr/bin/env python3
"""Writes the files of the demo clinic: exports of two CSV instruments and one DICOM instrument, and an operating list.

    python tests/demo/make_clinic.py demo-data/clinic

Every person, number and value is invented. Needs pydicom for the DICOM objects. `manifest.json` beside the files names
what each file is there for, with its SHA-256.
"""

import hashlib
import json
import subprocess
import sys
import tempfile
from pathlib import Path

OUT = Path(sys.argv[1])
MAKE_OBJECTS = Path(__file__).parent.parent / "dicom" / "make_objects.py"
NOTES = {}

# number, family, given, birth, sex
ODILE = ("EL-20417", "Marrin", "Odile", "1953-04-17", "F")
TOMAS = ("EL-20433", "Brandvold", "Tomas", "1949-11-02", "M")
IRENE = ("EL-20458", "Castellan", "Irène", "1958-07-30", "F")
PIET = ("EL-20462", "Oudenaar", "Piet", "1946-01-19", "M")
SELMA = ("EL-20479", "Rautio", "Selma", "1951-09-08", "F")
JONAS = ("EL-20491", "Weyrich", "Jonas", "1944-03-25", "M")
NIKOS = ("EL-20503", "Μελάς", "Νίκος", "1955-12-12", "M")
AGNES = ("EL-20518", "Thorvik", "Agnes", "1950-06-03", "F")
BRAM = ("EL-20526", "Hollander", "Bram", "1947-10-21", "M")


def put(folder, name, data, note):
    path = OUT / "incoming" / folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    NOTES[f"incoming/{folder}/{name}"] = {"sha256": hashlib.sha256(data).hexdigest(), "what": note}


def comma(value, decimals):
    return f"{value:.{decimals}f}".replace(".", ",")


def day(birth):
    y, m, d = birth.split("-")
    return f"{d}.{m}.{y}"


def halden(person, clock, eyes, note, name=None, number=None, cut=False):
    """Keratometer: one row per eye, powers in dioptres with a decimal comma."""
    number = number or person[0]
    rows = [
        f"{number};{person[1]}, {person[2]};{day(person[3])};{person[4]};02.03.2026;{clock};{code};"
        f"{comma(flat, 2)};{at};{comma(steep, 2)};{(at + 90 - 1) % 180 + 1};{readings};{comma(sd, 2)};OK"
        for code, flat, at, steep, readings, sd in eyes
    ]
    lines = [
        "Instrument;Halden K2",
        "Serial no.;HK2-0417",
        "",
        "Patient no.;Name;Born;Sex;Date;Time;Eye;K flat [D, n=1.3375];Axis flat [deg];K steep [D, n=1.3375];"
        "Axis steep [deg];Readings;SD K [D];Check",
        *rows,
        f"END;{len(rows)} rows",
    ]
    data = ("\r\n".join(lines) + "\r\n").encode("utf-8")
    if cut:
        data = data[: len(data) - 60]
    both = "B" if len(eyes) == 2 else {"OD": "R", "OS": "L"}[eyes[0][0]]
    put("halden-k2", name or f"K2_{number}_{both}_20260302.csv", data, note)


def orrin(person, clock, right, left, note):
    """Biometer: both eyes in one row, radii in millimetres."""
    head = ["Pat-ID", "Family name", "Given name", "Birth date", "Measured"]
    for eye in "RL":
        head += [f"{eye} R1 [mm]", f"{eye} R1 [°]", f"{eye} R2 [mm]", f"{eye} R2 [°]", f"{eye} n", f"{eye} AL [mm]",
                 f"{eye} SD AL [mm]", f"{eye} ACD [mm]", f"{eye} LT [mm]", f"{eye} CCT [µm]", f"{eye} WTW [mm]"]
    row = [person[0], person[1], person[2], person[3], f"2026-03-02 {clock}"]
    for r1, at, r2, n, length, sd, depth, lens, cornea, white in (right, left):
        row += [f"{r1:.2f}", str(at), f"{r2:.2f}", str((at + 90 - 1) % 180 + 1), str(n), f"{length:.2f}", f"{sd:.2f}",
                f"{depth:.2f}", f"{lens:.2f}", str(cornea), f"{white:.1f}"]
    data = ("\t".join(head) + "\r\n" + "\t".join(row) + "\r\n").encode("cp1252")
    put("orrin-b1", f"B1_{person[0]}_20260302.txt", data, note)


def vellan(person, clock, right, left, lengths, note):
    """DICOM instrument: a keratometry and an axial object."""
    number, family, given, birth, sex = person
    eye = lambda f: {"flat": [f[0], round(337.5 / f[0], 2), f[1]], "steep": [f[2], round(337.5 / f[2], 2), (f[1] + 90 - 1) % 180 + 1]}
    axial = lambda a: {"length": a[0], "depth": a[1], "lens": a[2], "cornea": a[3], "spread": 0.02}
    spec = [{"file": number.lower(), "number": number, "authority": "Elmhaven Eye Unit", "name": f"{family}^{given}",
             "device": ["Vellan", "T1", "VT1-0088"], "birth": birth.replace("-", ""), "sex": sex, "taken": f"20260302 {clock}",
             "keratometry": {"right": eye(right), "left": eye(left)},
             "axial": {"right": axial(lengths[0]), "left": axial(lengths[1])}}]
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "in.json"
        source.write_text(json.dumps(spec))
        made = Path(folder) / "out"
        subprocess.run([sys.executable, str(MAKE_OBJECTS), "--demo", str(source), str(made)], check=True)
        for path in sorted(made.iterdir()):
            put("vellan-t1", path.name, path.read_bytes(), note)


def operating_list():
    head = ("Booking,Date,Theatre,No.,Hospital no.,Family name,Given name,Born,Sex,Eye,Procedure,Surgeon,Target [D],Lens,"
            "Incision [deg],Width [mm],Seat,Earlier corneal surgery,Lens now")
    rows = []
    for position, (booking, person, eye, surgeon, target, history) in enumerate([
        ("B-3101", ODILE, "R", "Dr. Imara Vost", "-0.25", "no"),
        ("B-3102", ODILE, "L", "Dr. Imara Vost", "-0.25", "no"),
        ("B-3103", TOMAS, "L", "Dr. Imara Vost", "0.00", "no"),
        ("B-3104", IRENE, "R", "Dr. Imara Vost", "-0.25", "no"),
        ("B-3105", PIET, "R", "Dr. Imara Vost", "-0.50", "no"),
        ("B-3106", SELMA, "L", "Dr. Imara Vost", "-0.25", "no"),
        ("B-3107", JONAS, "R", "Dr. Oskar Lindqvale", "-0.25", "no"),
        ("B-3108", NIKOS, "L", "Dr. Oskar Lindqvale", "-0.25", "no"),
        ("B-3109", AGNES, "R", "Dr. Imara Vost", "-0.25", "unknown"),
        ("B-3110", BRAM, "R", "Dr. Imara Vost", "-0.50", "yes"),
    ], start=1):
        number, family, given, birth, sex = person
        at = {"Dr. Imara Vost": {"R": 180, "L": 0}, "Dr. Oskar Lindqvale": {"R": 135, "L": 45}}[surgeon][eye]
        seat = {"Dr. Imara Vost": "head", "Dr. Oskar Lindqvale": "temporal"}[surgeon]
        rows.append(f"{booking},2026-03-10,2,{position},{number},{family},{given},{birth},{sex},{eye},Phaco + toric lens,"
                    f"{surgeon},{target},Tarn T,{at},2.2,{seat},{history},phakic")
    data = ("\n".join([head, *rows]) + "\n").encode("utf-8")
    put("theatre-lists", "theatre2_2026-03-10.csv", data, "the operating list of theatre 2, complete")


operating_list()

halden(ODILE, "09:02:30", [("OD", 42.62, 8, 45.08, 5, 0.05), ("OS", 42.80, 172, 44.65, 5, 0.06)], "agrees with the biometer, both eyes")
orrin(ODILE, "09:14", (7.91, 9, 7.50, 6, 23.62, 0.01, 3.12, 4.51, 548, 11.9), (7.88, 170, 7.56, 6, 23.55, 0.02, 3.10, 4.53, 551, 11.9),
      "agrees with the keratometer, both eyes")

halden(TOMAS, "09:32:10", [("OD", 43.10, 2, 44.20, 5, 0.05), ("OS", 43.00, 160, 45.20, 5, 0.06)], "disagrees with the biometer in the left eye")
orrin(TOMAS, "09:41", (7.83, 4, 7.64, 6, 24.10, 0.01, 3.24, 4.40, 533, 12.0), (7.86, 171, 7.49, 6, 24.02, 0.02, 3.21, 4.42, 535, 12.0),
      "disagrees with the keratometer in the left eye")

halden(IRENE, "10:01:00", [("OD", 43.52, 12, 45.30, 5, 0.04)], "right eye only; the file name says left",
       name="K2_EL-20458_L_20260302.csv")
orrin(IRENE, "10:09", (7.75, 13, 7.45, 6, 22.95, 0.01, 2.98, 4.62, 540, 11.7), (7.77, 165, 7.50, 6, 22.90, 0.02, 2.97, 4.60, 541, 11.7),
      "sound")

halden(PIET, "10:31:40", [("OD", 42.20, 85, 67.90, 5, 0.07), ("OS", 42.35, 92, 43.80, 5, 0.05)], "a power no cornea has, right eye")
orrin(PIET, "10:38", (7.99, 86, 7.70, 6, 23.88, 0.01, 3.18, 4.49, 555, 12.1), (7.97, 93, 7.71, 6, 23.81, 0.02, 3.15, 4.50, 556, 12.0), "sound")

halden(SELMA, "11:02:20", [("OD", 44.00, 175, 45.60, 5, 0.05), ("OS", 44.12, 4, 46.05, 5, 0.05)], "cut off before its end", cut=True)
orrin(SELMA, "11:10", (7.67, 176, 7.40, 6, 22.70, 0.01, 2.91, 4.68, 538, 11.6), (7.65, 5, 7.33, 6, 22.66, 0.02, 2.92, 4.70, 537, 11.6), "sound")

halden(JONAS, "11:31:15", [("OD", 43.30, 80, 44.90, 5, 0.05), ("OS", 43.22, 99, 44.80, 5, 0.06)],
       "the same person by name and birth date under another number", number="EL-20419")
orrin(JONAS, "11:40", (7.79, 81, 7.52, 6, 24.35, 0.01, 3.30, 4.35, 529, 12.2), (7.81, 98, 7.54, 6, 24.29, 0.02, 3.28, 4.37, 531, 12.2), "sound")

halden(NIKOS, "12:01:50", [("OD", 42.90, 100, 44.70, 5, 0.04), ("OS", 42.84, 78, 44.98, 5, 0.05)], "agrees with the DICOM instrument; a name in Greek letters")
vellan(NIKOS, "121240", (7.86, 101, 7.55), (7.87, 79, 7.51), ((23.30, 3.05, 4.58, 0.543), (23.26, 3.04, 4.60, 0.545)),
       "agrees with the keratometer; a name in Greek letters")

halden(AGNES, "12:31:00", [("OD", 41.70, 2, 43.60, 5, 0.05), ("OS", 41.85, 178, 43.50, 5, 0.05)], "sound; the list does not know the history of the cornea")
vellan(AGNES, "124010", (8.10, 3, 7.75), (8.07, 177, 7.76), ((24.66, 3.33, 4.30, 0.552), (24.60, 3.31, 4.32, 0.550)), "sound")

halden(BRAM, "13:05:30", [("OD", 38.60, 95, 40.15, 5, 0.06), ("OS", 38.90, 86, 40.20, 5, 0.06)], "an eye after corneal laser surgery")
orrin(BRAM, "13:14", (8.74, 96, 8.41, 6, 26.02, 0.01, 3.52, 4.20, 501, 12.3), (8.68, 85, 8.40, 6, 25.95, 0.02, 3.50, 4.22, 503, 12.3),
      "an eye after corneal laser surgery")

(OUT / "manifest.json").write_text(json.dumps(NOTES, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
print(f"{len(NOTES)} files")
