#!/usr/bin/env python3
"""Writes the files of the demo clinic: exports of its five instruments (a CSV and a tab-separated text, XML, two of
DICOM) and the operating lists of its two theatres.

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

# Theatre 4, a day later: numbers from EL-30000 on.
HANH = ("EL-30114", "Nguyễn", "Thị Hạnh", "1957-02-11", "F")
STEFAN = ("EL-30127", "Brânză", "Ștefan", "1949-08-30", "M")
DARINA = ("EL-30139", "Соколенко", "Дарина", "1954-05-19", "F")
INGRID_MARIE = ("EL-30142", "Solheim", "Ingrid Marie", "1952-06-14", "F")
INGRID = ("EL-30151", "Solheim", "Ingrid", "1952-11-02", "F")
HUBERT = ("EL-30163", "Dremmen", "Hubert", "1950-12-05", "M")
AMPARO = ("EL-30176", "Vasquel", "Amparo", "1956-09-27", "F")
CASPAR = ("EL-30188", "Lievegood", "Caspar", "1948-04-03", "M")
MILAN = ("EL-30190", "Kostrešević", "Milan", "1953-10-16", "M")
RUTH = ("EL-30204", "Pemberley", "Ruth", "1959-01-22", "F")
VALDIS = ("EL-30221", "Ozolmuiža", "Valdis", "1947-07-08", "M")
RENATA = ("EL-30238", "Grünthaler", "Renata", "1955-03-29", "F")


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
    """Biometer: both eyes in one row, radii in millimetres, the count of examinations at the end. Western European letters only: it writes other names plain."""
    head = ["Pat-ID", "Family name", "Given name", "Birth date", "Measured"]
    for eye in "RL":
        head += [f"{eye} R1 [mm]", f"{eye} R1 [°]", f"{eye} R2 [mm]", f"{eye} R2 [°]", f"{eye} n", f"{eye} AL [mm]",
                 f"{eye} SD AL [mm]", f"{eye} ACD [mm]", f"{eye} LT [mm]", f"{eye} CCT [µm]", f"{eye} WTW [mm]"]
    row = [person[0], person[1], person[2], person[3], f"2026-03-02 {clock}"]
    for r1, at, r2, n, length, sd, depth, lens, cornea, white in (right, left):
        row += [f"{r1:.2f}", str(at), f"{r2:.2f}", str((at + 90 - 1) % 180 + 1), str(n), f"{length:.2f}", f"{sd:.2f}",
                f"{depth:.2f}", f"{lens:.2f}", str(cornea), f"{white:.1f}"]
    data = ("\t".join(head) + "\r\n" + "\t".join(row) + "\r\nExams\t1\r\n").encode("cp1252")
    put("orrin-b1", f"B1_{person[0]}_20260302.txt", data, note)


def across(at):
    """The meridian at right angles."""
    return (at + 90 - 1) % 180 + 1


def objects(folder, spec, note):
    with tempfile.TemporaryDirectory() as scratch:
        source = Path(scratch) / "in.json"
        source.write_text(json.dumps([spec]))
        made = Path(scratch) / "out"
        subprocess.run([sys.executable, str(MAKE_OBJECTS), "--demo", str(source), str(made)], check=True)
        for path in sorted(made.iterdir()):
            put(folder, path.name, path.read_bytes(), note)


def vellan(person, clock, right, left, lengths, note):
    """DICOM instrument: a keratometry and an axial object."""
    number, family, given, birth, sex = person
    eye = lambda f: {"flat": [f[0], round(337.5 / f[0], 2), f[1]], "steep": [f[2], round(337.5 / f[2], 2), across(f[1])]}
    axial = lambda a: {"length": a[0], "depth": a[1], "lens": a[2], "cornea": a[3], "spread": 0.02}
    objects("vellan-t1", {
        "file": number.lower(), "number": number, "authority": "Elmhaven Eye Unit", "name": f"{family}^{given}",
        "device": ["Vellan", "T1", "VT1-0088"], "birth": birth.replace("-", ""), "sex": sex, "taken": f"20260302 {clock}",
        "keratometry": {"right": eye(right), "left": eye(left)},
        "axial": {"right": axial(lengths[0]), "left": axial(lengths[1])},
    }, note)


def isendal(person, clock, right, left, note):
    """DICOM instrument that gives keratometry alone: radii to a thousandth of a millimetre, meridians to half a degree
    from 0 to 179.5, implicit VR, the names in an older character set, the time with its offset."""
    number, family, given, birth, sex = person
    eye = lambda f: {"flat": [f[0], round(337.5 / f[0], 2), f[1] % 180], "steep": [f[2], round(337.5 / f[2], 2), (f[1] + 90) % 180]}
    objects("isendal-r3", {
        "file": f"r3_{number[3:]}", "number": number, "authority": "Elmhaven Eye Unit", "name": f"{family}^{given}",
        "device": ["Isendal", "R3", "R3-31907"], "birth": birth.replace("-", ""), "sex": sex, "taken": f"20260303 {clock}",
        "charset": "ISO_IR 144" if "Ѐ" <= family[0] <= "ӿ" else "ISO_IR 101", "offset": "+0100",
        "syntax": "1.2.840.10008.1.2", "keratometry": {"right": eye(right), "left": eye(left)},
    }, note)


def quell(name, exams, note, unit="D"):
    """Keratometer: XML, the examinations of a session in one file, radius and power of each meridian."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', '<Export xmlns="urn:example:quell-a4:export" version="2">',
             '  <Instrument model="Quell A4" serial="QA4-0093"/>']
    for person, clock, right, left in exams:
        lines += [f'  <Exam taken="2026-03-03T{clock}">', "    <Patient>", f"      <Id>{person[0]}</Id>",
                  f"      <Family>{person[1]}</Family>", f"      <Given>{person[2]}</Given>", f"      <Born>{person[3]}</Born>",
                  f"      <Sex>{person[4]}</Sex>", "    </Patient>"]
        for side, (flat, at, steep, spread) in (("R", right), ("L", left)):
            lines.append(f'    <Eye side="{side}" index="1.3375">')
            for word, radius, meridian in (("Flat", flat, at), ("Steep", steep, across(at))):
                power = radius if unit == "mm" else round(337.5 / radius, 2)
                lines += [f"      <{word}>", f'        <Radius unit="mm">{radius:.2f}</Radius>',
                          f'        <Power unit="{unit}">{power:.2f}</Power>',
                          f'        <Meridian unit="deg">{meridian}</Meridian>', f"      </{word}>"]
            lines += ["      <Readings>5</Readings>", f'      <Spread unit="D">{spread:.2f}</Spread>',
                      "      <Check>ok</Check>", "    </Eye>"]
        lines.append("  </Exam>")
    put("quell-a4", name, ("\n".join([*lines, "</Export>"]) + "\n").encode("utf-8"), note)


# Where each surgeon sits and enters: seat, incision in the right and in the left eye.
SURGEONS = {
    "Dr. Imara Vost": ("head", {"R": 180, "L": 0}),
    "Dr. Oskar Lindqvale": ("temporal", {"R": 135, "L": 45}),
    "Dr. Leontine Abara": ("temporal", {"R": 180, "L": 0}),
}


def operating_list(name, day, theatre, lines, note):
    head = ("Booking,Date,Theatre,No.,Hospital no.,Family name,Given name,Born,Sex,Eye,Procedure,Surgeon,Target [D],Lens,"
            "Incision [deg],Width [mm],Seat,Earlier corneal surgery,Lens now")
    rows = []
    for position, (booking, person, eye, surgeon, target, history, *other) in enumerate(lines, start=1):
        number, family, given, birth, sex = person
        lens, procedure = (*other, *("Tarn T", "Phaco + toric lens")[len(other):])
        seat, at = SURGEONS[surgeon]
        rows.append(f"{booking},{day},{theatre},{position},{number},{family},{given},{birth},{sex},{eye},{procedure},"
                    f"{surgeon},{target},{lens},{at[eye]},2.2,{seat},{history},phakic")
    put("theatre-lists", name, ("\n".join([head, *rows]) + "\n").encode("utf-8"), note)


operating_list("theatre2_2026-03-10.csv", "2026-03-10", 2, [
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
], "the operating list of theatre 2, complete")


def theatre_4(target_of_renata):
    return [
        ("B-4201", HANH, "R", "Dr. Leontine Abara", "-2.50", "no"),
        ("B-4202", STEFAN, "L", "Dr. Leontine Abara", "0.00", "no"),
        ("B-4203", DARINA, "R", "Dr. Leontine Abara", "-0.25", "no", "Sedge T"),
        ("B-4204", DARINA, "L", "Dr. Leontine Abara", "-0.25", "no", "Sedge T"),
        ("B-4205", INGRID_MARIE, "R", "Dr. Leontine Abara", "-0.25", "no"),
        ("B-4206", INGRID, "R", "Dr. Leontine Abara", "-0.25", "no"),
        ("B-4207", HUBERT, "R", "Dr. Leontine Abara", "-0.25", "no"),
        ("B-4208", AMPARO, "L", "Dr. Leontine Abara", "-0.25", "no", "Sedge T"),
        ("B-4209", CASPAR, "R", "Dr. Oskar Lindqvale", "-0.50", "no", "Sedge T"),
        ("B-4210", MILAN, "R", "Dr. Oskar Lindqvale", "-0.25", "no"),
        ("B-4211", RUTH, "L", "Dr. Oskar Lindqvale", "-0.25", "no", "Fell S", "Phaco on steep axis"),
        ("B-4212", VALDIS, "R", "Dr. Oskar Lindqvale", "-0.25", "no"),
        ("B-4213", RENATA, "L", "Dr. Oskar Lindqvale", target_of_renata, "no"),
    ]


operating_list("theatre4_2026-03-11.csv", "2026-03-11", 4, theatre_4("-0.25"), "the operating list of theatre 4, complete")
operating_list("theatre4_2026-03-11_amended.csv", "2026-03-11", 4, theatre_4("-1.25"),
               "the same list again, later: the last patient's target has changed")

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

# Theatre 4.
orrin((HANH[0], "Nguyen", "Thi Hanh", *HANH[3:]), "13:41", (7.94, 4, 7.54, 6, 27.08, 0.02, 3.46, 4.38, 527, 12.0),
      (7.96, 176, 7.58, 6, 26.83, 0.02, 3.44, 4.40, 529, 12.0), "a long eye; Vietnamese letters written plain")
vellan(HANH, "135020", (7.93, 5, 7.55), (7.97, 175, 7.59), ((27.11, 3.45, 4.40, 0.525), (26.85, 3.43, 4.41, 0.528)),
       "the long eye by a second instrument")

orrin((STEFAN[0], "Branza", "Stefan", *STEFAN[3:]), "14:02", (7.57, 88, 7.31, 6, 21.60, 0.02, 2.63, 4.92, 560, 11.3),
      (7.55, 92, 7.29, 6, 21.52, 0.02, 2.61, 4.95, 562, 11.3), "a short eye, against the rule; Romanian letters written plain")

orrin((DARINA[0], "Sokolenko", "Daryna", *DARINA[3:]), "14:20", (7.87, 132, 7.55, 6, 23.41, 0.01, 3.09, 4.55, 544, 11.8),
      (7.88, 49, 7.57, 6, 23.36, 0.02, 3.07, 4.57, 546, 11.8), "oblique, both eyes; a Cyrillic name in Latin letters")
isendal(DARINA, "090410", (7.867, 131.5, 7.551), (7.885, 47.5, 7.576), "agrees with the biometer; a name in Cyrillic letters")

orrin(INGRID_MARIE, "14:37", (7.79, 177, 7.53, 6, 23.05, 0.01, 3.01, 4.61, 537, 11.7),
      (7.80, 4, 7.55, 6, 23.01, 0.02, 2.99, 4.63, 539, 11.7), "one of two alike on the list; with the rule")
orrin(INGRID, "14:52", (7.80, 93, 7.46, 6, 23.74, 0.01, 3.20, 4.44, 549, 12.0),
      (7.82, 87, 7.50, 6, 23.70, 0.02, 3.19, 4.45, 551, 12.0), "the other of two alike on the list; against the rule")
isendal(INGRID, "093105", (7.806, 94.0, 7.458), (7.815, 86.5, 7.497), "agrees with the biometer")

halden(HUBERT, "15:05:20", [("OD", 42.90, 12, 44.85, 5, 0.06), ("OS", 43.02, 169, 44.80, 5, 0.05)],
       "differs from the biometer by more than the limit; the plan from both is good by either")
orrin(HUBERT, "15:12", (7.86, 4, 7.52, 6, 23.90, 0.01, 3.17, 4.48, 541, 11.9), (7.84, 175, 7.53, 6, 23.86, 0.02, 3.15, 4.50, 543, 11.9),
      "differs from the keratometer by more than the limit; the plan from both is good by either")

halden(AMPARO, "15:30:45", [("OD", 43.38, 4, 43.90, 5, 0.04), ("OS", 43.48, 178, 43.86, 5, 0.05)], "little astigmatism: the lens without a cylinder is the best of its family")
orrin(AMPARO, "15:37", (7.78, 6, 7.69, 6, 23.20, 0.01, 3.08, 4.57, 546, 11.8), (7.76, 177, 7.70, 6, 23.16, 0.02, 3.06, 4.59, 547, 11.8),
      "little astigmatism: the lens without a cylinder is the best of its family")

halden(CASPAR, "15:55:10", [("OD", 41.30, 96, 44.95, 5, 0.07), ("OS", 41.52, 84, 44.40, 5, 0.07)], "much astigmatism, against the rule: more than the family of lenses has steps for")
orrin(CASPAR, "16:03", (8.17, 95, 7.51, 6, 24.18, 0.01, 3.26, 4.41, 535, 12.1), (8.13, 85, 7.60, 6, 24.11, 0.02, 3.24, 4.43, 537, 12.1),
      "much astigmatism, against the rule: more than the family of lenses has steps for")

orrin((MILAN[0], "Kostreševic", "Milan", *MILAN[3:]), "16:20", (7.72, 170, 7.44, 6, 23.34, 0.01, 3.11, 4.52, 545, 11.8),
      (7.73, 9, 7.47, 6, 23.30, 0.02, 3.10, 4.54, 547, 11.8), "sound")

halden(RUTH, "16:41:30", [("OD", 43.55, 176, 44.30, 5, 0.05), ("OS", 43.60, 5, 44.42, 5, 0.05)], "the biometer has not brought its part yet")

orrin((VALDIS[0], "Ozolmuiža", "Valdis", *VALDIS[3:]), "16:58", (7.95, 4, 7.55, 6, 23.66, 0.01, 3.14, 4.50, 538, 11.9),
      (7.93, 176, 7.56, 6, 23.60, 0.02, 3.12, 4.52, 540, 11.9), "sound")
isendal(VALDIS, "101522", (7.944, 95.0, 7.556), (7.936, 86.0, 7.551), "every meridian turned by a right angle")

orrin(RENATA, "17:15", (7.84, 22, 7.58, 6, 23.52, 0.01, 3.10, 4.54, 550, 11.8), (7.83, 158, 7.55, 6, 23.48, 0.02, 3.08, 4.56, 551, 11.8), "sound")

quell("A4_20260303_session.xml", [
    (STEFAN, "09:12:08", (7.58, 87, 7.32, 0.05), (7.56, 93, 7.30, 0.05)),
    (INGRID_MARIE, "09:26:51", (7.78, 178, 7.53, 0.04), (7.80, 3, 7.56, 0.05)),
    (RENATA, "09:58:37", (7.85, 21, 7.58, 0.05), (7.83, 160, 7.56, 0.04)),
], "the examinations of a morning, three patients")
quell("A4_20260303_104417.xml", [(MILAN, "10:44:17", (7.71, 171, 7.44, 0.05), (7.73, 8, 7.48, 0.05))],
      "powers in millimetres: the display was switched over", unit="mm")

(OUT / "manifest.json").write_text(json.dumps(NOTES, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
print(f"{len(NOTES)} files")
