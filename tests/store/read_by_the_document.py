#!/usr/bin/python3
"""Prints every row of a store, read as daemon/store/FORMAT.md describes it and by nothing else of this project."""
import json
import sqlite3
import struct
import sys
import zlib

QUALITIES = ["good", "over_range", "open_sensor", "stale", "no_answer", "refused", "implausible", "contact_lost", "other_meter"]


def framed(value):
    if isinstance(value, int):
        return struct.pack("<q", value)
    data = value.encode() if isinstance(value, str) else value
    return struct.pack("<q", len(data)) + data


def rows(db, table):
    for row in db.execute(f"SELECT * FROM {table} ORDER BY 1"):
        *columns, crc = row
        if zlib.crc32(framed(table) + b"".join(map(framed, columns))) != crc:
            sys.exit(f"{table} {columns[0]}: the checksum does not fit")
        yield columns


class Bytes:
    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, size):
        self.at += size
        return self.data[self.at - size:self.at]

    def varint(self):
        value = shift = 0
        while True:
            byte = self.take(1)[0]
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value

    def zigzag(self, value):
        return (value >> 1) ^ -(value & 1)


def readings(at_ms, blob):
    data = Bytes(blob)
    version, flags = data.take(2)
    if version != 1:
        sys.exit(f"batch version {version}")
    expected = 0
    for _ in range(data.varint()):
        key = data.varint()
        point = expected + data.zigzag(key >> 5)
        later_ms = data.zigzag(data.varint()) if flags & 1 else 0
        bits = 0 if key & 1 else struct.unpack("<Q", data.take(8))[0]
        yield f"  {point} {at_ms + later_ms} {QUALITIES[key >> 1 & 15]} {bits:016x}"
        expected = point + 1
    if data.at != len(blob):
        sys.exit("bytes are left over")


def main():
    db = sqlite3.connect(f"file:{sys.argv[1]}?mode=ro", uri=True)
    if db.execute("PRAGMA application_id").fetchone()[0] != 0x53474C57 or db.execute("PRAGMA user_version").fetchone()[0] != 2:
        sys.exit("not a store of layout 2")
    for seq, utc_ms, kind, body in rows(db, "journal"):
        print("journal", seq, utc_ms, kind, body)
    ended = {run for run, _, _ in rows(db, "run_end")}
    inputs = [(seq, run, at_ms, "readings", blob) for seq, run, at_ms, blob in rows(db, "reading_batch")]
    inputs = sorted(inputs + [tuple(row) for row in rows(db, "input")], key=lambda row: row[0])
    events = list(rows(db, "event"))
    for columns in rows(db, "run"):
        run = columns[0]
        print("run", run, columns[2], "ended" if run in ended else "running", *json.loads(columns[-1]))
        for seq, of, at_ms, kind, body in inputs:
            if of != run:
                continue
            print("input", seq, at_ms, kind, "" if kind == "readings" else body)
            if kind == "readings":
                print(*readings(at_ms, body), sep="\n")
        for seq, of, at_ms, kind, body in events:
            if of == run:
                print("event", seq, at_ms, kind, body)


if __name__ == "__main__":
    main()
