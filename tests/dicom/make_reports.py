"""Structured reports with keratometry and lengths, for `make_objects.py`: `good` and `bad` as there.

The codes are those of `reports.toml` (an invented maker's, and generic concepts under a container that says which
meridian) and of the program's own table. A number marked by `left` stands in the file and must not be read.
"""

from pydicom.sequence import Sequence

O = None  # the module that makes the objects
LEFT = {}  # by id; the items stay alive, so that no id is given twice

EYES = ("right", "left")
VALUES = {
    "right": {"FR": "7.81", "SR": "7.62", "FP": "43.21", "SP": "44.29", "FM": "8", "SM": "98", "NK": "1.3375",
              "AL": "23.47", "ACD": "3.12", "LT": "4.51", "CCT": "545", "WTW": "11.8"},
    "left": {"FR": "7.86", "SR": "7.70", "FP": "42.94", "SP": "43.83", "FM": "172", "SM": "82", "NK": "1.3375",
             "AL": "23.61", "ACD": "3.20", "LT": "4.44", "CCT": "551", "WTW": "11.9"},
}
UNITS = {"FR": "mm", "SR": "mm", "FP": "[diop]", "SP": "diop", "FM": "deg", "SM": "deg", "NK": "1", "AL": "mm",
         "ACD": "mm", "LT": "mm", "CCT": "um", "WTW": "mm", "AQD": "mm", "DEPTH": "mm", "ZONE": "mm",
         "AL-OD": "mm", "AL-OS": "mm"}
RADII, POWERS = ("FR", "SR", "FM", "SM"), ("FP", "SP", "FM", "SM")
LENGTHS = ("AL", "ACD", "LT", "CCT", "WTW")


def own(code, value, unit="", below=(), long=None, unit_scheme="UCUM"):
    """A number by a code of the invented maker; a unit of None leaves it out."""
    item = O.num(code, value, None, "SCT", below, long)
    item.ConceptNameCodeSequence = O.code(code, "99INVENTED", code)
    unit = UNITS[code] if unit == "" else unit
    if unit:
        item.MeasuredValueSequence[0].MeasurementUnitsCodeSequence = O.code(unit, unit_scheme, unit)
    return item


def left(item):
    """Marks a number that must not be read."""
    LEFT[id(item)] = item
    return item


def numbers(eye, codes):
    return [own(code, VALUES[eye][code]) for code in codes]


def box(concept, *below, scheme="DCM"):
    return O.content("CONTAINER", "CONTAINS", O.code(concept, scheme, concept), *below)


def group(*below):
    return box("125007", *below)


def method(value, scheme="SCT"):
    item = O.content("CODE", "HAS CONCEPT MOD", O.code({"SCT": "370129005", "SRT": "G-C036"}[scheme], scheme, "Measurement Method"))
    item.ConceptCodeSequence = O.code(value, "DCM", value)
    return item


def text(value):
    item = O.content("TEXT", "CONTAINS", O.code("121106", "DCM", "Comment"))
    item.TextValue = value
    return item


def document(*groups, sop="88.33"):
    ds = O.report(where="nowhere", sop=sop)
    ds.ContentSequence = Sequence([box("126010", one) for one in groups])
    return ds


def both(codes, scheme="SCT", extra=(), sop="88.33", eyes=EYES, change=None):
    """One measurement group an eye; `change` gets the items of the right one."""
    groups = []
    for eye in eyes:
        below = [O.site(eye, scheme), *[make() for make in extra], *numbers(eye, codes)]
        groups.append(group(*below))
    if change:
        below = list(groups[0].ContentSequence)
        change(below)
        groups[0].ContentSequence = Sequence(below)
    return document(*groups, sop=sop)


def at(below, code):
    """The item of a code, to be replaced or changed."""
    return next(n for n, item in enumerate(below) if item.ConceptNameCodeSequence[0].CodeValue == code)


def all_left(below, codes):
    for item in below:
        if item.ConceptNameCodeSequence[0].CodeValue in codes:
            left(item)


def replaced(code, item, with_it=()):
    """Replaces the number of a code; the numbers of `with_it` fall with it."""
    def change(below):
        below[at(below, code)] = left(item) if with_it else item
        all_left(below, with_it)
    return change


def nested(scheme):
    """Generic concepts: which meridian says the container, the eye says the group above."""
    radius = {"SCT": "131190003", "SRT": "G-A196"}[scheme]
    groups = []
    for eye in EYES:
        meridians = []
        for word, r, m in (("FLAT", "FR", "FM"), ("STEEP", "SR", "SM")):
            number = O.num(radius, VALUES[eye][r], "mm", scheme)
            meridian = own("SM", VALUES[eye][m])
            meridian.ConceptNameCodeSequence = O.code("MERIDIAN", "99INVENTED", "Meridian")
            meridians.append(box(word, number, meridian, scheme="99INVENTED"))
        groups.append(group(O.site(eye, scheme), *meridians))
    return document(*groups)


def lefts(ds, prefix=""):
    """Paths of the numbers that were marked."""
    for number, item in enumerate(ds.get("ContentSequence") or [], 1):
        path = f"{prefix}(0040,A730)[{number}]/"
        if id(item) in LEFT:
            yield f"{path}(0040,A300)[1]/(0040,A30A)"
            yield f"{path}(0040,A300)[1]/(0040,A161)"
        yield from lefts(item, path)


def good(objects):
    """Reports that are read: name, bytes, what else the manifest says."""
    global O
    O = objects
    whole, eyes = O.whole, {"eyes": ["right", "left"], "findings": []}

    def entry(ds, syntax=O.EXPLICIT, **more):
        return whole(ds, syntax), {**eyes, "drop": set(lefts(ds)), **more}

    yield "sr_k_radius", *entry(both(RADII))
    yield "sr_k_radius_long_form", *entry(both(RADII, change=replaced("FR", own("FR", "7.8100001", long=7.81))))
    yield "sr_k_power", *entry(both(POWERS), indices=[None, None])
    yield "sr_k_power_index", *entry(both((*POWERS, "NK")), indices=[1.3375, 1.3375])
    yield "sr_k_power_folder_index", *entry(both(POWERS), index=1.332, indices=[1.332, 1.332])
    yield "sr_k_radius_power", *entry(both((*RADII, "FP", "SP")), indices=[1.3375, 1.3375])
    yield "sr_k_radius_power_index", *entry(both((*RADII, "FP", "SP", "NK")), indices=[1.3375, 1.3375])
    yield "sr_k_right_only", *entry(both(RADII, eyes=("right",)), eyes=["right"])
    yield "sr_k_srt", *entry(both(RADII, scheme="SRT"))
    yield "sr_k_nested_sct", *entry(nested("SCT"))
    yield "sr_k_nested_srt", *entry(nested("SRT"))
    for word, sop in (("basic", "88.11"), ("enhanced", "88.22"), ("3d", "88.34")):
        yield f"sr_k_{word}", *entry(both(RADII, sop=sop))
    yield "sr_k_implicit", *entry(both(RADII), O.IMPLICIT)
    yield "sr_k_deflated", *entry(both(RADII), O.DEFLATED)
    yield "sr_k_auto", *entry(both(RADII, extra=[lambda: method("111754")]), method_of_k="Automatic")
    yield "sr_k_simulated_srt", *entry(both(RADII, extra=[lambda: method("111755", "SRT")]), method_of_k="Simulated")
    yield "sr_k_total", *entry(both((*POWERS, "NK"), extra=[lambda: method("111758")]), surface="total")
    yield "sr_k_zone", *entry(both(RADII, change=lambda below: below.append(own("ZONE", "2.4"))))
    private = lambda below: below.__setitem__(at(below, "SR"), own("SR", "7.62", "MM", unit_scheme="99INVENTED"))
    yield "sr_k_private_unit", *entry(both(RADII, change=private))
    turned = replaced("FM", own("FM", "0.13962634", "rad", long=0.13962634015954636))
    yield "sr_k_radians", *entry(both(RADII, change=turned))
    exchanged = document(*[
        group(O.site(eye), own("FR", VALUES[eye]["SR"]), own("SR", VALUES[eye]["FR"]), own("FM", VALUES[eye]["SM"]), own("SM", VALUES[eye]["FM"]))
        for eye in EYES
    ])
    yield "sr_k_swapped", *entry(exchanged, findings=["U05", "U05"], reordered=["right", "left"])
    says = lambda below: below.append(text("flat 9.99 mm at 45, left eye, axial length 31.2 mm"))
    yield "sr_k_text_with_numbers", *entry(both(RADII, change=says), notes=["TextValue"])
    stranger = lambda below: below.append(left(named("QUALITY", "1.5")))
    yield "sr_k_unknown_code", *entry(both(RADII, change=stranger), notes=["number 99INVENTED QUALITY"])

    falls = dict(eyes=["left"])
    yield "sr_k_unknown_unit", *entry(both(RADII, change=replaced("SR", own("SR", "0.762", "cm"), RADII)), **falls, notes=["km.steep.radius of the right eye, unit UCUM cm", "nothing of it is"])
    yield "sr_k_no_unit", *entry(both(RADII, change=replaced("FM", own("FM", "8", None), RADII)), **falls, notes=["km.flat.meridian of the right eye, unit none", "nothing of it is"])
    yield "sr_k_power_in_mm", *entry(both(POWERS, change=replaced("SP", own("SP", "44.29", "mm"), POWERS)), **falls, notes=["km.steep.power of the right eye, unit UCUM mm"])
    yield "sr_k_unit_other_scheme", *entry(both(RADII, change=replaced("SR", own("SR", "7.62", "mm", unit_scheme="99OTHER"), RADII)), **falls, notes=["unit 99OTHER mm"])
    qualified = own("FR", "7.81")
    qualified.NumericValueQualifierCodeSequence = O.code("114006", "DCM", "Measurement failure")
    yield "sr_k_qualified", *entry(both(RADII, change=replaced("FR", qualified, RADII)), **falls, notes=["qualified as DCM 114006", "nothing of it is"])
    empty = own("FR", "7.81")
    empty.MeasuredValueSequence = Sequence([])
    empty.NumericValueQualifierCodeSequence = O.code("114006", "DCM", "Measurement failure")
    yield "sr_k_failed_empty", *entry(both(RADII, change=replaced("FR", empty, RADII)), **falls, notes=["qualified as DCM 114006"])
    def posterior(below):
        below.insert(1, method("111759"))
        all_left(below, RADII)
    yield "sr_k_posterior", *entry(both(RADII, change=posterior), **falls, notes=["its method DCM 111759 is not read"])
    def zeros(below):
        for code in RADII:
            below[at(below, code)] = left(own(code, "0"))
    yield "sr_k_zeros", *entry(both(RADII, change=zeros), **falls, notes=["zero stands for not measured", "taken as not measured"])
    undescribed = document(group(O.site("right"), *numbers("right", RADII)), box("125008", O.site("left"), *[left(n) for n in numbers("left", RADII)]))
    yield "sr_k_other_parent", *entry(undescribed, eyes=["right"], notes=["a code that is not read at this place"])

    yield "sr_lengths", *entry(both(LENGTHS), depth_from="front")
    yield "sr_lengths_srt", *entry(both(LENGTHS, scheme="SRT"), depth_from="front", method="optical")
    aqueous = lambda: document(*[group(O.site(eye), own("AL", VALUES[eye]["AL"]), own("AQD", "2.58"), own("CCT", VALUES[eye]["CCT"])) for eye in EYES])
    yield "sr_lengths_aqueous", *entry(aqueous(), depth_from="back")
    bare = document(*[group(O.site(eye), own("AL", VALUES[eye]["AL"]), own("DEPTH", "3.12")) for eye in EYES])
    yield "sr_lengths_depth_unstated", *entry(bare, depth_from=None)
    yield "sr_lengths_um", *entry(both(("AL",), change=replaced("AL", own("AL", "23470", "um"))))
    yield "sr_lengths_cornea_mm", *entry(both(LENGTHS, change=replaced("CCT", own("CCT", "0.545", "mm"))))
    yield "sr_lengths_one_unknown_unit", *entry(both(LENGTHS, change=lambda below: below.__setitem__(at(below, "LT"), left(own("LT", "4510", "nm")))), notes=["axial.lens of the right eye, unit UCUM nm"])
    inside = document(group(own("AL-OD", "23.47"), own("AL-OS", "23.61")))
    yield "sr_length_eye_in_code", *entry(inside, eye_of={"[1]/(0040,A730)[1]/(0040,A730)[2]": "left"})
    loinc = []
    for value, length in (("64742-0", "23.47"), ("66067-0", "23.61")):
        item = own("AL", length)
        item.ConceptNameCodeSequence = O.code(value, "LN", "Axial length")
        loinc.append(item)
    yield "sr_length_loinc", *entry(document(box("126010", *loinc)), eye_of={"(0040,A730)[2]/(0040,A300)": "left"})
    long_code = both(RADII)
    for one in long_code.ContentSequence:
        concept = one.ContentSequence[0].ContentSequence[1].ConceptNameCodeSequence[0]
        concept.LongCodeValue = concept.CodeValue
        del concept.CodeValue
    yield "sr_k_long_code_value", *entry(long_code)
    everything = both((*RADII, "FP", "SP", "NK", *LENGTHS), change=lambda below: below.extend([O.num("sphere", -1.25, "diop"), O.num("cylinder", -1.0, "[diop]"), O.num("axis", 8, "deg")]))
    yield "sr_everything", *entry(everything)

    by_header = document(group(*numbers("right", RADII)))
    by_header.MeasurementLaterality = "R"
    yield "sr_k_eye_by_header", *entry(by_header, eyes=["right"])
    by_image = document(group(*numbers("right", RADII)))
    by_image.ImageLaterality = "R"
    yield "sr_k_eye_by_image_laterality", *entry(by_image, eyes=["right"])
    header_both = both(RADII)
    header_both.MeasurementLaterality = "B"
    yield "sr_k_header_both", *entry(header_both)
    timed = both(RADII)
    for one in timed.ContentSequence:
        O.put(one.ContentSequence[0], (0x0040, 0xA032), "DT", "20260228101500")
    yield "sr_k_observed", *entry(timed, local="2026-02-28T10:15:00")
    for word, charset, name in (("latin1", "ISO_IR 100", "Müller^Zoë"), ("utf8", "ISO_IR 192", "Łukasz^Ærø"), ("cyrillic", "ISO_IR 144", "Иванова^Анна")):
        ds = both(RADII)
        ds.SpecificCharacterSet, ds.PatientName = charset, name
        yield f"sr_k_name_{word}", *entry(ds)


def named(concept, value):
    item = own("FR", value)
    item.ConceptNameCodeSequence = O.code(concept, "99INVENTED", concept)
    return item


def bad(objects):
    """Reports that are refused: name, bytes, slug, part of the message, place."""
    global O
    O = objects
    first = "(0040,A730)[1]/(0040,A730)[1]/"

    def of(codes=RADII, **more):
        return O.whole(both(codes, **more))

    def without(code):
        return lambda below: below.__delitem__(at(below, code))

    yield "sr_k_no_eye", O.whole(document(group(*numbers("right", RADII)))), "missing", "the stated eye", first + "(0040,A730)[1]"
    header_other = both(RADII)
    header_other.Laterality = "L"
    yield "sr_k_header_contradicts", O.whole(header_other), "value", "is not the eye stated further out", None
    own_eye = lambda below: below.__setitem__(at(below, "SR"), own("SR", "7.62", below=[O.laterality("left")]))
    yield "sr_k_value_contradicts", of(change=own_eye), "value", "the stated eye `SCT 7771000` is not the eye stated further out", None
    mixed = lambda below: below.append(O.laterality("left", "SRT"))
    yield "sr_k_schemes_contradict", of(change=mixed), "value", "the stated eye `SRT G-A101`", None
    in_code = document(group(O.site("left"), own("AL-OD", "23.47")))
    yield "sr_length_code_contradicts", O.whole(in_code), "value", "the stated eye `99INVENTED AL-OD`", None
    image = both(RADII, eyes=("left",))
    image.ImageLaterality = "R"
    yield "sr_k_image_laterality_contradicts", O.whole(image), "value", "the stated eye `SCT 7771000`", None
    unsided = lambda below: below.__setitem__(0, O.site("both"))
    yield "sr_k_both_eyes", of(change=unsided), "value", "is not right or left", None
    for code, field in (("FM", "km.flat.meridian"), ("SM", "km.steep.meridian")):
        yield f"sr_k_no_{field[3:].replace('.', '_')}", of(change=without(code)), "missing", f"{field} of the right eye", "(0040,A730)"
    yield "sr_k_no_steep_radius", of(change=without("SR")), "missing", "radius or power of the steep meridian of the right eye", "(0040,A730)"
    def mixed_kind(below):
        below[at(below, "SR")] = own("SP", "44.29")
    yield "sr_k_radius_beside_power", of(change=mixed_kind), "missing", "of one meridian of the right eye", "(0040,A730)"
    yield "sr_k_two_values", of(change=lambda below: below.append(own("FR", "7.83"))), "layout", "expected one value, as 7.81, found `7.83`", first + "(0040,A730)[6]"
    yield "sr_k_axis_out_of_range", of(change=replaced("SM", own("SM", "198"))), "value", "km.steep.meridian `198`", None
    yield "sr_k_radius_out_of_range", of(change=replaced("SR", own("SR", "762"))), "value", "km.steep.radius `762`", None
    yield "sr_k_negative_power", of(POWERS, change=replaced("SP", own("SP", "-44.29"))), "value", "is not the power of a cornea", None
    comma = lambda below: below[at(below, "FR")].MeasuredValueSequence[0].__setitem__((0x0040, 0xA30A), O.DataElement((0x0040, 0xA30A), "LO", "7,81"))
    yield "sr_k_wrong_vr", of(change=comma), "layout", "a value of VR LO", first + "(0040,A730)[2]/(0040,A300)[1]/(0040,A30A)"
    several = lambda below: below[at(below, "FR")].MeasuredValueSequence.append(below[at(below, "FR")].MeasuredValueSequence[0])
    yield "sr_k_two_measured_values", of(change=several), "layout", "one item", first + "(0040,A730)[2]/(0040,A300)"
    two_values = lambda below: O.put(below[at(below, "FR")].MeasuredValueSequence[0], (0x0040, 0xA30A), "DS", ["7.81", "7.62"])
    yield "sr_k_value_of_two", of(change=two_values), "layout", "one value", first + "(0040,A730)[2]/(0040,A300)[1]/(0040,A30A)"
    def two_methods(below):
        below[1:1] = [method("111754"), method("111753")]
    yield "sr_k_two_methods", of(change=two_methods), "layout", "one method of measurement", None
    depths = document(group(O.site("right"), own("ACD", "3.12"), own("AQD", "3.12")))
    yield "sr_two_depths", O.whole(depths), "layout", "where the chamber depth begins", None
    dated = both(RADII)
    O.put(dated.ContentSequence[0].ContentSequence[0], (0x0040, 0xA032), "DT", "20260228101500")
    yield "sr_k_two_times", O.whole(dated), "layout", "time of observation", None
    code_twice = lambda below: setattr(below[at(below, "FR")].ConceptNameCodeSequence[0], "LongCodeValue", "FR")
    yield "sr_k_code_twice", of(change=code_twice), "layout", "one code in an item", None
    only_text = document(group(O.site("right"), text("K1 7.81 mm at 8, K2 7.62 mm at 98")))
    yield "sr_only_text", O.whole(only_text), "no-measurement", "no eye in it has a measured value"
    def all_unknown(below):
        below[1:] = [named(f"X{n}", "7.8") for n in range(3)]
    yield "sr_only_unknown_codes", of(change=all_unknown, eyes=("right",)), "no-measurement", "no eye in it has a measured value"
