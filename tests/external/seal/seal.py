#!/usr/bin/python3
"""Runs in a real store are sealed and checked by the command line; a second reader, openssl and sha256sum check them too, and the
readings in a record are those of the store, bit for bit and in order."""
import pathlib
import re
import shutil
import stat
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import named_options  # noqa: E402

HERE = pathlib.Path(__file__).resolve().parent


def call(*words, codes=(0,)):
    answer = subprocess.run([str(word) for word in words], capture_output=True, text=True, timeout=300)
    assert answer.returncode in codes, (words, answer.returncode, answer.stdout[-2000:], answer.stderr[-2000:])
    return answer.stdout + answer.stderr


def without_numbers(text):
    """The store's rows of its run as the record's reader prints them: without the numbers of the rows."""
    rows = [line for line in text.splitlines() if line.startswith(("input ", "event ", "  "))]
    return [re.sub(r"^(input|event) \d+ ", r"\1 ", line) for line in rows]


def same_as_the_store(options, store, record):
    stored = without_numbers(call("/usr/bin/python3", pathlib.Path(options.source) / "tests/store/read_by_the_document.py", store))
    sealed = call("/usr/bin/python3", HERE / "read_by_the_document.py", record).splitlines()
    for number, (a, b) in enumerate(zip(stored, sealed)):
        assert a == b, f"line {number}: the store says {a}, the record {b}"
    assert len(stored) == len(sealed) > 100, (len(stored), len(sealed))
    return len(sealed)


def by_the_readme(folder, fingerprint, code):
    """The commands in README.txt, word for word."""
    commands = [line.strip() for line in (folder / "README.txt").read_text().splitlines() if line.startswith("  openssl") or line.startswith("  sha256sum")]
    assert len(commands) == 4, commands
    said = [subprocess.run(["bash", "-c", command], cwd=folder, capture_output=True, text=True) for command in commands]
    assert all(one.returncode == 0 for one in said), said
    assert "Verified Successfully" in said[0].stdout, said[0]
    assert said[1].stdout.strip() == fingerprint.replace("-", ""), said[1]
    manifest = (folder / "manifest.json").read_text()
    for line in said[2].stdout.splitlines():
        digest, name = line.split()
        assert name.startswith("manifest.") or digest in manifest, line
    assert said[3].stdout.strip() == code.replace("-", ""), said[3]


def check(options, folder, kind):
    store = folder / f"{kind}.db"
    call(options.store_a_night, store, 4, kind)
    said = call(options.command, "seal", store, 1, folder / f"{kind}.zip")
    call(options.command, "seal", store, 1, folder / kind)
    fingerprint = call(options.command, "seal-key", store).strip()
    code = call(options.command, "seal-code", store, 1).strip()
    assert fingerprint in said and code in said, said
    key_file = folder / f"{kind}.db.seal_key"
    assert stat.S_IMODE(key_file.stat().st_mode) == 0o600
    for record in (folder / f"{kind}.zip", folder / kind):
        said = call(options.command, "verify", record, "--key", fingerprint)
        assert "the engine says the same of its readings" in said and code in said, said
        call(options.command, "verify", record, "--key", folder / kind / "key.pub")
    lines = same_as_the_store(options, store, folder / f"{kind}.zip")
    assert same_as_the_store(options, store, folder / kind) == lines
    by_the_readme(folder / kind, fingerprint, code)
    print(f"{kind}: {lines} rows, the same in the store and by the second reader; zip {(folder / f'{kind}.zip').stat().st_size} bytes, run.sqlite {(folder / kind / 'run.sqlite').stat().st_size} bytes")


def check_refusals(options, folder):
    record, other = folder / "evening.zip", "0" * 32
    said = call(options.command, "verify", record, "--key", other, codes=(1,))
    assert "somebody else has sealed this" in said, said
    assert "neither a fingerprint nor a file" in call(options.command, "verify", record, "--key", "abc", codes=(64,))
    spoiled = folder / "spoiled"
    shutil.copytree(folder / "evening", spoiled)
    text = (spoiled / "readings.csv").read_bytes()
    at = text.index(b"470.", len(text) // 4)
    (spoiled / "readings.csv").write_bytes(text[:at] + b"3" + text[at + 1:])
    said = call(options.command, "verify", spoiled, codes=(1,))
    line = text[:at].count(b"\n") + 1
    assert f"readings.csv:{line}: the row is not what run.sqlite says (bytes {at} to " in said, said
    for name in ("manifest.json", "no-such"):
        call(options.command, "verify", folder / "evening" / name, codes=(65,))
    assert "it is there already" in call(options.command, "seal", folder / "evening.db", 1, record, codes=(73,))
    (folder / "evening.db.seal_key").chmod(0o644)
    assert "others can read the shop's key" in call(options.command, "seal", folder / "evening.db", 1, folder / "again.zip", codes=(77,))
    (folder / "evening.db.seal_key").chmod(0o600)


def main():
    options = named_options("command", "store_a_night", "source", "folder")
    folder = pathlib.Path(options.folder)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for kind in ("evening", "digits", "noisy"):
        check(options, folder, kind)
    check_refusals(options, folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
