"""Values of XML documents as lxml finds them: one JSON array of records a line, null for what lxml does not read.

    python3 xml_lxml.py      first line: {"namespaces", "record", "eye", "fields": {target: path}, "units": {target: path}}
                             then one document a line, in base64

A record is {"eye", "values": {target: [text, line, unit]}}. Paths are XPath 1.0, evaluated as they stand; a path that
leads to more than one node makes its value a list of all of them. Exit 3 when lxml is missing.
"""

import base64
import json
import sys

try:
    from lxml import etree
except ImportError:
    print("the Python module lxml is not installed", file=sys.stderr)
    sys.exit(3)

SPACE = " \t\r\n"


def nodes(element, path, spaces):
    """Text and line of what a path leads to, and the element it belongs to."""
    found = []
    for node in element.xpath(path, namespaces=spaces):
        if isinstance(node, etree._Element):
            found.append((node.xpath("string()").strip(SPACE), node.sourceline, node))
        else:
            parent = node.getparent()
            found.append((str(node).strip(SPACE), parent.sourceline, parent))
    return found


def value(record, path, unit, spaces):
    found = nodes(record, path, spaces)
    if len(found) != 1:
        return [text for text, _, _ in found] if found else None
    text, line, element = found[0]
    stated = nodes(element, unit, spaces) if unit else []
    return [text, line, stated[0][0] if len(stated) == 1 else None]


told = json.loads(sys.stdin.readline())
spaces = told["namespaces"]
for line in sys.stdin:
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(base64.b64decode(line), parser)
    except etree.XMLSyntaxError:
        print("null")
        continue
    records = []
    for record in root.getroottree().xpath(told["record"], namespaces=spaces):
        eyes = [text for text, _, _ in nodes(record, told["eye"], spaces)]
        values = {target: value(record, path, told["units"].get(target), spaces)
                  for target, path in told["fields"].items()}
        records.append({"eye": eyes, "values": values})
    print(json.dumps(records))
