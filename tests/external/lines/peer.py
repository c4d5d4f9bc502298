#!/usr/bin/python3
"""A device that talks by itself and is not there: a board or a logger that prints lines, or a handheld meter that sends frames. Its faults can
be set while it talks. It shares no code with the drivers; the layouts are those of the heads of the files in config/instruments.

  peer.py --tcp PORT                      listens on 127.0.0.1 (0: a free port)
  peer.py --pty LINK                      a pseudo-terminal; LINK is a symbolic link to its end
      --what board|logger|segments|text   board: key=value lines with counter, id and checksum (board-lines-4ch)
                                          logger: comma-separated rows (logger-csv-8ch)
                                          segments, text: frames (handheld-14byte-segments, handheld-ascii-9byte)
      --id TEXT                           what a board calls itself                        (default: board-1)
      --checksum crc16_modbus|xor8|sum8|none   of a board                                  (default: crc16_modbus)
      --period S                          from one message to the next, in seconds         (default: 1)
      --ask                               it talks when it gets a line, and not by itself
      --boot S                            a board starts anew when somebody connects: so long it says other things, and its counter begins anew
      --values WHAT                       what it measures, one of
                                            a file that ends with .json: an object, read again for each message
                                            an expression of t (s since it began), n (number of the message), c (channel from 1), as "20 + c + sin(t)"
      --control PORT                      a second TCP port for commands to the peer itself (0: a free port; default: none)

It prints one line when it is ready, "ready tcp PORT control PORT" or "ready pty LINK control PORT" (control 0: none), and ends when its standard
input ends. Everybody who is connected hears the same; who does not read misses it.

Values are an object: {"channels": [v1, ..., v4 or v8]} or {"shown": 12.34}. A board or logger sends a text in the place of a number as it is
("open", "OL"). A board says two decimals, a logger four, a handheld four figures.

Control: one JSON object a line, answered by one: {"ok": true, ...} or {"ok": false, "why": "..."}. Keys, several at a time as one likes:
  {"values": {...}}        what it measures from now on, instead of --values; null: --values again
  {"id": "..."}            another board is on the wire
  {"period": 0.2}          as --period
  {"dial": "V"|"A"|"R"|"T"}   where a handheld's dial stands (volts, amperes, ohms, degrees; segments know no T)
  {"low_battery": true}, {"held": true}   what a handheld shows besides
  {"silent": true}         it says nothing (a handheld that switched itself off)
  {"stuck": true}          a board's program hangs: the same line again and again
  {"overload": true}       a handheld shows overload
  {"noise": 40}            so many random bytes before each message
  {"half": true}           only the first half of each message
  {"lose": 3}              so many bytes of each message are lost, at random places
  {"wrong_checksum": true} each checksum is off by a bit; a logger and segments have none and do not change
  {"late_s": 0.3}          each message comes so much after its values were taken
  {"times": 3}             the faults of this line (from silent on) end after so many messages
  {"well": true}           all faults end; id, dial and values stay
  {"restart": true}        as when somebody connects to a board with --boot
  {"unplug": true}         no connection, no port; {"plug": true} brings it back under the same name
  {"report": true}         adds "report": messages said, last (as text), counter, values of the last message
"""
import argparse
import json
import os
import pathlib
import random
import select
import socket
import sys
import threading
import time
import tty

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from device_parts import arithmetic, serve_control  # noqa: E402

CHANNELS = {"board": 4, "logger": 8, "segments": 1, "text": 1}
FAULTS = ("silent", "stuck", "overload", "noise", "half", "lose", "wrong_checksum", "late_s")
# Bits of the low halves of two bytes that make one figure: a, f, e in the first, b, g, c, d in the second.
SEGMENTS = {"0": (0b111, 0b1101), "1": (0b000, 0b0101), "2": (0b101, 0b1011), "3": (0b001, 0b1111), "4": (0b010, 0b0111), "5": (0b011, 0b1110),
            "6": (0b111, 0b1110), "7": (0b001, 0b0101), "8": (0b111, 0b1111), "9": (0b011, 0b1111), "L": (0b110, 0b1000), " ": (0, 0)}
CRC_TABLE = []
for index in range(256):
    for _ in range(8):
        index = index >> 1 ^ (0xA001 if index & 1 else 0)
    CRC_TABLE.append(index)


def checksum(kind, data):
    if kind == "crc16_modbus":
        crc = 0xFFFF
        for byte in data:
            crc = crc >> 8 ^ CRC_TABLE[(crc ^ byte) & 0xFF]
        return crc
    total = 0
    for byte in data:
        total = total ^ byte if kind == "xor8" else (total + byte) & 0xFF
    return total


def four_figures(value):
    """As a display shows it: the figures, and how many of them stand behind the point; nothing when it is too much."""
    for decimals in (3, 2, 1, 0):
        figures = round(abs(value) * 10 ** decimals)
        if figures <= 9999:
            return figures, decimals
    return None


class Device:
    """What is measured, and the words for it."""

    def __init__(self, options):
        self.what, self.options = options.what, options
        self.id = options.id
        self.values = None
        self.dial, self.low_battery, self.held = "V", False, False
        self.began = time.monotonic()
        self.counter = 0
        self.said = 0
        self.last_values = []

    def measure(self):
        values = self.values
        if values is None and self.options.values.endswith(".json"):
            with open(self.options.values, encoding="utf-8") as file:
                values = json.load(file)
        count = CHANNELS[self.what]
        if values is None:
            measured = [arithmetic(self.options.values, t=time.monotonic() - self.began, n=self.said, c=c) for c in range(1, count + 1)]
        else:
            measured = [values["shown"]] if count == 1 else values["channels"]
        self.last_values = measured
        return measured

    def message(self, is_wrong, is_overload):
        self.said += 1
        measured = self.measure()
        if self.what == "board":
            return self.line(measured, is_wrong)
        if self.what == "logger":
            texts = [v if isinstance(v, str) else "%.4f" % v for v in measured]
            return ('"%s",' % time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime()) + ",".join(texts) + "\r\n").encode("ascii")
        shown = None if is_overload else four_figures(measured[0])
        return self.segments(measured[0], shown) if self.what == "segments" else self.text(measured[0], shown, is_wrong)

    def line(self, measured, is_wrong):
        self.counter += 1
        parts = ["id=" + self.id, "n=%d" % self.counter]
        parts += ["t%d=%s" % (i, v if isinstance(v, str) else "%.2f" % v) for i, v in enumerate(measured, 1)]
        text = " ".join(parts)
        kind = self.options.checksum
        if kind != "none":
            text += " "
            value = checksum(kind, text.encode("ascii")) ^ (1 << random.randrange(8) if is_wrong else 0)
            text += "*%0*X" % (4 if kind == "crc16_modbus" else 2, value)
        return (text + "\n").encode("ascii")

    def segments(self, value, shown):
        low = [0] * 15  # from 1, as the file counts
        figures = " 0L " if shown is None else "%04d" % shown[0]
        for i, figure in enumerate(figures):
            low[2 + 2 * i], low[3 + 2 * i] = SEGMENTS[figure]
        if value < 0:
            low[2] |= 8
        if shown and shown[1]:
            low[10 - 2 * shown[1]] |= 8
        low[1] = 0b0011 | (0 if self.dial == "R" else 0b0100)
        low[12] |= 0b0100 if self.dial == "R" else 0
        low[12] |= 0b0001 if self.held else 0
        low[13] |= {"V": 0b0100, "A": 0b1000}.get(self.dial, 0) | (1 if self.low_battery else 0)
        return bytes(i << 4 | low[i] for i in range(1, 15))

    def text(self, value, shown, is_wrong):
        figures, decimals = shown or (0, 0)
        signs = 0x40 | (1 if value < 0 else 0) | (2 if shown is None else 0) | (4 if self.low_battery else 0)
        body = bytes([signs]) + b"%04d%d" % (figures, decimals) + self.dial.encode("ascii")
        return body + bytes([(sum(body) & 0xFF) ^ (1 << random.randrange(8) if is_wrong else 0)]) + b"\n"


class Peer:
    def __init__(self, options):
        self.options = options
        self.device = Device(options)
        self.lock = threading.RLock()
        self.listeners = {}  # descriptor -> what keeps it
        self.faults = {}
        self.times = None
        self.booting_until = 0.0
        self.last = b""
        self.server = self.near = self.far = None
        self.asked = threading.Event()

    # ---- the wire
    def plug(self):
        if self.options.pty:
            self.near, self.far = os.openpty()
            tty.setraw(self.far)
            os.set_blocking(self.near, False)
            if os.path.islink(self.options.pty):
                os.unlink(self.options.pty)
            os.symlink(os.ttyname(self.far), self.options.pty)
            with self.lock:
                self.listeners[self.near] = self.near
            return
        self.server = socket.socket()
        self.server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.server.bind(("127.0.0.1", self.options.tcp))
        self.server.listen(8)
        self.server.setblocking(False)
        self.options.tcp = self.server.getsockname()[1]

    def unplug(self):
        with self.lock:
            for keeper in self.listeners.values():
                if isinstance(keeper, socket.socket):
                    keeper.close()
            self.listeners.clear()
            if self.server:
                self.server.close()
                self.server = None
            if self.near is not None:
                os.unlink(self.options.pty)
                os.close(self.near)
                os.close(self.far)
                self.near = self.far = None

    def restart(self):
        self.booting_until = time.monotonic() + self.options.boot
        self.device.counter = 0
        if self.options.boot:
            self.tell_all(b"\x00boot rom 1\r\n# board is starting\r\n")

    def tell_all(self, data):
        for descriptor in list(self.listeners):
            try:
                os.write(descriptor, data)
            except BlockingIOError:
                pass  # who does not read misses it
            except OSError:
                self.drop(descriptor)

    def drop(self, descriptor):
        keeper = self.listeners.pop(descriptor, None)
        if isinstance(keeper, socket.socket):
            keeper.close()

    def attend(self):
        """New connections, and what is sent to us: only lines to a device that is asked matter."""
        while True:
            with self.lock:
                waiting = list(self.listeners) + ([self.server] if self.server else [])
            try:
                ready = select.select(waiting, [], [], 0.02)[0]
            except (OSError, ValueError):
                continue
            with self.lock:
                for one in ready:
                    self.attend_to(one)

    def attend_to(self, one):
        if one is self.server and self.server is not None:
            connection, _ = self.server.accept()
            connection.setblocking(False)
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.listeners[connection.fileno()] = connection
            self.restart()
        elif one in self.listeners:
            try:
                data = os.read(one, 4096)
            except BlockingIOError:
                return
            except OSError:
                data = b""
            if not data:
                self.drop(one)
            elif b"\n" in data:
                self.asked.set()

    # ---- talking
    def talk(self):
        due = time.monotonic()
        while True:
            if self.options.ask:
                self.asked.wait()
                self.asked.clear()
            else:
                due = max(due + self.options.period, time.monotonic())
                time.sleep(max(0.0, due - time.monotonic()))
            with self.lock:
                data, late_s = self.next_message()
            if late_s:
                time.sleep(late_s)
            if data:
                with self.lock:
                    self.tell_all(data)

    def next_message(self):
        faults = dict(self.faults)
        if self.times is not None and faults:
            self.times -= 1
            if self.times <= 0:
                self.faults, self.times = {}, None
        if time.monotonic() < self.booting_until:
            return b"# not yet\r\n", 0
        if faults.get("silent"):
            return b"", 0
        if not (faults.get("stuck") and self.last):
            self.last = self.device.message(faults.get("wrong_checksum"), faults.get("overload"))
        data = bytearray(self.last)
        if faults.get("half"):
            data = data[:len(data) // 2]
        for _ in range(faults.get("lose", 0)):
            if data:
                del data[random.randrange(len(data))]
        return bytes(random.randrange(256) for _ in range(faults.get("noise", 0))) + bytes(data), faults.get("late_s", 0)

    # ---- control
    def obey(self, order):
        answer = {"ok": True}
        known = FAULTS + ("values", "id", "period", "dial", "low_battery", "held", "times", "well", "restart", "unplug", "plug", "report")
        unknown = [key for key in order if key not in known]
        if unknown:
            raise ValueError("unknown: " + ", ".join(unknown))
        with self.lock:
            if order.get("well"):
                self.faults, self.times = {}, None
            for key in FAULTS:
                if key in order:
                    self.faults[key] = order[key]
            if "times" in order:
                self.times = order["times"]
            for key in ("values", "id", "dial", "low_battery", "held"):
                if key in order:
                    setattr(self.device, key, order[key])
            self.options.period = order.get("period", self.options.period)
            if order.get("unplug"):
                self.unplug()
            if order.get("plug"):
                self.plug()
            if order.get("restart"):
                self.restart()
            if order.get("report"):
                answer["report"] = {"messages": self.device.said, "last": self.last.decode("latin-1"), "counter": self.device.counter, "values": self.device.last_values}
        return answer


def main():
    parser = argparse.ArgumentParser(add_help=False)
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--tcp", type=int)
    where.add_argument("--pty")
    parser.add_argument("--what", choices=sorted(CHANNELS), default="board")
    parser.add_argument("--id", default="board-1")
    parser.add_argument("--checksum", choices=["crc16_modbus", "xor8", "sum8", "none"], default="crc16_modbus")
    parser.add_argument("--period", type=float, default=1.0)
    parser.add_argument("--ask", action="store_true")
    parser.add_argument("--boot", type=float, default=0.0)
    parser.add_argument("--values", default="20 + c")
    parser.add_argument("--control", type=int)
    options = parser.parse_args()
    peer = Peer(options)
    peer.plug()
    control_port = 0 if options.control is None else serve_control(options.control, peer.obey)
    threading.Thread(target=peer.attend, daemon=True).start()
    threading.Thread(target=peer.talk, daemon=True).start()
    place = "pty " + options.pty if options.pty else "tcp %d" % options.tcp
    print("ready %s control %d" % (place, control_port), flush=True)
    sys.stdin.read()
    if peer.near is not None:
        os.unlink(options.pty)
    os._exit(0)


main()
