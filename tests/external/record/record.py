"""Two runs of one unit in a store; the daemon hands out their pages, the sealed record and the comparison, and the command line
checks what came over the wire."""
import csv
import hashlib
import json
import math
import random
import subprocess
import sys
import pathlib
import urllib.error
import urllib.request
import zipfile

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import demo_config, free_port, Http, named_options, Processes, wait_for  # noqa: E402

UNIT = "brindlecombe35"
POLL_S = 10
HOURS = 5
VERDICTS = ("pass", "pass_with_remarks", "incomplete", "fail")


def write_log(source, file, seed, v2_share):
    """A log of a tube amplifier as a shop may have kept it; the second tube may have aged."""
    import tomllib
    noise = random.Random(seed)
    points = tomllib.loads((source / f"config/profiles/{UNIT}.toml").read_text())["point"]
    usual = {"temperature": 40.0, "voltage": 230.0, "current": 0.9, "power": 190.0}
    with open(file, "w", newline="") as out:
        rows = csv.writer(out)
        rows.writerow(["time_s", *(p["name"] for p in points)])
        for second in range(0, HOURS * 3600, POLL_S):
            warm = 1.0 - math.exp(-second / 900.0)
            row = [second]
            for point in points:
                level = point.get("nominal", usual.get(point["quantity"], 1.0))
                if point["quantity"] == "temperature":
                    level = 22.0 if point["role"] == "ambient" else 22.0 + (level - 22.0 if level > 30.0 else 20.0) * warm
                if point["role"] == "bias":
                    level *= (0.9 + 0.1 * warm) * (v2_share if point["name"].startswith("v2") else 1.0)
                row.append(f"{level * (1.0 + noise.gauss(0.0, 0.001)):.3f}")
            rows.writerow(row)


def fetch(http, path):
    """Status, header fields and bytes."""
    try:
        with urllib.request.urlopen(http.base + path, timeout=30) as answer:
            return answer.status, answer.headers, answer.read()
    except urllib.error.HTTPError as error:
        return error.code, error.headers, error.read()


def call(options, *words, codes=(0,)):
    answer = subprocess.run([options.command, *map(str, words)], capture_output=True, text=True, timeout=120)
    assert answer.returncode in codes, (words, answer.returncode, answer.stdout, answer.stderr)
    return answer.stdout


def configure(options, folder, store):
    port = free_port()
    (folder / "bench.toml").write_text(demo_config(options.source, folder, port, free_port(), store=f'"{store}"', clock_rate="1.0"))
    return port


def check_pages(http, run):
    pdf = fetch(http, f"/api/v1/runs/{run}/page.pdf?paper=a4")
    assert pdf[0] == 200 and pdf[1]["Content-Type"] == "application/pdf" and pdf[2].startswith(b"%PDF-"), pdf[:2]
    assert fetch(http, f"/api/v1/runs/{run}/page.pdf?paper=a4")[2] == pdf[2], "made twice, the page is the same"
    assert fetch(http, f"/api/v1/runs/{run}/page.pdf?paper=letter")[2] != pdf[2]
    assert fetch(http, f"/api/v1/runs/{run}/page.pdf?paper=a5")[0] == 409
    html = fetch(http, f"/api/v1/runs/{run}/page.html")
    assert html[0] == 200 and b"<script" not in html[2] and "sandbox" in html[1]["Content-Security-Policy"], html[:2]
    for name in ("page.png", "graph.png"):
        assert fetch(http, f"/api/v1/runs/{run}/{name}")[2].startswith(b"\x89PNG"), name
    return pdf[2], html[2].decode()


def check_record(options, http, folder, store, run, pdf, html):
    status, fields, bytes_ = fetch(http, f"/api/v1/runs/{run}/record.zip")
    assert status == 200 and f'attachment; filename="B35-0117-run-{run}.zip"' == fields["Content-Disposition"], (status, bytes_[:300])
    assert fetch(http, f"/api/v1/runs/{run}/record.zip")[2] == bytes_, "made twice, the record is the same"
    file = folder / "record.zip"
    file.write_bytes(bytes_)
    with zipfile.ZipFile(file) as record:
        assert record.testzip() is None
        names = set(record.namelist())
        assert {"page.pdf", "page.html", "page.png", "card.json", "readings.csv", "run.sqlite", "events.jsonl", "manifest.json"} <= names, names
        assert record.read("page.pdf") == pdf, "the page in the record is the page that was shown"
        assert json.loads(record.read("card.json"))["entries"], "what was done to the unit goes with it"
        digests = {name: hashlib.sha256(record.read(name)).hexdigest() for name in names}
        assert all(digests[name] in record.read("manifest.json").decode() for name in names if not name.startswith(("manifest", "README")) and name != "key.pub"), "every file stands in the manifest"
    seal = http.get(f"/api/v1/runs/{run}/seal")
    assert seal["code"] in html, "the page shows the code of the record"
    said = call(options, "verify", file, "--key", seal["key_fingerprint"])
    assert seal["code"] in said and "the engine says the same" in said, said
    assert call(options, "seal-key", store).strip() == seal["key_fingerprint"]
    # What the command line seals is what the daemon hands out.
    call(options, "seal", store, run, folder / "again.zip")
    assert (folder / "again.zip").read_bytes() == bytes_
    spoilt = bytearray(bytes_)
    spoilt[len(spoilt) // 2] ^= 1
    file.write_bytes(bytes(spoilt))
    call(options, "verify", file, codes=(1, 65))


def main():
    options = named_options("daemon", "command", "source", "folder")
    with Processes(options.folder) as processes:
        folder, source = processes.folder, pathlib.Path(options.source).resolve()
        store = folder / "s.db"
        for run, share in ((1, 1.0), (2, 0.72)):
            write_log(source, folder / f"{run}.csv", run, share)
            call(options, "import", store, folder / f"{run}.csv", "--profile", source / f"config/profiles/{UNIT}.toml", "--plan", source / "config/plans/night-24h.toml", "--unit", UNIT,
                 "--title", "Brindlecombe 35", "--serial", "B35-0117", "--who", "Ada", "--began", f"2026-0{run}-02T20:00:00Z", *(["--new-store"] if run == 1 else []))
        port = configure(options, folder, store)
        http = Http(port)
        log = open(folder / "daemon.log", "wb")
        processes.running.append(subprocess.Popen([options.daemon, "--config", str(folder / "bench.toml")], stdout=log, stderr=log))
        wait_for("the daemon", http.is_up, 15)

        runs = http.get("/api/v1/runs")["runs"]
        assert [r["id"] for r in runs] == [2, 1] and all(r["serial"] == "B35-0117" and r["state"] == "ended" and r["verdict"] in VERDICTS for r in runs), runs
        status, answer = http.post(f"/api/v1/cards/{UNIT}/entries", {"who": "Ada", "kind": "repair", "fields": {"told": "hum", "found": "dry filter capacitor"}})
        assert status == 200, answer
        pdf, html = check_pages(http, 1)
        assert "dry filter capacitor" in html, "what was done stands on the page"
        assert "were not taken by this program" in html, "nor is an old log passed off as watched"
        check_record(options, http, folder, store, 1, pdf, html)
        compared = http.get("/api/v1/runs/2/compare?with=1")
        assert compared == json.loads(call(options, "compare", store, 1, 2, "--json", codes=(0, 1))), "the page and the command line say the same"
        beyond = [p for p in compared["points"] if p["standing"] != "inside"]
        assert beyond and all(p["point"].startswith("v2") for p in beyond), beyond
        for path, expected in (("/api/v1/runs/9/page.pdf", 404), ("/api/v1/runs/1/page.docx", 404), ("/api/v1/runs/1/compare?with=x", 409), ("/api/v1/runs/1/compare?with=9", 404)):
            assert fetch(http, path)[0] == expected, path
        memory = http.get("/api/v1/memory")
        assert memory["units"] == 0 and memory["failures"] == 0, memory  # old logs that somebody chose to bring in are no fair share of all repairs
        assert http.get("/api/v1/bench")["units"][0]["run"] is None, "nor are they the unit's last run at the bench"
        call(options, "backup", store, folder / "copy")
        print(f"record {len((folder / 'again.zip').read_bytes()) / 1e6:.2f} MB of {HOURS} h; {len(beyond)} point beyond its uncertainty: {beyond[0]['sentence']}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
