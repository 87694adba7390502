"""Makes the DICOM objects of this folder and `manifest.json`, which says what pydicom reads from each.

    python make_objects.py                      writes files/ and manifest.json beside this script
    python make_objects.py --demo IN.json DIR   writes for each patient of IN.json a KER object, and an OAM object where
                                                axial lengths are given

Needs pydicom 3.0.1 and numpy. People, clinics and devices are invented; identifiers lie under 2.25. The same script
makes the same bytes on every run. What must be refused, and with which words, is written here by hand; what must be
read is what pydicom reads.
"""

import io
import json
import math
import struct
import sys
import zlib
from pathlib import Path

import make_reports
import numpy
import pydicom
from pydicom import config
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.tag import Tag
from pydicom.uid import UID

config.settings.writing_validation_mode = config.IGNORE
config.settings.reading_validation_mode = config.IGNORE

KER = "1.2.840.10008.5.1.4.1.1.78.3"
OAM = "1.2.840.10008.5.1.4.1.1.78.7"
AR = "1.2.840.10008.5.1.4.1.1.78.2"
SRF = "1.2.840.10008.5.1.4.1.1.78.4"
IOL = "1.2.840.10008.5.1.4.1.1.78.8"
MAP = "1.2.840.10008.5.1.4.1.1.82.1"
SR = "1.2.840.10008.5.1.4.1.1.88."
IMPLICIT, EXPLICIT = "1.2.840.10008.1.2", "1.2.840.10008.1.2.1"
DEFLATED, BIG = "1.2.840.10008.1.2.1.99", "1.2.840.10008.1.2.2"
ROOT_UID = 2026030200000000000000000000000000000

RADIUS, POWER, AXIS = (0x0046, 0x0075), (0x0046, 0x0076), (0x0046, 0x0077)
RIGHT, LEFT = (0x0046, 0x0070), (0x0046, 0x0071)
STEEP, FLAT = (0x0046, 0x0074), (0x0046, 0x0080)
LENGTH = (0x0022, 0x1019)
SPHERE, CYLINDER, CYLINDER_AXIS = (0x0046, 0x0146), (0x0046, 0x0147), (0x0022, 0x0009)
R_STEEP = "(0046,0070)[1]/(0046,0074)[1]/"
R_FLAT = "(0046,0070)[1]/(0046,0080)[1]/"

MARLOW = json.loads((Path(__file__).parent / "demo.json").read_text())[0]


def uid(number):
    return f"2.25.{ROOT_UID + number}"


def number_of(name, kind):
    return zlib.crc32(f"{kind} {name}".encode()) * 10


def put(ds, tag, vr, value):
    ds[Tag(tag)] = DataElement(Tag(tag), vr, value)


def code(value, scheme, meaning):
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, scheme, meaning
    return Sequence([item])


WHAT = {"KER": "keratometry", "OAM": "axial", "AR": "refraction", "SRF": "refraction", "IOL": "axial", "OPM": "keratometry", "SR": "refraction"}


def frame_of(patient, sop_class, modality, maker, model, serial):
    """What every object of one patient has."""
    ds = Dataset()
    maker, model, serial = patient.get("device", (maker, model, serial))
    base = number_of(patient["file"], modality)
    date, time = patient["taken"].split()
    ds.SOPClassUID, ds.SOPInstanceUID = sop_class, uid(base)
    ds.StudyDate, ds.ContentDate, ds.StudyTime, ds.ContentTime = date, date, time, time
    ds.AccessionNumber, ds.Modality, ds.Manufacturer, ds.ReferringPhysicianName = "", modality, maker, ""
    ds.ManufacturerModelName = model
    ds.PatientName, ds.PatientID, ds.IssuerOfPatientID = patient["name"], patient["number"], patient["authority"]
    ds.PatientBirthDate, ds.PatientSex = patient["birth"], patient["sex"]
    ds.DeviceSerialNumber, ds.SoftwareVersions = serial, "1.4"
    ds.StudyInstanceUID, ds.SeriesInstanceUID = uid(base + 1), uid(base + 2)
    ds.StudyID, ds.SeriesNumber, ds.InstanceNumber = "1", 1, 1
    eyes = patient[WHAT[modality]]
    put(ds, (0x0024, 0x0113), "CS", "B" if len(eyes) == 2 else next(iter(eyes))[0].upper())
    return ds


def ker(patient=MARLOW):
    ds = frame_of(patient, KER, "KER", "Halden", "K2", "K2-0417")
    for eye, tag in (("right", RIGHT), ("left", LEFT)):
        if eye not in patient["keratometry"]:
            continue
        block = Dataset()
        for word, inner in (("steep", STEEP), ("flat", FLAT)):
            radius, power, axis = patient["keratometry"][eye][word]
            item = Dataset()
            put(item, RADIUS, "FD", float(radius))
            put(item, POWER, "FD", float(power))
            put(item, AXIS, "FD", float(axis))
            put(block, inner, "SQ", Sequence([item]))
        put(ds, tag, "SQ", Sequence([block]))
    return ds


def segment(name, value):
    item = Dataset()
    put(item, LENGTH, "FL", value)
    item.OphthalmicAxialLengthMeasurementsSegmentNameCodeSequence = name
    return item


def metric(spread, unit):
    item = Dataset()
    item.ConceptNameCodeSequence = code("111786", "DCM", "Standard Deviation of measurements used")
    put(item, (0x0040, 0xA30A), "DS", spread)
    item.MeasurementUnitsCodeSequence = code(unit, "UCUM", unit)
    return Sequence([item])


def oam(patient=MARLOW, ultrasound=None, depth_from="111776"):
    ds = frame_of(patient, OAM, "OAM", "Orrin", "B1", "B1-2290")
    ds.OphthalmicAxialMeasurementsDeviceType = "ULTRASOUND" if ultrasound else "OPTICAL"
    if ultrasound:
        ds.OphthalmicUltrasoundMethodCodeSequence = code(ultrasound, "DCM", "Ultrasound")
    if depth_from:
        ds.AnteriorChamberDepthDefinitionCodeSequence = code(depth_from, "DCM", "Definition")
    for eye, values in patient["axial"].items():
        block = Dataset()
        block.LensStatusCodeSequence = code("247049005", "SCT", "Crystalline lens")
        block.VitreousStatusCodeSequence = code("372242005", "SCT", "Vitreous only")
        block.PupilDilated = "NO"
        repeats = []
        for step in (-0.01, 0.0, 0.02):
            total = Dataset()
            put(total, LENGTH, "FL", round(values["length"] + step, 2))
            total.OphthalmicAxialLengthMeasurementModified = "NO"
            repeat = Dataset()
            repeat.OphthalmicAxialLengthMeasurementsType = "TOTAL LENGTH"
            repeat.OphthalmicAxialLengthMeasurementsTotalLengthSequence = Sequence([total])
            repeats.append(repeat)
        block.OphthalmicAxialLengthMeasurementsSequence = Sequence(repeats)
        segments = Sequence(
            [
                segment(code("31636006", "SCT", "Anterior Chamber"), values["depth"]),
                segment(code("111778", "DCM", "Single or Anterior Lens"), values["lens"]),
                segment(code("28726007", "SCT", "Cornea"), values["cornea"]),
            ]
        )
        chosen = Dataset()
        chosen.OphthalmicAxialLengthMeasurementsType = "TOTAL LENGTH"
        if ultrasound:
            put(chosen, LENGTH, "FL", values["length"])
            chosen.OphthalmicAxialLengthSelectionMethodCodeSequence = code("121412", "DCM", "Mean value chosen")
            chosen.OphthalmicAxialLengthQualityMetricSequence = metric(str(values["spread"]), "mm")
            chosen.SelectedSegmentalOphthalmicAxialLengthSequence = segments
            block.UltrasoundSelectedOphthalmicAxialLengthSequence = Sequence([chosen])
        else:
            total = Dataset()
            put(total, LENGTH, "FL", values["length"])
            total.OphthalmicAxialLengthQualityMetricSequence = metric(str(values["spread"]), "mm")
            chosen.SelectedTotalOphthalmicAxialLengthSequence = Sequence([total])
            chosen.SelectedSegmentalOphthalmicAxialLengthSequence = segments
            block.OpticalSelectedOphthalmicAxialLengthSequence = Sequence([chosen])
        tag = (0x0022, 0x1007) if eye == "right" else (0x0022, 0x1008)
        put(ds, tag, "SQ", Sequence([block]))
    return ds


def refraction(patient=MARLOW, subjective=False):
    """Autorefraction or subjective refraction; a cylinder of None is a sequence left out."""
    if subjective:
        ds = frame_of(patient, SRF, "SRF", "Perrow", "S9", "S9-0031")
        sequences = {"right": (0x0046, 0x0097), "left": (0x0046, 0x0098)}
    else:
        ds = frame_of(patient, AR, "AR", "Perrow", "R3", "R3-1180")
        sequences = {"right": (0x0046, 0x0050), "left": (0x0046, 0x0052)}
    for eye, (sphere, cylinder, axis) in patient["refraction"].items():
        block = Dataset()
        put(block, SPHERE, "FD", float(sphere))
        if cylinder is not None:
            item = Dataset()
            put(item, CYLINDER, "FD", float(cylinder))
            put(item, CYLINDER_AXIS, "FL", float(axis))
            block.CylinderSequence = Sequence([item])
        put(ds, sequences[eye], "SQ", Sequence([block]))
    return ds


def meridians(into, values):
    for word, inner in (("steep", STEEP), ("flat", FLAT)):
        radius, power, axis = values[word]
        item = Dataset()
        put(item, RADIUS, "FD", float(radius))
        put(item, POWER, "FD", float(power))
        put(item, AXIS, "FD", float(axis))
        put(into, inner, "SQ", Sequence([item]))


def with_item(ds, keyword, tag, vr, value):
    item = Dataset()
    put(item, tag, vr, value)
    setattr(ds, keyword, Sequence([item]))
    return item


def calculation(patient=MARLOW, surgery="NO", count=2):
    """Lens calculations: `count` of each eye, all on the same inputs."""
    ds = frame_of(patient, IOL, "IOL", "Orrin", "B1", "B1-2290")
    for eye, tag in (("right", (0x0022, 0x1300)), ("left", (0x0022, 0x1310))):
        items = []
        for step in range(count):
            item = Dataset()
            put(item, (0x0022, 0x1037), "FL", -0.25)
            item.RefractiveProcedureOccurred = surgery
            meridians(item, patient["keratometry"][eye])
            item.KeratometryMeasurementTypeCodeSequence = code("111754", "DCM", "Auto Keratometry")
            put(item, (0x0022, 0x1033), "FL", 1.3375)
            item.IOLFormulaCodeSequence = code(f"F{step + 1}", "99INVENTED", "Invented formula")
            with_item(item, "OphthalmicAxialLengthSequence", LENGTH, "FL", patient["axial"][eye]["length"])
            with_item(item, "AnteriorChamberDepthSequence", (0x0022, 0x1131), "FL", patient["axial"][eye]["depth"])
            power = with_item(item, "IOLPowerSequence", (0x0022, 0x1053), "FL", 21.5)
            put(power, (0x0022, 0x1054), "FL", -0.31)
            toric = with_item(power, "ToricIOLPowerSequence", CYLINDER, "FD", 1.5)
            put(toric, CYLINDER_AXIS, "FL", 97.0)
            items.append(item)
        put(ds, tag, "SQ", Sequence(items))
    return ds


FORMULAS = {
    "haigis": ("111760", "Haigis 2000", {"111769": ("DCM", -0.7), "111770": ("DCM", 0.24), "111771": ("DCM", 0.21)}),
    "hoffer": ("111764", "Hoffer 1993", {"111772": ("DCM", 5.4)}),
    "holladay": ("111762", "Holladay 1988", {"111773": ("DCM", 1.62)}),
    "retzlaff": ("111767", "Retzlaff 1990", {"397263007": ("SCT", 118.7)}),
}


def predicted_by(formula, radii, length, depth, power, index=1.3315):
    """Refraction after surgery by the published formulas, written here a second time: Haigis 2000 with its index,
    Hoffer 1993 and Retzlaff 1990 in their printed forms, Holladay 1988."""
    constants = [value for _, value in FORMULAS[formula][2].values()]
    k = (337.5 / radii[0] + 337.5 / radii[1]) / 2
    r = 337.5 / k
    if formula == "retzlaff":
        corrected = length if length <= 24.2 else -3.446 + 1.716 * length - 0.0237 * length**2
        width = -5.41 + 0.58412 * corrected + 0.098 * k
        d = r - math.sqrt(r * r - width * width / 4) + 0.62467 * constants[0] - 68.747 - 3.336
        o = length + 0.65696 - 0.02029 * length
        n, v = 1.336, 12
        over = 1000 * n * (n * r - 0.333 * o) - power * (o - d) * (n * r - 0.333 * d)
        under = n * (v * (n * r - 0.333 * o) + o * r) - 0.001 * power * (o - d) * (v * (n * r - 0.333 * d) + d * r)
        return over / under
    if formula == "hoffer":
        sign, centre = (1, 28) if length <= 23 else (-1, 23.5)
        tan = lambda degrees: math.tan(math.radians(degrees))
        c = constants[0] + 0.3 * (length - 23.5) + tan(k) ** 2
        c += 0.1 * sign * (23.5 - length) ** 2 * tan(0.1 * (centre - length) ** 2) - 0.99166
        rc = 1.336 / (1.336 / (1336 / (length - c - 0.05) - power) + (c + 0.05) / 1000) - k
        return rc / (1 + 0.012 * rc)
    if formula == "haigis":
        a0, a1, a2 = constants
        d, o, corneal = a0 + a1 * depth + a2 * length, length, 1000 * (index - 1) / ((radii[0] + radii[1]) / 2)
    else:
        width, dome = min(12.5 * length / 23.45, 13.5), max(r, 7)
        d = 0.56 + dome - math.sqrt(dome * dome - width * width / 4) + constants[0]
        o, corneal = length + 0.2, 1000 / 3 / r
    inside = 1336 / (o - d) - power
    rc = inside / (1 + d * inside / 1336) - corneal
    return rc / (1 + 0.012 * rc)


def prediction(formula="haigis", index=1.3315, change=None, patient=MARLOW):
    """One calculation of each eye that states everything a published formula rests on, for three powers."""
    ds = calculation(patient, count=1)
    value, meaning, constants = FORMULAS[formula]
    for eye, tag in (("right", (0x0022, 0x1300)), ("left", (0x0022, 0x1310))):
        item = ds[tag].value[0]
        item.IOLFormulaCodeSequence = code(value, "DCM", meaning)
        item.TypeOfOpticalCorrection = "SPHERICAL"
        front = code("111776", "DCM", "Front Of Cornea To Front Of Lens")
        item.AnteriorChamberDepthSequence[0].AnteriorChamberDepthDefinitionCodeSequence = front
        stated = []
        for name, (scheme, number) in constants.items():
            constant = Dataset()
            constant.ConceptNameCodeSequence = code(name, scheme, "Constant")
            put(constant, (0x0040, 0xA30A), "DS", str(number))
            stated.append(constant)
        item.LensConstantSequence = Sequence(stated)
        radii = [patient["keratometry"][eye][word][0] for word in ("flat", "steep")]
        lengths = patient["axial"][eye]
        powers = []
        for power in (20.5, 21.0, 21.5):
            one = Dataset()
            put(one, (0x0022, 0x1053), "FL", power)
            refraction = predicted_by(formula, radii, lengths["length"], lengths["depth"], power, index)
            put(one, (0x0022, 0x1054), "FL", round(refraction, 2))
            powers.append(one)
        item.IOLPowerSequence = Sequence(powers)
        if change:
            change(item)
    return ds


def stated_predictions(ds):
    """What the calculations of an object state, as pydicom reads it."""
    found = {}
    read = pydicom.dcmread(io.BytesIO(whole(ds)))
    for eye, tag in (("right", (0x0022, 0x1300)), ("left", (0x0022, 0x1310))):
        item = read[tag].value[0]
        values = [float(constant.NumericValue) for constant in item.LensConstantSequence]
        for inner in (FLAT, STEEP):
            one = item[inner].value[0]
            values += [one[RADIUS].value, one[POWER].value]
        values.append(shortest(item[(0x0022, 0x1033)]))
        values.append(shortest(item.OphthalmicAxialLengthSequence[0][LENGTH]))
        values.append(shortest(item.AnteriorChamberDepthSequence[0][(0x0022, 0x1131)]))
        values.append(shortest(item[(0x0022, 0x1037)]))
        for power in item.IOLPowerSequence:
            values += [shortest(power[(0x0022, 0x1053)]), shortest(power[(0x0022, 0x1054)])]
        found[eye] = values
    return found


def topography(eye="right", patient=MARLOW):
    """A map of the anterior surface, without its picture."""
    ds = frame_of(patient, MAP, "OPM", "Ferrand", "T5", "T5-0602")
    del ds.MeasurementLaterality
    ds.ImageLaterality = eye[0].upper()
    ds.AcquisitionDateTime = "20260301093000"
    put(ds, (0x0046, 0x0201), "CS", "A")
    meridians(ds, patient["keratometry"][eye])
    minimum = with_item(ds, "MinimumKeratometricSequence", RADIUS, "FD", 7.85)
    put(minimum, POWER, "FD", 42.99)
    put(minimum, AXIS, "FD", 11.0)
    cylinder = with_item(ds, "SimulatedKeratometricCylinderSequence", POWER, "FD", 1.08)
    put(cylinder, AXIS, "FD", 98.0)
    put(ds, (0x0046, 0x0203), "FL", -0.14)
    put(ds, (0x0046, 0x0204), "FL", 0.05)
    ds.CornealTopographyMapQualityEvaluation = "ACCEPTABLE"
    return ds


NAMES = {
    "SCT": {"sphere": "251795007", "cylinder": "251797004", "axis": "251799001", "laterality": "272741003",
            "site": "363698007", "right": "24028007", "left": "7771000", "both": "51440002"},
    "SRT": {"sphere": "F-02FB4", "cylinder": "F-A2143", "axis": "F-02FB7", "laterality": "G-C171",
            "site": "G-C0E3", "right": "G-A100", "left": "G-A101", "both": "G-A102"},
}
EYE_SITE = {"SCT": "81745001", "SRT": "T-AA000"}


def content(kind, relation, concept, *below):
    item = Dataset()
    item.RelationshipType, item.ValueType = relation, kind
    item.ConceptNameCodeSequence = concept
    if kind == "CONTAINER":
        item.ContinuityOfContent = "SEPARATE"
    if below:
        item.ContentSequence = Sequence(below)
    return item


def laterality(word, scheme="SCT"):
    item = content("CODE", "HAS CONCEPT MOD", code(NAMES[scheme]["laterality"], scheme, "Laterality"))
    item.ConceptCodeSequence = code(NAMES[scheme][word], scheme, word)
    return item


def site(word, scheme="SCT"):
    item = content("CODE", "HAS CONCEPT MOD", code(NAMES[scheme]["site"], scheme, "Finding Site"), laterality(word, scheme))
    item.ConceptCodeSequence = code(EYE_SITE[scheme], scheme, "Eye")
    return item


def num(field, value, unit, scheme="SCT", below=(), long=None):
    item = content("NUM", "CONTAINS", code(NAMES[scheme].get(field, field), scheme, field), *below)
    measured = Dataset()
    if value is not None:
        put(measured, (0x0040, 0xA30A), "DS", str(value))
    if long is not None:
        put(measured, (0x0040, 0xA161), "FD", long)
    if unit:
        measured.MeasurementUnitsCodeSequence = code(unit, "UCUM", unit)
    item.MeasuredValueSequence = Sequence([measured])
    return item


def report(where="group site", scheme="SCT", diop="diop", sop="88.33", patient=MARLOW, change=None):
    """A measurement report with the refraction of both eyes; `where` says where the eye stands."""
    ds = frame_of(patient, SR + sop[3:], "SR", "Perrow", "W2", "W2-0007")
    del ds.MeasurementLaterality
    ds.CompletionFlag, ds.VerificationFlag, ds.ValueType = "COMPLETE", "UNVERIFIED", "CONTAINER"
    ds.ConceptNameCodeSequence = code("126000", "DCM", "Imaging Measurement Report")
    ds.ContinuityOfContent = "SEPARATE"
    ds.ReferencedPerformedProcedureStepSequence, ds.PerformedProcedureCodeSequence = Sequence(), Sequence()
    groups = []
    for eye, (sphere, cylinder, axis) in patient["refraction"].items():
        own = [laterality(eye, scheme)] if where == "value" else [site(eye, scheme)] if where == "value site" else []
        values = [
            num("sphere", sphere, diop, scheme, own),
            num("cylinder", cylinder, diop, scheme, own),
            num("axis", axis, "deg", scheme, own),
        ]
        beside = {"group site": [site(eye, scheme)], "group": [laterality(eye, scheme)]}.get(where, [])
        tracking = content("TEXT", "HAS OBS CONTEXT", code("112039", "DCM", "Tracking Identifier"))
        tracking.TextValue = "sphere -9.75, right"
        group = content("CONTAINER", "CONTAINS", code("125007", "DCM", "Measurement Group"), tracking, *beside, *values)
        above = [laterality(eye, scheme)] if where == "container" else []
        groups.append(content("CONTAINER", "CONTAINS", code("126010", "DCM", "Imaging Measurements"), *above, group))
    ds.ContentSequence = Sequence(groups)
    if change:
        change(ds, ds.ContentSequence[0].ContentSequence[-1].ContentSequence)
    return ds


# ---- bytes ----------------------------------------------------------------------------------------------------------


def dataset_bytes(ds, implicit=False, big=False):
    out = pydicom.filebase.DicomBytesIO()
    out.is_implicit_VR, out.is_little_endian = implicit, not big
    pydicom.filewriter.write_dataset(out, ds)
    return out.getvalue()


def el(tag, vr, value):
    """One explicit element."""
    head = struct.pack("<HH", *tag) + vr.encode()
    if vr in ("OB", "OW", "SQ", "UN", "UT", "UC", "UR"):
        return head + b"\0\0" + struct.pack("<I", len(value)) + value
    value += (b" " if vr != "UI" else b"\0") * (len(value) % 2)
    return head + struct.pack("<H", len(value)) + value


def wrapped(data, syntax=EXPLICIT, sop_class=KER, instance=uid(number_of("marlow", "KER"))):
    """A data set with preamble and meta information; a syntax of None leaves it out."""
    meta = el((2, 1), "OB", b"\0\1") + el((2, 2), "UI", sop_class.encode()) + el((2, 3), "UI", instance.encode())
    if syntax:
        meta += el((2, 0x10), "UI", syntax.encode())
    meta += el((2, 0x12), "UI", b"2.25.2026030200000000000000000000000000001")
    return bytes(128) + b"DICM" + el((2, 0), "UL", struct.pack("<I", len(meta))) + meta + data


def whole(ds, syntax=EXPLICIT):
    data = dataset_bytes(ds, implicit=syntax == IMPLICIT, big=syntax == BIG)
    if syntax == DEFLATED:
        press = zlib.compressobj(9, zlib.DEFLATED, -15)
        data = press.compress(data) + press.flush()
        data += b"\0" * (len(data) % 2)
    return wrapped(data, syntax, ds.get("SOPClassUID", KER), ds.get("SOPInstanceUID", uid(1)))


# ---- what pydicom reads ---------------------------------------------------------------------------------------------

MEASURED = {RADIUS, POWER, AXIS, LENGTH, SPHERE, CYLINDER, CYLINDER_AXIS}


def shortest(element):
    """The number as a decimal: of a single-precision number the shortest that names it."""
    if element.VR == "FL":
        return float(str(numpy.float32(element.value)))
    return float(element.value)


def selected_only(path):
    """Repeats are not read, only what was selected; nothing of a lens calculation is a measurement; of a map the two
    principal meridians alone are read."""
    if path.startswith(("(0022,1300)", "(0022,1310)", "(0046,0215)", "(0046,0218)")):
        return False
    return "(0022,1050)" not in path


def report_value(path):
    """A number of a report, not a quality metric."""
    return "(0040,A300)" in path


def in_our_unit(ds, value):
    """Millimetres and degrees, as the manifest has every length and angle."""
    unit = ds.MeasurementUnitsCodeSequence[0].CodeValue if "MeasurementUnitsCodeSequence" in ds else None
    return value / 1000 if unit == "um" else numpy.degrees(value) if unit == "rad" else value


def walk(ds, prefix=""):
    for element in ds:
        tag = (element.tag.group, element.tag.element)
        path = f"{prefix}({tag[0]:04X},{tag[1]:04X})"
        if element.VR == "SQ":
            for number, item in enumerate(element.value, 1):
                yield from walk(item, f"{path}[{number}]/")
        elif tag == (0x0040, 0xA30A) and report_value(path) and (0x0040, 0xA161) not in ds:
            yield path, in_our_unit(ds, shortest(element))
        elif tag == (0x0040, 0xA161):
            yield path, in_our_unit(ds, shortest(element))
        elif tag in MEASURED and element.value not in (None, "", b"") and selected_only(path):
            yield path, shortest(element)


def text_of(value):
    return None if value in (None, "") else str(value)


def as_read(data, drop=(), **more):
    """The manifest entry of a file that is read."""
    ds = pydicom.dcmread(io.BytesIO(data), force=True)
    name = ds.get("PatientName")
    patient = {
        "number": text_of(ds.get("PatientID")),
        "authority": text_of(ds.get("IssuerOfPatientID")),
        "family": (name.family_name if name else "") or "",
        "given": (name.given_name if name else "") or "",
        "other_script": (name.ideographic.replace("^", " ") if name and name.ideographic else None),
        "birth": text_of(ds.get("PatientBirthDate")),
        "sex": text_of(ds.get("PatientSex")),
    }
    values = {path: value for path, value in walk(ds) if path not in drop}
    device = f"{ds.Manufacturer} {ds.ManufacturerModelName}"
    uid_of = text_of(ds.get("SOPInstanceUID"))
    return {"patient": patient, "uid": uid_of, "device": device, "class": ds.Modality, "values": values, **more}


def refused(slug, message, place="whole file"):
    return {"refused": {"slug": slug, "message": message, "place": place}}


# ---- variants -------------------------------------------------------------------------------------------------------


def changed(change, base=ker):
    ds = base()
    change(ds)
    return ds


def steep_right(ds):
    return ds[RIGHT].value[0][STEEP].value[0]


def flat_right(ds):
    return ds[RIGHT].value[0][FLAT].value[0]


def with_charset(charset, encoded_name):
    """A KER object with these bytes as its name and this Specific Character Set."""
    ds = ker()
    del ds.PatientName
    data = dataset_bytes(ds)
    name = el((0x10, 0x10), "PN", encoded_name)
    at = data.index(struct.pack("<HH", 0x10, 0x20))
    data = data[:at] + name + data[at:]
    if charset is not None:
        data = el((8, 5), "CS", charset.encode()) + data
    return wrapped(data)


def undefined(ds):
    """The same data set with sequences and items of undefined length."""
    for element in ds:
        if element.VR == "SQ":
            element.is_undefined_length = True
            for item in element.value:
                item.is_undefined_length_sequence_item = True
                undefined(item)
    return ds


def un_sequence(ds, tag, length_defined):
    """The sequence written as VR UN, its content implicit (CP-246)."""
    part = Dataset()
    part[Tag(tag)] = undefined(Dataset({Tag(tag): ds[tag]}))[tag] if not length_defined else ds[tag]
    content = dataset_bytes(part, implicit=True)[8:]
    length = struct.pack("<I", len(content) if length_defined else 0xFFFFFFFF)
    return struct.pack("<HH", *tag) + b"UN\0\0" + length + content


def names():
    yield "latin1", "ISO_IR 100", "MÜLLER^Jörg".encode("latin-1")
    yield "latin2", "ISO_IR 101", "ŁUKÓW^Świętosława".encode("iso8859-2")
    yield "latin3", "ISO_IR 109", "ĦAL^Ġorġ".encode("iso8859-3")
    yield "latin4", "ISO_IR 110", "ĶEGUMS^Ģirts".encode("iso8859-4")
    yield "cyrillic", "ISO_IR 144", "Люкceмбypг^Анна".encode("iso8859-5")
    yield "arabic", "ISO_IR 127", "قباني^لنزار".encode("iso8859-6")
    yield "greek", "ISO_IR 126", "Διονυσιος^Ζωή".encode("iso8859-7")
    yield "hebrew", "ISO_IR 138", "שרון^דבורה".encode("iso8859-8")
    yield "turkish", "ISO_IR 148", "ÇAVUŞOĞLU^Işıl".encode("iso8859-9")
    yield "thai", "ISO_IR 166", "นามสกุล^ชื่อ".encode("tis-620")
    yield "utf8", "ISO_IR 192", "Wang^XiaoDong=王^小东".encode()
    yield "gb18030", "GB18030", "Wang^XiaoDong=王^小东".encode("gb18030")
    yield "gbk", "GBK", "Wang^XiaoDong=王^小东".encode("gbk")
    yield "katakana", "ISO_IR 13", "ﾔﾏﾀﾞ^ﾀﾛｳ".encode("shift_jis")
    kanji = "\x1b$B;3ED\x1b(B^\x1b$BB@O:\x1b(B".encode()
    yield "kanji", "\\ISO 2022 IR 87", b"Yamada^Tarou=" + kanji
    yield "kanji_from_katakana", "ISO 2022 IR 13\\ISO 2022 IR 87", "ﾔﾏﾀﾞ^ﾀﾛｳ".encode("shift_jis") + b"=" + kanji.replace(
        b"(B", b"(J"
    )
    yield "korean", "\\ISO 2022 IR 149", b"Hong^Gildong=\x1b$)C\xfb\xf3^\x1b$)C\xd1\xce\xd4\xd7"
    yield "chinese", "\\ISO 2022 IR 58", b"Zhang^XiaoDong=\x1b$)A\xd5\xc5^\x1b$)A\xd0\xa1\xb6\xab"
    yield "greek_by_escape", "ISO 2022 IR 100\\ISO 2022 IR 126", "MÜLLER^".encode("latin-1") + b"\x1b-F" + "Ζωή".encode(
        "iso8859-7"
    )
    yield "no_comma_split", None, b"O'Marlow, Iris"
    yield "five_parts", None, b"Marlow^Iris^May^Dr^MD"


def good():
    """Files that are read: name, bytes, what else the manifest says."""
    plain = ker()
    data = dataset_bytes(plain)
    implicit = dataset_bytes(plain, implicit=True)
    both = {"(0024,0113)": ["right", "left"]}
    yield "ker_explicit", whole(plain), {"stated": both, "findings": [], "indices": [1.3375, 1.3375]}
    yield "ker_implicit", whole(plain, IMPLICIT), {"stated": both, "findings": []}
    yield "ker_deflated", whole(plain, DEFLATED), {"findings": []}
    yield "ker_undefined_lengths", whole(undefined(ker())), {}
    yield "ker_undefined_implicit", whole(undefined(ker()), IMPLICIT), {}
    yield "ker_no_preamble", whole(plain)[132:], {"notes": ["no preamble"]}
    yield "ker_no_meta_explicit", data, {"notes": ["no preamble", "no transfer syntax"]}
    yield "ker_no_meta_implicit", implicit, {"notes": ["no transfer syntax"]}
    yield "ker_no_syntax", wrapped(data, None), {"notes": ["no transfer syntax"]}
    yield "ker_private_syntax", wrapped(data, "2.25.77"), {}
    yield "ker_pixel_syntax", wrapped(data, "1.2.840.10008.1.2.4.50"), {}
    yield "ker_group_lengths", wrapped(el((8, 0), "UL", struct.pack("<I", 4)) + data), {}
    yield "ker_uid_differs", wrapped(data, instance="2.25.999"), {"notes": ["MediaStorageSOPInstanceUID"]}
    for word, charset, name in names():
        # DIFFERENCE: pydicom 3.0.1 leaves the escape sequences of ISO 2022 IR 58 in the name.
        more = {"without": "\x1b$)A"} if word == "chinese" else {}
        yield f"ker_name_{word}", with_charset(charset, name), more
    right = {**MARLOW, "keratometry": {"right": MARLOW["keratometry"]["right"]}}
    left = {**MARLOW, "keratometry": {"left": MARLOW["keratometry"]["left"]}}
    yield "ker_right_only", whole(ker(right)), {"stated": {"(0024,0113)": ["right"]}}
    yield "ker_left_only", whole(ker(left)), {"stated": {"(0024,0113)": ["left"]}}

    def stated(base, **elements):
        def change(ds):
            for keyword, value in elements.items():
                setattr(ds, keyword, value)

        return whole(changed(change, lambda: ker(base)))

    yield "ker_both_stated_right_there", stated(right, MeasurementLaterality="B"), {"stated": both}
    yield "ker_right_stated_both_there", stated(MARLOW, MeasurementLaterality="R"), {"stated": {"(0024,0113)": ["right"]}}
    yield "ker_left_stated_right_there", stated(right, Laterality="L"), {
        "stated": {"(0024,0113)": ["right"], "(0020,0060)": ["left"]}
    }
    yield "ker_image_laterality", stated(left, ImageLaterality="L"), {
        "stated": {"(0024,0113)": ["left"], "(0020,0062)": ["left"]}
    }
    yield "ker_stated_nothing", stated(MARLOW, MeasurementLaterality=""), {"stated": {}}

    def as_vr(vr, convert, tags=(RADIUS, POWER, AXIS)):
        def change(ds):
            for tag in tags:
                put(steep_right(ds), tag, vr, convert(steep_right(ds)[tag].value))

        return change

    yield "ker_single_precision", whole(changed(as_vr("FL", float))), {}
    yield "ker_decimal_strings", whole(changed(as_vr("DS", str))), {}
    yield "ker_decimal_exponent", whole(changed(as_vr("DS", lambda v: f"{v:.3e}"))), {}
    yield "ker_integer_axis", whole(changed(as_vr("US", int, [AXIS]))), {}
    yield "ker_integer_string_axis", whole(changed(as_vr("IS", int, [AXIS]))), {}
    un_numbers = dataset_bytes(undefined(ker())).replace(b"FD\x08\0", b"UN\0\0\x08\0\0\0")
    yield "ker_un_numbers", wrapped(un_numbers), {"values_of": data}

    def private(ds):
        put(ds, (0x0099, 0x0010), "LO", "INVENTED")
        put(ds, (0x0099, 0x1001), "DS", "1.5")
        put(ds, (0x0099, 0x1002), "UN", b"\1\2\3\4")
        put(steep_right(ds), (0x0099, 0x0010), "LO", "INVENTED")

    yield "ker_private", whole(changed(private)), {"notes": ["private group 0099, 4 elements"]}
    item = struct.pack("<HHI", 0xFFFE, 0xE000, 10) + struct.pack("<HHI", 0x99, 0x1003, 2) + b"ab"
    end = struct.pack("<HHI", 0xFFFE, 0xE0DD, 0)
    private_un = struct.pack("<HH", 0x99, 0x1002) + b"UN\0\0\xff\xff\xff\xff" + item + end
    yield "ker_private_un_sequence", wrapped(data + private_un), {"notes": ["private group 0099"]}
    at = data.index(struct.pack("<HH", *RIGHT))
    then = data.index(struct.pack("<HH", *LEFT))
    for word, defined in (("undefined", False), ("defined", True)):
        mixed = data[:at] + un_sequence(ker(), RIGHT, defined) + data[then:]
        yield f"ker_un_{word}_sequence", wrapped(mixed), {"values_of": data}
    padding = struct.pack("<HH", 0xFFFC, 0xFFFC) + b"OB\0\0" + struct.pack("<I", 64) + bytes(64)
    yield "ker_trailing_padding", wrapped(data + padding), {}
    yield "ker_six_zero_bytes", wrapped(data + bytes(6)), {"findings": ["D03"], "values_of": data}
    # Copied up to the left eye, the rest of the reserved room still zero.
    yield "ker_half_copied", wrapped(data[:then] + bytes(len(data) - then)), {"findings": ["D03"], "values_of": data[:then]}
    yield "ker_zero_tail", wrapped(data + bytes(512)), {"findings": ["D03"], "values_of": data}
    front = el((0x20, 0x13), "IS", b"1")
    without = changed(lambda ds: ds.__delitem__("InstanceNumber"))
    rest = dataset_bytes(without)
    at = rest.index(struct.pack("<HH", 0x18, 0x1000))
    yield "ker_out_of_order", wrapped(rest[:at] + front + rest[at:]), {"notes": ["ascending order"]}

    def at_steep(tag, value):
        return lambda ds: put(steep_right(ds), tag, "FD", value)

    yield "ker_axis_200", whole(changed(at_steep(AXIS, 200.0))), {"findings": ["U08"], "drop": [R_STEEP + "(0046,0077)"]}
    yield "ker_axis_negative", whole(changed(at_steep(AXIS, -82.0))), {
        "findings": ["U08"],
        "drop": [R_STEEP + "(0046,0077)"],
    }
    yield "ker_axis_zero", whole(changed(at_steep(AXIS, 0.0))), {"findings": []}
    yield "ker_axis_empty", whole(changed(at_steep(AXIS, None))), {}
    yield "ker_radius_zero", whole(changed(at_steep(RADIUS, 0.0))), {
        "drop": [R_STEEP + "(0046,0075)"],
        "notes": ["km.steep.radius `0`"],
    }
    yield "ker_radius_empty", whole(changed(at_steep(RADIUS, None))), {}
    yield "ker_power_missing", whole(changed(lambda ds: steep_right(ds).__delitem__(POWER))), {}
    yield "ker_steep_missing", whole(changed(lambda ds: ds[RIGHT].value[0].__delitem__(STEEP))), {}

    def zeros(ds):
        for item in (steep_right(ds), flat_right(ds)):
            for tag in (RADIUS, POWER, AXIS):
                put(item, tag, "FD", 0.0)

    yield "ker_right_all_zero", whole(changed(zeros)), {
        "drop": [f"{item}(0046,00{tag})" for item in (R_STEEP, R_FLAT) for tag in (75, 76, 77)],
        "notes": ["block of the right eye"],
        "stated": both,
    }

    def swapped(ds):
        block = ds[RIGHT].value[0]
        steep, flat = block[STEEP].value, block[FLAT].value
        put(block, STEEP, "SQ", flat)
        put(block, FLAT, "SQ", steep)

    yield "ker_swapped", whole(changed(swapped)), {"findings": ["U05"], "reordered": ["right"]}

    def sphere(ds):
        for tag in (RADIUS, POWER):
            put(steep_right(ds), tag, "FD", flat_right(ds)[tag].value)

    yield "ker_spherical", whole(changed(sphere)), {"findings": []}
    yield "ker_offset", stated(MARLOW, TimezoneOffsetFromUTC="+0530"), {"instant": "2026-03-02T04:45:30Z"}
    yield "ker_no_offset", whole(plain), {"instant": None, "local": "2026-03-02T10:15:30"}
    yield "ker_zone_of_folder", whole(plain), {"zone": "Europe/Berlin", "instant": "2026-03-02T09:15:30Z"}
    yield "ker_repeated_hour", stated(MARLOW, ContentDate="20261025", ContentTime="023000"), {
        "zone": "Europe/Berlin",
        "instant": None,
        "local": "2026-10-25T02:30:00",
    }

    def elsewhere(ds):
        del ds.ContentDate, ds.ContentTime
        ds.AcquisitionDateTime = "20260302101612.25+0100"

    yield "ker_acquisition_time", whole(changed(elsewhere)), {
        "instant": "2026-03-02T09:16:12.25Z",
        "notes": ["ContentDate"],
    }

    def timeless(ds):
        del ds.ContentDate, ds.ContentTime, ds.StudyTime

    yield "ker_no_time", whole(changed(timeless)), {"local": None}
    yield "ker_no_identity", whole(changed(lambda ds: ds.update({"PatientName": "", "PatientID": "", "PatientBirthDate": ""}))), {}
    yield "ker_declared_index", whole(plain), {"index": 1.332, "indices": [1.332, 1.332]}

    def quarters(ds):
        put(steep_right(ds), POWER, "FD", 44.25)
        put(flat_right(ds), POWER, "FD", 43.25)

    yield "ker_quarters", whole(changed(quarters)), {"indices": [None, 1.3375]}

    yield "oam_optical", whole(oam()), {"findings": [], "method": "optical", "depth_from": "front"}
    yield "oam_implicit", whole(oam(), IMPLICIT), {"method": "optical"}
    yield "oam_deflated", whole(oam(), DEFLATED), {"method": "optical"}
    yield "oam_immersion", whole(oam(ultrasound="111751")), {"method": "ultrasound-immersion"}
    yield "oam_contact", whole(oam(ultrasound="111750")), {"method": "ultrasound-contact"}
    yield "oam_aqueous_depth", whole(oam(depth_from="111777")), {"depth_from": "back"}
    yield "oam_unknown_depth", whole(oam(depth_from=None)), {"depth_from": None}
    right_block = lambda ds: ds[(0x0022, 0x1007)].value[0]
    selected = "OpticalSelectedOphthalmicAxialLengthSequence"

    def at_total(change):
        return changed(lambda ds: change(right_block(ds)[selected].value[0].SelectedTotalOphthalmicAxialLengthSequence[0]), oam)

    yield "oam_no_selected", whole(changed(lambda ds: right_block(ds).__delitem__(selected), oam)), {
        "notes": ["axial length of the right eye"]
    }
    yield "oam_twice_the_same", whole(changed(lambda ds: right_block(ds)[selected].value.append(right_block(ds)[selected].value[0]), oam)), {
        "drop_prefix": "(0022,1007)[1]/(0022,1255)[2]/"
    }
    yield "oam_length_zero", whole(at_total(lambda t: put(t, LENGTH, "FL", 0.0))), {
        "drop": ["(0022,1007)[1]/(0022,1255)[1]/(0022,1260)[1]/(0022,1019)"],
        "notes": ["axial.length `0`", "axial length of the right eye"],
    }
    yield "oam_spread_um", whole(
        at_total(lambda t: setattr(t, "OphthalmicAxialLengthQualityMetricSequence", metric("20", "um")))
    ), {"spreads": [0.02, 0.03]}
    yield "oam_spread_no_unit", whole(
        at_total(lambda t: t.OphthalmicAxialLengthQualityMetricSequence[0].__delitem__("MeasurementUnitsCodeSequence"))
    ), {"spreads": [None, 0.03], "notes": ["standard deviation"]}

    def moved_gate(ds):
        repeats = right_block(ds).OphthalmicAxialLengthMeasurementsSequence
        repeats[1].OphthalmicAxialLengthMeasurementsTotalLengthSequence[0].OphthalmicAxialLengthMeasurementModified = "YES"

    yield "oam_modified", whole(changed(moved_gate, oam)), {"notes": ["modified by the operator"]}
    for word, value in (("pseudophakic", "309523001"), ("aphakic", "24010005"), ("phakic_implant", "397559001")):
        status = lambda ds, value=value: setattr(right_block(ds), "LensStatusCodeSequence", code(value, "SCT", "status"))
        yield f"oam_{word}", whole(changed(status, oam)), {"lens_status": [word, "phakic"]}
    yield "oam_oil", whole(
        changed(lambda ds: setattr(right_block(ds), "VitreousStatusCodeSequence", code("247095003", "SCT", "oil")), oam)
    ), {"notes": ["vitreous of the right eye"]}
    yield "oam_dilated", whole(changed(lambda ds: setattr(right_block(ds), "PupilDilated", "YES"), oam)), {
        "notes": ["dilated"]
    }


    yield from good_refractions()
    yield from good_calculations()
    yield from good_maps()
    yield from good_reports()
    yield from make_reports.good(sys.modules[__name__])


def good_reports():
    eyes = {"eyes": ["right", "left"], "findings": []}
    for where in ("group site", "group", "container", "value", "value site"):
        for scheme in ("SCT", "SRT"):
            name = f"sr_{where.replace(' ', '_')}_{scheme.lower()}"
            yield name, whole(report(where, scheme, "diop" if scheme == "SCT" else "[diop]")), dict(eyes)
    for word, sop in (("basic", "88.11"), ("enhanced", "88.22"), ("comprehensive_3d", "88.34")):
        yield f"sr_{word}", whole(report(sop=sop)), {**eyes, "notes": ["TextValue"]}
    yield "sr_implicit", whole(report(), IMPLICIT), dict(eyes)
    group = "(0040,A730)[1]/(0040,A730)[1]/"
    three = {f"{group}(0040,A730)[{n}]/(0040,A300)[1]/(0040,A30A)" for n in (3, 4, 5)}

    def of(change):
        return whole(report(change=change))

    yield "sr_precise", of(lambda ds, g: g.__setitem__(2, num("sphere", "-1.2500001", "diop", long=-1.25))), dict(eyes)
    unknown = lambda ds, g: g.append(num("410668003", "23.47", "mm"))
    extra = {f"{group}(0040,A730)[6]/(0040,A300)[1]/(0040,A30A)"}
    yield "sr_unknown_code", of(unknown), {**eyes, "drop": extra, "notes": ["number SCT 410668003"]}
    for word, unit in (("unknown_unit", "mm"), ("no_unit", None)):
        change = lambda ds, g, unit=unit: g.__setitem__(3, num("cylinder", -1.0, unit))
        yield f"sr_{word}", of(change), {"drop": three, "eyes": ["left"], "notes": ["refraction.cylinder of the right eye, unit", "nothing of it is"]}
    bare = lambda ds, g: setattr(g[2], "MeasuredValueSequence", Sequence([]))
    yield "sr_no_value", of(bare), {"drop": three, "eyes": ["left"], "notes": ["the report gives no value", "nothing of it is"]}
    elsewhere = lambda ds, g: setattr(ds.ContentSequence[0].ContentSequence[-1], "ConceptNameCodeSequence", code("111688", "DCM", "Rx"))
    yield "sr_other_parent", of(elsewhere), {"drop": three, "eyes": ["left"], "notes": ["a code that is not read at this place"]}
    twice = lambda ds, g: g.append(num("sphere", -1.25, "diop"))
    yield "sr_twice_the_same", of(twice), {**eyes, "drop": extra}


def first_right(change):
    return lambda ds: change(ds[(0x0022, 0x1300)].value[0])


def inputs(ds, eye=(0x0022, 0x1300)):
    """What the first calculation of an eye rests on, as pydicom reads it."""
    item = pydicom.dcmread(io.BytesIO(whole(ds)))[eye].value[0]
    length = shortest(item.OphthalmicAxialLengthSequence[0][LENGTH])
    depth = shortest(item.AnteriorChamberDepthSequence[0][(0x0022, 0x1131)])
    words = []
    for word, inner in (("flat", FLAT), ("steep", STEEP)):
        one = item[inner].value[0]
        words.append(f"{word} {one[RADIUS].value:g} mm {one[POWER].value:g} D at {one[AXIS].value:g}")
    index = shortest(item[(0x0022, 0x1033)])
    return [*words, f"index {index:g}", f"axial length {length:g} mm", f"chamber depth {depth:g} mm"]


def good_calculations():
    plain = calculation()
    both = {"surgery": {}, "findings": []}
    results = "formula 99INVENTED F1, power 21.5 D cylinder 1.5 D at 97 predicted -0.31 D"
    yield "iol_explicit", whole(plain), {
        **both,
        "notes": inputs(plain) + inputs(plain, (0x0022, 0x1310)) + ["target -0.25 D", results, "not recomputed", "no refractive surgery"],
    }
    yield "iol_implicit", whole(plain, IMPLICIT), {**both, "notes": inputs(plain)}
    yield "iol_operated", whole(calculation(surgery="YES")), {"surgery": {"right": "yes", "left": "yes"}}
    yield "iol_surgery_not_stated", whole(calculation(surgery="")), {"surgery": {}}
    kind = first_right(lambda i: setattr(i, "RefractiveSurgeryTypeCodeSequence", code("312965008", "SCT", "LASIK")))
    yield "iol_kind_of_surgery_alone", whole(changed(kind, lambda: calculation(surgery=""))), {
        "surgery": {"right": "yes"},
        "notes": ["SCT 312965008"],
    }
    other = first_right(lambda i: put(i.OphthalmicAxialLengthSequence[0], LENGTH, "FL", 23.9))
    yield "iol_inputs_differ", whole(changed(other, calculation)), {"notes": ["calculations of the right eye", "axial length 23.9 mm"]}
    bare = first_right(lambda i: put(i[STEEP].value[0], POWER, "FD", None))
    yield "iol_power_empty", whole(changed(bare, calculation)), {"notes": ["steep 7.62 mm at 98"]}
    yield from good_predictions()


def constants_in_words(formula):
    return [f"constant {scheme} {name} {value}" for name, (scheme, value) in FORMULAS[formula][2].items()]


def good_predictions():
    for formula, (_, name, _) in FORMULAS.items():
        made = prediction(formula)
        yield f"iol_predicted_{formula}", whole(made), {
            "surgery": {},
            "predictions": {"formula": name, **stated_predictions(made)},
            "notes": [f"held against {name}", *constants_in_words(formula)],
        }
    wrong = prediction(index=1.3375)
    yield "iol_predicted_wrong_index", whole(wrong), {"predictions": {"formula": "Haigis 2000", **stated_predictions(wrong)}}

    def depth(item):
        return item.AnteriorChamberDepthSequence[0]

    def no_radii(item):
        for inner in (FLAT, STEEP):
            put(item[inner].value[0], RADIUS, "FD", None)
        del item[(0x0022, 0x1033)]

    def one_more_power(item):
        put(with_item(item, "IOLPowerSequence", (0x0022, 0x1053), "FL", 21.5), (0x0022, 0x1054), "FL", -0.31)
        with_item(item.IOLPowerSequence[0], "ToricIOLPowerSequence", CYLINDER, "FD", 1.5)

    back = code("111777", "DCM", "Back Of Cornea To Front Of Lens")
    reasons = {
        "no_constant": ("haigis", lambda i: i.LensConstantSequence.pop(1), "the constant a1 is missing"),
        "constant_twice": ("hoffer", lambda i: i.LensConstantSequence.append(i.LensConstantSequence[0]), "is stated more than once"),
        "constant_of_another": ("retzlaff", lambda i: setattr(i.LensConstantSequence[0], "ConceptNameCodeSequence", code("111772", "DCM", "pACD")), "the constant A constant is missing"),
        "constant_no_number": ("hoffer", lambda i: put(i.LensConstantSequence[0], (0x0040, 0xA30A), "DS", "5.4\\5.5"), "expected one value"),
        "unknown_formula": ("haigis", lambda i: setattr(i, "IOLFormulaCodeSequence", code("F9", "99INVENTED", "Haigis")), "the formula 99INVENTED F9 is not among"),
        "no_depth": ("haigis", lambda i: i.__delitem__("AnteriorChamberDepthSequence"), "no chamber depth is stated"),
        "depth_undefined": ("haigis", lambda i: depth(i).__delitem__("AnteriorChamberDepthDefinitionCodeSequence"), "nobody says from which surface"),
        "depth_from_back": ("haigis", lambda i: setattr(depth(i), "AnteriorChamberDepthDefinitionCodeSequence", back), "counts from the back"),
        "no_length": ("holladay", lambda i: i.__delitem__("OphthalmicAxialLengthSequence"), "no axial length"),
        "no_index": ("holladay", no_radii, "no power with its keratometric index"),
        "several_corneas": ("haigis", lambda i: setattr(i, "CorneaMeasurementsSequence", Sequence([Dataset()])), "several measurements of the cornea"),
        "equivalent_k": ("haigis", lambda i: setattr(i, "KeratometryMeasurementTypeCodeSequence", code("111756", "DCM", "Equivalent")), "DCM 111756 is none of the front"),
        "operated": ("haigis", lambda i: setattr(i, "RefractiveProcedureOccurred", "YES"), "the cornea was operated on"),
        "toric": ("haigis", one_more_power, "the lens is toric"),
        "no_prediction": ("haigis", lambda i: [put(p, (0x0022, 0x1054), "FL", None) for p in i.IOLPowerSequence], "no lens power with its prediction"),
    }
    for name, (formula, change, why) in reasons.items():
        yield f"iol_external_{name}", whole(prediction(formula, change=change)), {
            "predictions": {},
            "notes": [why, "external, not recomputed"],
        }


def good_maps():
    for eye in ("right", "left"):
        yield f"map_{eye}", whole(topography(eye)), {
            "eye": eye,
            "findings": [],
            "local": "2026-03-01T09:30:00",
            "quality": "Good",
            "notes": ["x -0.14, y 0.05", "SimulatedKeratometricCylinderSequence", "the one known index"],
        }
    yield "map_implicit", whole(topography(), IMPLICIT), {"eye": "right", "findings": []}
    for word, quality in (("MARGINAL", "Warning"), ("NOT_ACCEPTABLE", "Failed")):
        poor = lambda ds, word=word: setattr(ds, "CornealTopographyMapQualityEvaluation", word)
        yield f"map_{word.lower()}", whole(changed(poor, topography)), {"eye": "right", "quality": quality}
    yield "map_content_time", whole(changed(lambda ds: ds.__delitem__("AcquisitionDateTime"), topography)), {
        "eye": "right",
        "local": "2026-03-02T10:15:30",
        "notes": ["AcquisitionDateTime (0008,002A)"],
    }


def right_refraction(change):
    return lambda ds: change(ds[(0x0046, 0x0050)].value[0])


def right_cylinder(change):
    return right_refraction(lambda block: change(block.CylinderSequence[0]))


def good_refractions():
    auto = refraction()
    yield "ar_explicit", whole(auto), {"findings": [], "notes": ["vertex distance"], "stated": {"(0024,0113)": ["right", "left"]}}
    yield "ar_implicit", whole(auto, IMPLICIT), {"findings": []}
    yield "ar_deflated", whole(auto, DEFLATED), {"findings": []}
    yield "srf_explicit", whole(refraction(subjective=True)), {"findings": [], "notes": ["vertex distance"]}
    spherical = {**MARLOW, "refraction": {"right": (0.0, None, None), "left": (-0.5, 0.0, 0)}}
    yield "ar_spherical", whole(refraction(spherical)), {"findings": []}
    plus = {**MARLOW, "refraction": {"right": (-2.25, 1.0, 98)}}
    yield "ar_plus_cylinder_right_only", whole(refraction(plus)), {"stated": {"(0024,0113)": ["right"]}}
    beyond = right_cylinder(lambda item: put(item, CYLINDER_AXIS, "FL", 188.0))
    axis = "(0046,0050)[1]/(0046,0018)[1]/(0022,0009)"
    yield "ar_axis_188", whole(changed(beyond, refraction)), {"findings": ["U08"], "drop": [axis]}
    empty = right_refraction(lambda block: [block.__delitem__(tag) for tag in (SPHERE, (0x0046, 0x0018))])
    yield "ar_right_empty", whole(changed(empty, refraction)), {"notes": ["block of the right eye"]}

    def more(ds):
        block = ds[(0x0046, 0x0097)].value[0]
        add = Dataset()
        put(add, (0x0046, 0x0104), "FD", 2.0)
        block.AddNearSequence = Sequence([add])

    yield "srf_add", whole(changed(more, lambda: refraction(subjective=True))), {"notes": ["AddNearSequence"]}


def bad_refractions():
    right = "(0046,0050)[1]/"
    cylinder = right + "(0046,0018)[1]/"

    def ar(change):
        return whole(changed(change, refraction))

    yield "ar_no_sphere", ar(right_refraction(lambda b: b.__delitem__(SPHERE))), "missing", "refraction.sphere", right + "(0046,0146)"
    yield "ar_no_axis", ar(right_cylinder(lambda i: i.__delitem__(CYLINDER_AXIS))), "missing", "refraction.axis", cylinder + "(0022,0009)"
    yield "ar_no_cylinder", ar(right_cylinder(lambda i: i.__delitem__(CYLINDER))), "missing", "refraction.cylinder", cylinder + "(0046,0147)"
    yield "ar_two_cylinders", ar(
        right_refraction(lambda b: b.CylinderSequence.append(b.CylinderSequence[0]))
    ), "layout", "found `2 items`", right + "(0046,0018)"
    yield "ar_sphere_nan", ar(right_refraction(lambda b: put(b, SPHERE, "FD", float("nan")))), "value", "refraction.sphere `NaN`", right + "(0046,0146)"
    yield "ar_sphere_huge", ar(right_refraction(lambda b: put(b, SPHERE, "FD", 1000.0))), "value", "refraction.sphere `1000`", right + "(0046,0146)"
    yield "ar_sphere_text", ar(right_refraction(lambda b: put(b, SPHERE, "LO", "-1.25"))), "layout", "a value of VR LO", right + "(0046,0146)"
    yield "ar_axis_nan", ar(right_cylinder(lambda i: put(i, CYLINDER_AXIS, "FL", float("nan")))), "value", "refraction.axis `NaN`", cylinder + "(0022,0009)"
    inner = right_refraction(lambda b: setattr(b, "MeasurementLaterality", "L"))
    yield "ar_laterality_inside", ar(inner), "value", "the stated eye `L`", right + "(0024,0113)"
    yield "ar_nothing", ar(lambda ds: [ds.__delitem__(tag) for tag in ((0x0046, 0x0050), (0x0046, 0x0052))]), "no-measurement", "no eye in it"


def bad_calculations():
    item = "(0022,1300)[1]/"

    def iol(change, **more):
        return whole(changed(change, lambda: calculation(**more)))

    yield "iol_none", iol(lambda ds: [ds.__delitem__(t) for t in ((0x0022, 0x1300), (0x0022, 0x1310))]), "no-measurement", "without any calculation"
    maybe = first_right(lambda i: setattr(i, "RefractiveProcedureOccurred", "MAYBE"))
    yield "iol_surgery_word", iol(maybe), "value", "fact.corneal_surgery `MAYBE`", item + "(0022,1039)"
    kind = first_right(lambda i: setattr(i, "RefractiveSurgeryTypeCodeSequence", code("312965008", "SCT", "LASIK")))
    yield "iol_surgery_contradicts", iol(kind), "layout", "YES beside a kind of refractive surgery", item + "(0022,1039)"
    nan = first_right(lambda i: put(i, (0x0022, 0x1033), "FL", float("nan")))
    yield "iol_index_nan", iol(nan), "value", "`NaN` is not a finite number", item + "(0022,1033)"
    inner = first_right(lambda i: setattr(i, "MeasurementLaterality", "L"))
    yield "iol_laterality_inside", iol(inner), "value", "the stated eye `L`", item + "(0024,0113)"


def bad_maps():
    def of(change):
        return whole(changed(change, topography))

    yield "map_posterior", of(lambda ds: put(ds, (0x0046, 0x0201), "CS", "P")), "no-measurement", "posterior surface", "(0046,0201)"
    yield "map_no_surface", of(lambda ds: ds.__delitem__((0x0046, 0x0201))), "missing", "km.surface", "(0046,0201)"
    yield "map_no_eye", of(lambda ds: ds.__delitem__("ImageLaterality")), "missing", "the stated eye", "(0020,0062)"
    yield "map_both_eyes", of(lambda ds: setattr(ds, "ImageLaterality", "B")), "value", "the stated eye `B`", "(0020,0062)"
    yield "map_alone", of(lambda ds: [ds.__delitem__(t) for t in (STEEP, FLAT)]), "no-measurement", "no eye in it has a measured value"
    yield "map_quality_word", of(lambda ds: setattr(ds, "CornealTopographyMapQualityEvaluation", "FINE")), "value", "km.quality `FINE`", "(0046,0242)"
    yield "map_two_steep", of(lambda ds: ds[STEEP].value.append(ds[STEEP].value[0])), "layout", "found `2 items`", "(0046,0074)"


def bad_reports():
    group = "(0040,A730)[1]/(0040,A730)[1]/"

    def of(change, **more):
        return whole(report(change=change, **more))

    code_of = lambda n, path="": f"{group}(0040,A730)[{n}]/{path}(0040,A168)"
    yield "sr_no_eye", of(None, where="nowhere"), "missing", "the stated eye", None
    yield "sr_other_eye", of(lambda ds, g: setattr(g[2], "ContentSequence", Sequence([laterality("left")]))), (
        "value"), "the stated eye `SCT 7771000` is not the eye stated further out", code_of(3, "(0040,A730)[1]/")
    both = lambda ds, g: g.__setitem__(1, site("both"))
    yield "sr_both_eyes", of(both), "value", "the stated eye `SCT 51440002` is not right or left", code_of(2, "(0040,A730)[1]/")
    two = lambda ds, g: g.append(num("sphere", -1.5, "diop"))
    yield "sr_two_spheres", of(two), "layout", "expected one value, as -1.25", group + "(0040,A730)[6]"
    yield "sr_partial", of(lambda ds, g: setattr(ds, "CompletionFlag", "PARTIAL")), "layout", "a complete report", "(0040,A491)"
    yield "sr_preliminary", of(lambda ds, g: setattr(ds, "PreliminaryFlag", "PRELIMINARY")), "layout", "a final report", "(0040,A496)"
    apart = lambda ds, g: g.__setitem__(2, num("sphere", -1.25, "diop", long=-1.5))
    yield "sr_two_forms", of(apart), "layout", "-1.5, as beside it, found `-1.25`", group + "(0040,A730)[3]/(0040,A300)[1]/(0040,A30A)"
    for word, at, field in (("sphere", 2, "refraction.sphere"), ("cylinder", 3, "refraction.cylinder"), ("axis", 4, "refraction.axis")):
        gone = lambda ds, g, at=at: g.__delitem__(at)
        yield f"sr_no_{word}", of(gone), "missing", f"{field} of the right eye", "(0040,A730)"
    turned = lambda ds, g: g.__setitem__(4, num("axis", 188, "deg"))
    yield "sr_axis_188", of(turned), "value", "refraction.axis `188`", group + "(0040,A730)[5]/(0040,A300)[1]/(0040,A30A)"
    nothing = lambda ds, g: ds.__delitem__("ContentSequence")
    yield "sr_empty", of(nothing), "no-measurement", "no eye in it has a measured value"


def bad():
    """Files that are refused: name, bytes, slug, part of the message, place."""
    plain = ker()
    data = dataset_bytes(plain)
    steep = "(0046,0070)[1]/(0046,0074)[1]/"

    def at_steep(tag, value, vr="FD"):
        return whole(changed(lambda ds: put(steep_right(ds), tag, vr, value)))

    def stated(**elements):
        def change(ds):
            for keyword, value in elements.items():
                setattr(ds, keyword, value)

        return whole(changed(change))

    yield "two_items", whole(changed(lambda ds: ds[RIGHT].value.append(ds[RIGHT].value[0]))), "layout", "found `2 items`", "(0046,0070)"
    yield "two_steep_items", whole(
        changed(lambda ds: ds[RIGHT].value[0][STEEP].value.append(steep_right(ds)))
    ), "layout", "found `2 items`", "(0046,0070)[1]/(0046,0074)"
    yield "radius_nan", at_steep(RADIUS, float("nan")), "value", "`NaN` is not a finite number", steep + "(0046,0075)"
    yield "power_infinite", at_steep(POWER, float("inf")), "value", "`inf` is not a finite number", steep + "(0046,0076)"
    yield "axis_nan", at_steep(AXIS, float("nan")), "value", "km.steep.meridian `NaN`", steep + "(0046,0077)"
    yield "radius_negative", at_steep(RADIUS, -7.6), "value", "`-7.6` is not between 0 and 200 mm", steep + "(0046,0075)"
    yield "power_negative", at_steep(POWER, -44.29), "value", "`-44.29`", steep + "(0046,0076)"
    yield "radius_300", at_steep(RADIUS, 300.0), "value", "`300` is not between 0 and 200 mm", steep + "(0046,0075)"
    yield "radius_two_values", at_steep(RADIUS, [7.62, 7.63]), "layout", "found `2 values`", steep + "(0046,0075)"
    comma = at_steep(POWER, "44.29", "DS")
    yield "comma", comma.replace(b"44.29", b"44,29"), "value", "`44,29` is not a decimal number", steep + "(0046,0076)"
    yield "text_number", at_steep(POWER, "44.29", "LO"), "layout", "a value of VR LO", steep + "(0046,0076)"
    yield "text_sequence", whole(changed(lambda ds: put(ds, RIGHT, "LO", "none"))), "layout", "expected a sequence", "(0046,0070)"
    contradiction = lambda ds: (put(steep_right(ds), POWER, "FD", 43.21), put(flat_right(ds), POWER, "FD", 44.29))
    yield "contradiction", whole(changed(contradiction)), "layout", "the shorter radius beside the smaller power", "(0046,0070)[1]"
    yield "laterality_unknown", stated(MeasurementLaterality="X"), "value", "the stated eye `X`", "(0024,0113)"
    yield "laterality_both_series", stated(Laterality="B"), "value", "the stated eye `B`", "(0020,0060)"
    inner = lambda ds: setattr(ds[RIGHT].value[0], "MeasurementLaterality", "L")
    yield "laterality_inside", whole(changed(inner)), "value", "the stated eye `L` is not the eye of its block, right", "(0046,0070)[1]/(0024,0113)"
    at = data.index(struct.pack("<HH", *RIGHT))
    then = data.index(struct.pack("<HH", *LEFT))
    yield "sequence_twice", wrapped(data[:then] + data[at:]), "structure", "stands twice", "(0046,0070)"
    huge = struct.pack("<HH", 0x42, 0x11) + b"OB\0\0" + struct.pack("<I", 3_900_000_000)
    yield "false_length", wrapped(data[:at] + huge + data[at:]), "structure", "its length is 3900000000 bytes", "(0042,0011)"
    short = bytearray(data)
    short[at + 8 : at + 12] = struct.pack("<I", struct.unpack_from("<I", data, at + 8)[0] + 8)
    yield "sequence_too_long", wrapped(bytes(short)), "structure", "stands where an item should begin", "(0046,0070)[1]"
    radius_at = data.index(struct.pack("<HH", *RADIUS))
    odd = bytearray(data)
    odd[radius_at + 6 : radius_at + 8] = struct.pack("<H", 6)
    yield "number_cut", wrapped(bytes(odd)), "structure", "6 bytes are no whole numbers of VR FD", "(0046,0070)[1]/(0046,0074)[1]/(0046,0075)"
    strange = bytearray(data)
    strange[radius_at + 4 : radius_at + 6] = b"ZZ"
    yield "strange_vr", wrapped(bytes(strange)), "structure", "value representation is none", "(0046,0070)[1]/(0046,0074)[1]/(0046,0075)"
    yield "big_endian", whole(plain, BIG), "structure", "Big Endian"
    yield "big_endian_no_meta", dataset_bytes(plain, big=True), "structure", "Big Endian"
    cut = at + (then - at) // 2
    yield "half_copied_inside", wrapped(data[:cut] + bytes(len(data) - cut)), "structure", "", None
    yield "garbage_tail", wrapped(data + b"\1\2\3\4"), "structure", "4 bytes stand where an element should begin"
    yield "meta_only", wrapped(b""), "structure", "ends after its meta information"
    yield "meta_cut", wrapped(data)[:150], "structure", "ends inside its meta information", None
    deflated = whole(plain, DEFLATED)
    yield "deflated_cut", deflated[:-40], "structure", "ends inside its deflated data set"
    yield "deflated_damaged", deflated[:420] + b"\xff\xff\xff\xff" + deflated[424:], "structure", "", None
    yield "deflated_tail", deflated + bytes(64), "structure", "follow the end of the deflated data set"

    for word, sop_class, slug, message in (
        ("pdf", "1.2.840.10008.5.1.4.1.1.104.1", "no-measurement", "Encapsulated PDF"),
        ("image", "1.2.840.10008.5.1.4.1.1.7", "no-measurement", "Secondary Capture Image"),
        ("lensometry", "1.2.840.10008.5.1.4.1.1.78.1", "unknown-kind", "Lensometry Measurements"),
        ("unknown_class", "2.25.4711", "unknown-kind", "a DICOM object of class 2.25.4711"),
    ):
        yield word, stated(SOPClassUID=sop_class), slug, message, "(0008,0016)"
    classless = changed(lambda ds: ds.__delitem__("SOPClassUID"))
    yield "no_class", dataset_bytes(classless), "unknown-kind", "states no SOP class", "(0008,0016)"
    yield "test_object", stated(QualityControlSubject="YES"), "no-measurement", "a test object", "(0010,0200)"

    yield "name_undeclared", with_charset(None, "MÜLLER^Jörg".encode("latin-1")), "encoding", "byte DC is not in it", "(0010,0010)"
    yield "name_unknown_set", with_charset("ISO_IR 999", b"A^B"), "encoding", "ISO_IR 999", "(0008,0005)"
    yield "name_damaged_utf8", with_charset("ISO_IR 192", "MÜLLER".encode("latin-1")), "encoding", "damaged", "(0010,0010)"
    yield "name_wrong_escape", with_charset("ISO_IR 100", b"\x1b$B;3ED\x1b(B"), "encoding", "not declared", "(0010,0010)"
    yield "name_two_values", with_charset(None, b"MARLOW^Iris\\WEBB^Otto"), "layout", "expected one value", "(0010,0010)"
    yield "name_control", with_charset("ISO_IR 100", b"MARLOW\x07^Iris"), "encoding", "U+0007", "(0010,0010)"
    yield "offset_without_sign", stated(TimezoneOffsetFromUTC="0530"), "value", "exam.time `0530`", "(0008,0201)"
    yield "birth_with_points", stated(PatientBirthDate="1948.03.17"), "value", "patient.birth `1948.03.17`", "(0010,0030)"
    yield "birth_impossible", stated(PatientBirthDate="19480230"), "value", "patient.birth `19480230`", "(0010,0030)"
    yield "time_impossible", stated(ContentTime="256100"), "value", "exam.time `256100`", "(0008,0033)"
    yield "uid_with_path", stated(SOPInstanceUID="../../evil"), "value", "exam.uid `../../evil`", "(0008,0018)"
    nothing = lambda ds: [ds.__delitem__(tag) for tag in (RIGHT, LEFT)]
    yield "nothing_measured", whole(changed(nothing)), "no-measurement", "no eye in it has a measured value"
    nobody = lambda ds: [ds.__delitem__(word) for word in ("Manufacturer", "ManufacturerModelName")]
    yield "no_device", whole(changed(nobody)), "missing", "exam.device", "(0008,0070)"

    right_block = lambda ds: ds[(0x0022, 0x1007)].value[0]
    selected = "OpticalSelectedOphthalmicAxialLengthSequence"

    def two_lengths(ds):
        import copy

        items = right_block(ds)[selected].value
        items.append(copy.deepcopy(items[0]))
        put(items[1].SelectedTotalOphthalmicAxialLengthSequence[0], LENGTH, "FL", 23.57)

    yield "oam_two_lengths", whole(changed(two_lengths, oam)), "layout", "expected one value, as 23.47, found `23.57`", (
        "(0022,1007)[1]/(0022,1255)[2]/(0022,1260)[1]/(0022,1019)"
    )
    wrong_type = lambda ds: setattr(ds, "OphthalmicAxialMeasurementsDeviceType", "ULTRASOUND")
    yield "oam_device_type", whole(changed(wrong_type, oam)), "layout", "found `ULTRASOUND`", "(0022,1009)"
    untyped = lambda ds: ds.__delitem__("OphthalmicAxialMeasurementsDeviceType")
    yield "oam_no_device_type", whole(changed(untyped, oam)), "missing", "the type of the axial measurements", "(0022,1009)"
    unnamed = lambda ds: right_block(ds)[selected].value[0].SelectedSegmentalOphthalmicAxialLengthSequence[0].__delitem__(
        "OphthalmicAxialLengthMeasurementsSegmentNameCodeSequence"
    )
    yield "oam_segment_unnamed", whole(changed(unnamed, oam)), "layout", "the name of the segment", (
        "(0022,1007)[1]/(0022,1255)[1]/(0022,1257)[1]/(0022,1101)"
    )
    empty = lambda ds: [ds[tag].value[0].__delitem__(selected) for tag in ((0x22, 0x1007), (0x22, 0x1008))]
    yield "oam_nothing_selected", whole(changed(empty, oam)), "no-measurement", "no eye in it has a measured value"
    yield from bad_refractions()
    yield from bad_calculations()
    yield from bad_maps()
    yield from bad_reports()
    yield from make_reports.bad(sys.modules[__name__])


def main():
    here = Path(__file__).parent
    if sys.argv[1:2] == ["--demo"]:
        out = Path(sys.argv[3])
        out.mkdir(parents=True, exist_ok=True)
        for patient in json.loads(Path(sys.argv[2]).read_text()):
            for kind, make in (("ker", ker), ("oam", oam)):
                if kind == "oam" and "axial" not in patient:
                    continue
                made = make(patient)
                if not patient["name"].isascii():
                    made.SpecificCharacterSet = patient.get("charset", "ISO_IR 192")
                if "offset" in patient:
                    made.TimezoneOffsetFromUTC = patient["offset"]
                (out / f"{patient['file']}-{kind}.dcm").write_bytes(whole(made, patient.get("syntax", EXPLICIT)))
        return
    files = here / "files"
    manifest = {}
    for old in files.glob("*.dcm"):
        old.unlink()
    for name, data, more in good():
        source = wrapped(more.pop("values_of")) if "values_of" in more else data
        drop = set(more.pop("drop", ()))
        prefix = more.pop("drop_prefix", None)
        escape = more.pop("without", None)
        entry = as_read(source, drop, **more)
        if escape:
            entry["patient"]["other_script"] = entry["patient"]["other_script"].replace(escape, "")
        if prefix:
            entry["values"] = {path: value for path, value in entry["values"].items() if not path.startswith(prefix)}
        (files / f"{name}.dcm").write_bytes(data)
        manifest[name] = entry
    for name, data, slug, message, *place in bad():
        (files / f"bad_{name}.dcm").write_bytes(data)
        manifest[f"bad_{name}"] = refused(slug, message, *place)
    text = json.dumps(manifest, ensure_ascii=False, indent=1, sort_keys=True)
    (here / "manifest.json").write_text(text + "\n")
    print(f"{len(manifest)} files, pydicom {pydicom.__version__}")


if __name__ == "__main__":
    main()
