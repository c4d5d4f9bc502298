#!/usr/bin/python3
"""Checks a sealed record and prints every input and event of it, read as daemon/seal/FORMAT.md describes it and by nothing else of this project.

read_by_the_document.py FOLDER-OR-ZIP
"""
import base64
import csv
import ctypes
import hashlib
import io
import json
import os
import sqlite3
import struct
import subprocess
import sys
import tempfile
import zipfile

QUALITIES = ["good", "over_range", "open_sensor", "stale", "no_answer", "refused", "implausible", "contact_lost", "other_meter"]
WHOLE = 1 << 64
zstd = ctypes.CDLL("libzstd.so.1")
zstd.ZSTD_decompress.restype = zstd.ZSTD_isError.restype = ctypes.c_size_t
zstd.ZSTD_decompress.argtypes = [ctypes.c_char_p, ctypes.c_size_t, ctypes.c_char_p, ctypes.c_size_t]
zstd.ZSTD_isError.argtypes = [ctypes.c_size_t]


def sha(data):
    return hashlib.sha256(data).hexdigest()


def groups(hexadecimal, digits):
    return "-".join(hexadecimal[i:i + 4] for i in range(0, digits, 4))


def need(claim, text):
    if not claim:
        sys.exit(text)


def files_of(path):
    if os.path.isdir(path):
        return {name: open(os.path.join(path, name), "rb").read() for name in os.listdir(path)}
    whole = open(path, "rb").read()
    need(sha(whole[:-64]).encode() == whole[-64:], "the comment of the zip is not the digest of its bytes")
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        need(packed.comment == whole[-64:], "the comment of the zip is not at its end")
        return {name: packed.read(name) for name in packed.namelist()}


def signed(manifest, signature, pem):
    """By openssl, as README.txt says."""
    with tempfile.TemporaryDirectory() as folder:
        for name, data in (("m", manifest), ("s", signature), ("k", pem)):
            open(os.path.join(folder, name), "wb").write(data)
        return subprocess.run(["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", "k", "-rawin", "-in", "m", "-sigfile", "s"], cwd=folder, capture_output=True).returncode == 0


def unpacked(blob, count):
    how, planes = blob[0], blob[1]
    base, = struct.unpack_from("<q", blob, 2)
    at, numbers = 10, [0] * count
    for plane in range(planes):
        size, = struct.unpack_from("<I", blob, at)
        frame = blob[at + 4:at + 4 + size]
        at += 4 + size
        out = ctypes.create_string_buffer(count)
        got = zstd.ZSTD_decompress(out, count, frame, size)
        need(not zstd.ZSTD_isError(got) and got == count, "a plane does not unpack to its length")
        for i, byte in enumerate(out.raw):
            numbers[i] |= byte << (8 * plane)
    need(at == len(blob), "bytes are left over")
    result, before = [], base
    for coded in numbers:
        number = (before + ((coded >> 1) ^ -(coded & 1))) % WHOLE
        number -= WHOLE if number >= WHOLE // 2 else 0
        result.append(number)
        before = number if how == 1 else base
    return result


def double(bits):
    return struct.unpack("<d", struct.pack("<q", bits))[0]


def values(coding, decimals, level_count, levels, numbers, count):
    found = unpacked(numbers, count)
    if coding == "decimal":
        return [number / 10 ** decimals for number in found]
    if coding == "levels":
        known = [double(bits) for bits in unpacked(levels, level_count)]
        return [known[number] for number in found]
    need(coding == "binary64", "an unknown coding")
    return [double(bits) for bits in found]


def series(db, points):
    """For each point: its readings as (value, quality, late_ms)."""
    for point in points:
        expected = 0
        readings = []
        rows = db.execute("SELECT first, count, coding, decimals, level_count, levels, numbers, quality, late_ms FROM reading_chunk WHERE point = ? ORDER BY first", (point,))
        for first, count, coding, decimals, level_count, levels, numbers, quality, late in rows:
            need(first == expected, "a chunk of readings is missing")
            expected += count
            readings += zip(values(coding, decimals, level_count, levels, numbers, count), unpacked(quality, count), unpacked(late, count))
        yield iter(readings)


def inputs(db):
    """In order: (nth, at_ms, kind, json or list of (point, at_ms, quality, value))."""
    found = {nth: (at, kind, body) for nth, at, kind, body in db.execute("SELECT nth, at_ms, kind, json FROM input")}
    lists = [json.loads(text) for _, text in db.execute("SELECT id, points FROM point_list ORDER BY id")]
    points = [row[0] for row in db.execute("SELECT id FROM point ORDER BY id")]
    of = list(series(db, points))
    expected = 0
    for first, count, nth, at, which in db.execute("SELECT first, count, nth, at_ms, point_list FROM batch_chunk ORDER BY first"):
        need(first == expected, "a chunk of batches is missing")
        expected += count
        for n, time, chosen in zip(unpacked(nth, count), unpacked(at, count), unpacked(which, count)):
            need(n not in found, "two inputs have one number")
            batch = []
            for point in lists[chosen]:
                value, quality, late = next(of[point])
                batch.append((point, time + late, quality, value))
            found[n] = (time, "readings", batch)
    need(sorted(found) == list(range(1, len(found) + 1)), "an input is missing")
    need(all(next(rest, None) is None for rest in of), "readings are left over")
    return [(n, *found[n]) for n in sorted(found)]


def check_csv(text, fed, points):
    """The spreadsheet says what run.sqlite says: good values to the bit, and why others are not good."""
    rows = csv.reader(io.StringIO(text, newline=""))
    need(text.endswith("\r\n") and text.count("\n") == text.count("\r\n"), "a line does not end in CR LF")
    need(next(rows) == ["time_s [s]", *(f"{name} [{uom}]" for name, uom in points), "not_good"], "the columns are others")
    for _, at, kind, batch in fed:
        if kind != "readings":
            continue
        pending = {}
        todo = []
        for point, _, quality, value in batch:
            if point in pending:
                todo.append(pending)
                pending = {}
            pending[point] = (quality, value)
        for of in todo + [pending]:
            row = next(rows)
            need(row[0] == f"{at // 1000}.{at % 1000:03d}", f"the time of a row is {row[0]}, not {at}")
            why = []
            for point, (name, _) in enumerate(points):
                cell = row[1 + point]
                quality, value = of.get(point, (None, None))
                is_number = quality == 0 and value == value and abs(value) != float("inf")
                if is_number:
                    need(struct.pack("<d", float(cell)) == struct.pack("<d", value), f"{name} at {at} is {cell}, not {value!r}")
                else:
                    need(cell == "", f"{name} at {at} is {cell}, and has no good value")
                    if quality is not None:
                        why.append(f"{name}: {QUALITIES[quality] if quality else 'not_finite'}")
            need(row[-1] == "; ".join(why), f"the last cell at {at} is {row[-1]}")
    need(next(rows, None) is None, "rows are left over")


def main():
    files = files_of(sys.argv[1])
    manifest = json.loads(files["manifest.json"])
    need(manifest["format"] == 1 and manifest["what"] == "the sealed record of a soak run", "not a record of format 1")
    need(json.dumps(manifest, indent=1, ensure_ascii=False).encode() + b"\n" == files["manifest.json"], "the manifest is spelled otherwise")
    need(signed(files["manifest.json"], files["manifest.sig"], files["key.pub"]), "the signature is not good")
    key = base64.b64decode(files["key.pub"].splitlines()[1])[-32:]
    need(groups(sha(key), 32) == manifest["key_fingerprint"], "the fingerprint is another")
    listed = {file["name"]: (file["bytes"], file["sha256"]) for file in manifest["files"]}
    need({name: (len(data), sha(data)) for name, data in files.items() if not name.startswith("manifest.")} == listed, "the files are not those of the manifest")
    need(list(listed) == sorted(listed), "the files are not in order")
    lines = "".join(f"{listed[name][1]}  {name}\n" for name in ("events.jsonl", "readings.csv", "run.sqlite"))
    need(groups(sha(lines.encode()), 16) == manifest["code"], "the code is another")

    head, events = "0" * 64, []
    need(files["events.jsonl"].endswith(b"\n") or not files["events.jsonl"], "the last event is cut short")
    for n, line in enumerate(files["events.jsonl"].splitlines(), 1):
        event = json.loads(line)
        need(list(event) == ["n", "before", "after_input", "at_ms", "kind", "event"] and event["n"] == n and event["before"] == head, f"the chain breaks at line {n}")
        head = sha(line)
        events.append(event)
    need(head == manifest["chain_head"] and len(events) == manifest["events"], "the chain has another end")

    with tempfile.NamedTemporaryFile(suffix=".sqlite") as file:
        file.write(files["run.sqlite"])
        file.flush()
        db = sqlite3.connect(f"file:{file.name}?mode=ro&immutable=1", uri=True)
        need(db.execute("PRAGMA application_id").fetchone()[0] == 0x53474C52 and db.execute("PRAGMA user_version").fetchone()[0] == 1, "not the run of a record")
        need(db.execute("SELECT number, unit, title, serial, profile_name, plan_name, started_utc, ended_utc, started_by FROM run").fetchall() == [tuple(manifest["run"].values())], "the run is another")
        points = db.execute("SELECT name, uom FROM point ORDER BY id").fetchall()
        fed = inputs(db)
    need(len(fed) == manifest["inputs"] and sum(len(batch) for _, _, kind, batch in fed if kind == "readings") == manifest["readings"], "the inputs are fewer or more")
    check_csv(files["readings.csv"].decode(), fed, points)
    for n, at, kind, body in fed:
        print("input", at, kind, "" if kind == "readings" else body)
        if kind == "readings":
            for point, time, quality, value in body:
                print(f"  {point} {time} {QUALITIES[quality]} {struct.unpack('<Q', struct.pack('<d', value))[0]:016x}")
    for event in events:
        print("event", event["at_ms"], event["kind"], json.dumps(event["event"], separators=(",", ":"), ensure_ascii=False))


if __name__ == "__main__":
    main()
