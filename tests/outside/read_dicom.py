"""Every element of DICOM files as pydicom reads them: one JSON object a line.

    python3 read_dicom.py      reads one path a line

`values` maps the path of each element with exactly one value to its number, `texts` to its text; `name` is the patient's
name by parts. Exit 3 when pydicom is missing.
"""

import json
import sys

try:
    import pydicom
    from pydicom import config
except ImportError:
    print("pydicom is not installed for this python3", file=sys.stderr)
    sys.exit(3)

config.settings.reading_validation_mode = config.IGNORE


def walk(ds, prefix=""):
    for element in ds:
        path = f"{prefix}({element.tag.group:04X},{element.tag.element:04X})"
        if element.VR == "SQ":
            for number, item in enumerate(element.value, 1):
                yield from walk(item, f"{path}[{number}]/")
        elif element.value not in (None, "", b"") and element.VM == 1:
            yield path, element.value


for line in sys.stdin:
    ds = pydicom.dcmread(line.strip(), force=True)
    values, texts = {}, {}
    for path, value in walk(ds):
        try:
            values[path] = float(value)
        except (TypeError, ValueError):
            pass
        texts[path] = str(value)
    name = ds.get("PatientName")
    parts = [name.family_name, name.given_name, name.ideographic] if name else ["", "", ""]
    print(json.dumps({"values": values, "texts": texts, "name": [part or "" for part in parts]}))
