"""Verifies the chain in a ledger file; made from docs/LEDGER.md alone. Standard library only."""

import hashlib
import json
import pathlib
import sqlite3
import struct
import sys


def first_fault(db):
    count, last, hashes = 0, bytes(32), {}
    for seq, prev, hash_, kind, body in db.execute("SELECT seq, prev, hash, kind, body FROM chain ORDER BY seq"):
        count += 1
        text = b"".join(struct.pack(">I", len(part.encode())) + part.encode() for part in (kind, body))
        made = hashlib.sha256(b"axiswright-ledger-1\0" + struct.pack(">Q", seq) + prev + text).digest()
        value = json.loads(body) if made == hash_ else {}
        fine = isinstance(value.get("v"), int) and str(value.get("at")).endswith("Z")
        if seq != count or prev != last or not fine or (kind == "site") != (seq == 1):
            return seq, "number, link, hash or form", count, last
        last = hashes[seq] = hash_
    for seq, hash_ in db.execute("SELECT seq, hash FROM heads ORDER BY id"):
        if hashes.get(seq) != hash_:
            return seq, "a signed head does not agree", count, last
    return (1, "no record", 0, last) if count == 0 else (0, "", count, last)


uri = pathlib.Path(sys.argv[1]).absolute().as_uri() + "?mode=ro"
bad, why, records, head = first_fault(sqlite3.connect(uri, uri=True))
print(f"bad at record {bad}: {why}" if bad else f"sound: {records} records, head {head.hex()}")
sys.exit(1 if bad else 0)
