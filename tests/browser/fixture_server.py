#!/usr/bin/python3
"""Serves the page from its sources and a canned bench in the shapes of daemon/http/API.md, with a live stream.

fixture_server.py [PORT]: to look at the page while working on it. The browser test runs the same server in itself.
"""
import http.server
import json
import pathlib
import queue
import re
import struct
import sys
import threading
import urllib.parse
import zlib

import canned_bench
import canned_book
import canned_night
import canned_wiring

WEB = pathlib.Path(__file__).resolve().parents[2] / "dashboards" / "web"
DYGRAPHS = pathlib.Path("/usr/share/javascript/dygraphs")
TYPES = {".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
# The daemon's own (daemon/http): what the page may not do there it may not do here.
POLICY = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"


class Fixture:
    """The bench behind the server. `is_dead`: the daemon is gone, every request is cut off."""

    def __init__(self):
        self.bench = canned_bench.fresh()
        self.posted = []
        self.streams = []
        self.is_dead = False
        self.lock = threading.Lock()
        self.last_id = 0
        self.ticks = {}
        self.cards = canned_book.cards()
        self.wiring = canned_wiring.Wiring()

    def tell(self, event, data):
        with self.lock:
            self.last_id += 1
            text = f"id: {self.last_id}\nevent: {event}\ndata: {json.dumps(data)}\n\n"
            for stream in self.streams:
                stream.put(text)

    def tell_bench(self):
        self.tell("bench", self.bench)

    def die(self):
        self.is_dead = True
        with self.lock:
            for stream in self.streams:
                stream.put(None)

    def unit(self, name):
        return next((u for u in self.bench["units"] if u["name"] == name), None)


def picture(colour, width=320, height=240):
    """A PNG of one colour, by hand: signature, IHDR, IDAT, IEND (ISO/IEC 15948)."""
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    rows = (b"\0" + bytes(colour) * width) * height
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    fixture = None

    def log_message(self, *_):
        pass

    def answer(self, status, body, content_type="application/json"):
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.send_response(status)
        self.send_header("Content-Type", content_type)
        self.send_header("Content-Length", str(len(data)))
        self.send_header("Content-Security-Policy", POLICY)
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cache-Control", "no-cache")
        self.end_headers()
        self.wfile.write(data)

    def do_GET(self):
        if self.fixture.is_dead:
            self.close_connection = True
            return
        url = urllib.parse.urlsplit(self.path)
        asked = {key: values[0] for key, values in urllib.parse.parse_qs(url.query).items()}
        unit = re.fullmatch(r"/api/v1/units/([^/]+)/(history|findings|ready|clips|wiggle)", url.path)
        if url.path == "/":
            self.file(WEB / "index.html")
        elif url.path.startswith("/assets/"):
            name = pathlib.Path(url.path).name
            self.file(DYGRAPHS / name if name.startswith("dygraph.") else WEB / name)
        elif url.path == "/api/v1/bench":
            self.answer(200, self.fixture.bench)
        elif url.path == "/api/v1/alarms":
            self.answer(200, {"alarms": self.fixture.bench["alarms"]})
        elif url.path == "/api/v1/runs":
            self.answer(200, {"runs": canned_book.runs()})
        elif sealed := re.fullmatch(r"/api/v1/runs/(\d+)/seal", url.path):
            self.answer(200, {"run": int(sealed.group(1)), **canned_book.SEAL})
        elif compared := re.fullmatch(r"/api/v1/runs/(\d+)/compare", url.path):
            self.answer(200, canned_book.comparison(int(compared.group(1)), int(asked["with"])))
        elif url.path == "/api/v1/cards":
            self.answer(200, canned_book.find(self.fixture.cards, asked.get("find", "")))
        elif url.path == "/api/v1/memory":
            self.answer(200, canned_book.memory(asked))
        elif card := next((one for one in self.fixture.cards if url.path == f"/api/v1/cards/{one['name']}"), None):
            self.answer(200, {"card": card})
        elif url.path.startswith("/api/v1/photos/"):
            self.answer(200, picture(canned_book.PHOTOS[url.path.rsplit("/", 1)[1]]), "image/png")
        elif url.path == "/api/v1/stream":
            self.stream()
        elif url.path == "/api/v1/cautions":
            self.answer(200, {"cautions": [{"key": key, "sentence": sentence} for key, sentence in canned_night.CAUTIONS]})
        elif url.path == "/api/v1/wiring/devices":
            self.answer(200, self.fixture.wiring.fresh())
        elif url.path == "/api/v1/wiring/search":
            self.answer(200, self.fixture.wiring.state(asked))
        elif url.path == "/api/v1/morning":
            self.answer(200, self.morning())
        elif unit and self.fixture.unit(urllib.parse.unquote(unit.group(1))):
            self.unit(urllib.parse.unquote(unit.group(1)), unit.group(2), asked)
        else:
            self.answer(404, {"error": "no such address", "hint": ""})

    def unit(self, name, what, asked):
        if what == "findings":
            run = self.fixture.unit(name)["run"]
            return self.answer(200, {"run": run and run["id"], "findings": canned_bench.findings(name)})
        if what == "clips":
            return self.answer(200, self.fixture.wiring.clips(self.fixture.unit(name)))
        if what == "wiggle":
            return self.answer(200, self.fixture.wiring.wiggle(self.fixture.unit(name)))
        if what == "ready":
            return self.answer(200, canned_night.ready(name, asked.get("who", "")))
        to_s = float(asked["to_s"]) if "to_s" in asked else None
        self.answer(200, canned_bench.history(self.fixture.bench["units"], name, asked["points"].split(","), float(asked.get("from_s", 0)), to_s, int(asked.get("buckets", 600))))

    def file(self, path):
        if not path.is_file():
            return self.answer(404, {"error": f"no file {path.name}", "hint": ""})
        self.answer(200, path.read_bytes(), TYPES[path.suffix])

    def stream(self):
        mine = queue.Queue()
        with self.fixture.lock:
            self.fixture.streams.append(mine)
        self.send_response(200)
        self.send_header("Content-Type", "text/event-stream")
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.close_connection = True
        try:
            self.wfile.write(f"id: {self.fixture.last_id}\nevent: bench\ndata: {json.dumps(self.fixture.bench)}\n\n".encode())
            while (text := mine.get()) is not None:
                self.wfile.write(text.encode())
        except OSError:
            pass
        finally:
            with self.fixture.lock:
                self.fixture.streams.remove(mine)

    def morning(self):
        sheet = canned_night.morning({alarm["id"]: alarm["message"] for alarm in canned_bench.alarms()})
        for item in (item for unit in sheet["units"] for item in unit["items"]):
            if item["id"] in self.fixture.ticks:
                item.update(is_ticked=True, ticked_by=self.fixture.ticks[item["id"]])
        return sheet

    def order(self, path, body):
        """What the daemon would do, as far as the page shows it: the answer, or None."""
        bench = self.fixture.bench
        parts = [urllib.parse.unquote(part) for part in path.split("/")[3:]]
        if parts[0] == "incidents":
            incident = next(one for one in bench["incidents"] if one["id"] == int(parts[1]))
            incident.update(is_acknowledged=True, acknowledged_by=body["who"])
            return {"incident": incident}
        if parts[0] == "benches":
            supply = next(one for one in bench["benches"] if one["name"] == parts[1])
            if parts[2] == "cut":
                supply["contactor"].update(state="open", reason=f"{body['who']} cut the bench")
            if parts[2] == "close":
                supply["contactor"].update(state="closed", reason="")
            if parts[2] == "rehearse":
                supply["rehearsal"] = {"state": "running", "unit": body["unit"], "utc": "", "who": body["who"], "text": "the unit's relay is open"}
            return {"bench": supply}
        if parts[0] == "cards":
            return canned_book.add_entry(self.fixture.cards, parts[1], body)
        if parts[0] == "morning":
            self.fixture.ticks[body["id"]] = body["who"]
            return {"id": body["id"], "ticked_by": body["who"]}
        if parts[-1] == "facts":
            return {"ready": canned_night.ready(parts[1], body["who"])}
        if parts[-1] == "acts" and body["kind"] == "shelve":
            alarm = next(one for one in bench["alarms"] if one["id"] == body["alarm"])
            alarm.update(state="shelved", shelved_until_s=canned_bench.NOW_S + 60 * body["minutes"], changed_by=body["who"], why=body["why"])
        return None

    def do_POST(self):
        content = self.rfile.read(int(self.headers["Content-Length"]))
        if "/photos?" in self.path:
            self.fixture.posted.append((self.path, self.headers["Content-Type"], content))
            return self.answer(200, {"card": self.fixture.cards[0]})
        body = json.loads(content)
        self.fixture.posted.append((self.path, self.headers["Content-Type"], body))
        acknowledged = re.fullmatch(r"/api/v1/alarms/(\d+)/acknowledge", self.path)
        if acknowledged:
            alarm = next(a for a in self.fixture.bench["alarms"] if a["id"] == int(acknowledged.group(1)))
            alarm.update(state="acknowledged", acknowledged_by=body["who"])
            self.answer(200, {"alarm": alarm})
            self.fixture.tell_bench()
        elif self.path.startswith("/api/v1/wiring/"):
            status, answer = self.fixture.wiring.look(body) if self.path.endswith("/look") else (200, self.fixture.wiring.stop())
            self.answer(status, answer)
        elif self.path.endswith("/touched"):
            self.answer(200, self.fixture.wiring.touched(self.fixture.unit(urllib.parse.unquote(self.path.split("/")[4])), body))
        elif self.path.endswith("/stop"):
            self.answer(409, {"error": "nothing is going on", "hint": "a run must be started first"})
        else:
            self.answer(200, self.order(self.path, body) or {"unit": self.fixture.bench["units"][0]})
            self.fixture.tell_bench()


class Server(http.server.ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request, client_address):
        if not isinstance(sys.exc_info()[1], OSError):  # a browser that leaves is no error
            super().handle_error(request, client_address)


def serve(fixture, port=0):
    """Returns the server, which runs in threads of its own; its port is server.server_address[1]."""
    handler = type("BoundHandler", (Handler,), {"fixture": fixture})
    server = Server(("127.0.0.1", port), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


if __name__ == "__main__":
    served = serve(Fixture(), int(sys.argv[1]) if len(sys.argv) > 1 else 8470)
    print(f"http://127.0.0.1:{served.server_address[1]}/")
    threading.Event().wait()
