"""The cells of a delimited file as Python's csv module reads them: one JSON array a line.

    python3 read_cells.py      reads {"file", "encoding", "delimiter", "quoted"} a line

Each cell is [line, column, text, number]; lines and columns count from 1, the number is null where Python's float() does
not read the text, once with the decimal comma as a point.
"""

import csv
import json
import sys


def number(text):
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        return None


for line in sys.stdin:
    told = json.loads(line)
    quoting = csv.QUOTE_MINIMAL if told["quoted"] else csv.QUOTE_NONE
    with open(told["file"], encoding=told["encoding"], newline="") as file:
        reader = csv.reader(file, delimiter=told["delimiter"], quoting=quoting)
        cells = [[reader.line_num, column, text, number(text)]
                 for row in reader for column, text in enumerate(row, 1)]
    print(json.dumps(cells))
