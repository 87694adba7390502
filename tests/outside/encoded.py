"""Texts in the encodings of mapping templates, written by Python's codecs: one JSON array of [base64, text] a line.

    python3 encoded.py      reads {"codec", "wide"} a line

Of an encoding of single bytes every byte from A0 on that is a character, from 80 on where the codec is one of code pages;
of a wide one kana and every seventh of the unified ideographs. White space, controls and delimiters are left out.
"""

import base64
import json
import sys
import unicodedata


def plain(text):
    return not any(unicodedata.category(c) in ("Cc", "Zs", "Co", "Cn") or c in ';,"' for c in text)


for line in sys.stdin:
    told = json.loads(line)
    codec = told["codec"]
    found = []
    if told["wide"]:
        points = list(range(0x3041, 0x3094)) + list(range(0x30A1, 0x30F7)) + list(range(0x4E00, 0x9FA0, 7))
        for point in points:
            try:
                found.append([base64.b64encode(chr(point).encode(codec)).decode(), chr(point)])
            except UnicodeEncodeError:
                pass
    else:
        for byte in range(0x80, 0x100):
            try:
                text = bytes([byte]).decode(codec)
            except UnicodeDecodeError:
                continue
            found.append([base64.b64encode(bytes([byte])).decode(), text])
    print(json.dumps([pair for pair in found if plain(pair[1])]))
