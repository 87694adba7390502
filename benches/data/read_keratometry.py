"""Reads one Keratometry object many times as pydicom does it, and prints a JSON object: `median_us`, `values`.

    python3 read_keratometry.py OBJECT ROUNDS      what is read is the object's bytes, in memory

`values` are radius, power and axis of the steep and the flat meridian of each eye, with patient number, name and birth
date. Exit 3 when pydicom is missing.
"""

import io
import json
import statistics
import sys
import time

try:
    import pydicom
except ImportError:
    print("pydicom is not installed for this python3", file=sys.stderr)
    sys.exit(3)

EYES = {"right": (0x0046, 0x0070), "left": (0x0046, 0x0071)}
MERIDIANS = {"steep": (0x0046, 0x0074), "flat": (0x0046, 0x0080)}
NUMBERS = ((0x0046, 0x0075), (0x0046, 0x0076), (0x0046, 0x0077))


def read(data):
    ds = pydicom.dcmread(io.BytesIO(data), force=True)
    values = {}
    for eye, of_eye in EYES.items():
        for word, of_meridian in MERIDIANS.items():
            item = ds[of_eye].value[0][of_meridian].value[0]
            values[f"{eye} {word}"] = [float(item[number].value) for number in NUMBERS]
    return values, [str(ds.PatientID), str(ds.PatientName), str(ds.PatientBirthDate)]


with open(sys.argv[1], "rb") as file:
    data = file.read()
times = []
for _ in range(int(sys.argv[2])):
    begun = time.perf_counter_ns()
    values, _ = read(data)
    times.append((time.perf_counter_ns() - begun) / 1000)
print(json.dumps({"median_us": statistics.median(times), "values": values}))
