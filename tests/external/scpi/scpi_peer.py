#!/usr/bin/python3
"""An SCPI instrument that is not there: a multimeter, a ten-channel scanner and a supply in one, with faults that can be set.

Written from the standards alone, without a look at any driver: IEEE 488.2 for messages, common commands, status and response data;
SCPI-1999 volume 1 for headers (long and short form, optional nodes, the path of a compound message) and the special numbers, volume 2 for
the subsystems and the error queue. What it cannot do it refuses with the standard's error numbers.

  scpi_peer.py --tcp PORT                 listens on 127.0.0.1 (0: a free port)
  scpi_peer.py --pty LINK                 a pseudo-terminal; LINK is a symbolic link to its end
      --idn TEXT                          the answer to *IDN?             (default: Example Instruments,EX-1,0001,1.0)
      --values WHAT                       what it measures, one of
                                            a file that ends with .json: an object, read again at each query
                                            an expression of t (s since it began), w (s since 1970), n (number of the query),
                                            c (channel, 0 for none), as "5 + 0.1*c + sin(t)"; it is then whatever function is set
      --control PORT                      a second TCP port for commands to the peer itself (0: a free port; default: none)
      --input-end lf|crlf|cr|any          what ends a message for it (default lf; crlf wants both, any takes either)
      --output-end lf|crlf|cr|none        what it ends an answer with (default lf)
      --baud N                            with --pty: what comes at another speed is noise to it, and what it says is noise there
      --no-error-queue                    it does not know SYSTem:ERRor?
      --bridge                            with --tcp: answers of an old connection go to the newest one, as behind a serial bridge

It prints one line when it is ready, "ready tcp PORT control PORT" or "ready pty LINK control PORT" (control 0: none), and ends when its
standard input ends.

Values are an object: {"volts": 6.31, "ohms": 1e3, "amps": 0.1, "scan": [c1, ..., c10]}. A value is a number, or a text that is sent as it
is ("+9.9E37", "OL", "1.2 V"). A number is sent as NR3 with nine digits.

Control: one JSON object a line, answered by one: {"ok": true, ...} or {"ok": false, "why": "..."}. Keys, several at a time as one likes:
  {"values": {...}}         what it measures from now on, instead of --values; null: --values again
  {"idn": "..."}            it says that it is another one
  {"late_s": 0.3}           each answer comes so much later; the value is taken before the wait. 0: in time
  {"silent": true}          it takes messages and answers none
  {"noise": "..."}          these bytes (\\u00xx) before each answer; "": none
  {"half": "late"|"never"|""}   half an answer, and the rest after late_s, or never
  {"doubled": true}         each answer comes twice
  {"doubled_late_s": 0.1}   the second of them so much later
  {"lose_answers": 1}       so many of the coming answers are lost
  {"output_end": "cr"}      as --output-end
  {"format": "nr1"|"nr2"|"nr3"|"unit"}   how numbers are written; unit: with a V behind them
  {"times": 3}              the faults of this line (all keys above from late_s to output_end) end after so many answers
  {"well": true}            all faults end
  {"power_cycle": true}     settings, queue and status as at power on; connections close
  {"unplug": true}          no connection, no port; {"plug": true} brings it back under the same name
  {"knob": "RES"}           a person turns it to VOLT, RES or CURR at its panel
  {"report": true}          adds "report": counts of messages, answers, resets (*RST), errors, locals; output, function, remote; last messages
"""
import argparse
import json
import os
import pathlib
import queue
import re
import socket
import sys
import termios
import threading
import time
import tty

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from device_parts import arithmetic, serve_control  # noqa: E402

ENDS = {"lf": b"\n", "crlf": b"\r\n", "cr": b"\r", "none": b""}
QUEUE_DEPTH = 20
SPEEDS = {getattr(termios, "B%d" % n): n for n in (300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400)}
# SCPI-1999 volume 2, section 21.8
ERROR_TEXTS = {
    -101: "Invalid character", -102: "Syntax error", -104: "Data type error", -108: "Parameter not allowed", -109: "Missing parameter",
    -113: "Undefined header", -222: "Data out of range", -224: "Illegal parameter value", -350: "Queue overflow", -363: "Input buffer overrun",
}
ESR_POWER_ON, ESR_COMMAND, ESR_EXECUTION, ESR_DEVICE, ESR_COMPLETE = 128, 32, 16, 8, 1


class Refused(Exception):
    def __init__(self, code, detail=""):
        super().__init__(code)
        self.code, self.detail = code, detail


class Header:
    """A header as the standard writes it: SYSTem:ERRor[:NEXT]? Upper case is the short form, [ ] may be left out."""

    def __init__(self, notation):
        self.is_query = notation.endswith("?")
        body = notation.rstrip("?")
        nodes = re.findall(r"(\[?):?([A-Za-z*]+)(?::?)(\]?)", body)
        pattern = ""
        for opening, word, _ in nodes:
            short = re.match(r"\*?[A-Z]+", word).group(0)
            one = "(?:%s|%s)" % (re.escape(short.upper()), re.escape(word.upper()))
            pattern += "(?:%s:)?" % one if opening else one + ":"
        self.pattern = re.compile("^" + pattern + "$")

    def matches(self, header, is_query):
        return is_query == self.is_query and bool(self.pattern.match(header + ":"))


class Instrument:
    FUNCTIONS = {"VOLT": "volts", "RES": "ohms", "CURR": "amps"}

    def __init__(self, options):
        self.options = options
        self.idn = options.idn
        self.values = None
        self.number_format = "nr3"
        self.began = time.monotonic()
        self.counts = dict(messages=0, answers=0, resets=0, errors=0, locals=0, queries=0)
        self.last_messages = []
        self.power_on()
        self.commands = [(Header(notation), action) for notation, action in [
            ("*IDN?", lambda p: self.idn), ("*RST", self.reset), ("*CLS", self.clear_status), ("*ESR?", self.read_esr),
            ("*ESE", lambda p: self.set_mask("ese", p)), ("*ESE?", lambda p: str(self.masks["ese"])),
            ("*SRE", lambda p: self.set_mask("sre", p)), ("*SRE?", lambda p: str(self.masks["sre"])),
            ("*STB?", lambda p: str((4 if self.errors else 0) | (32 if self.esr & self.masks["ese"] else 0))),
            ("*OPC", self.complete), ("*OPC?", lambda p: "1"), ("*WAI", lambda p: None), ("*TST?", lambda p: "0"),
            ("SYSTem:VERSion?", lambda p: "1999.0"), ("SYSTem:LOCal", self.to_local), ("SYSTem:REMote", self.to_remote),
            ("CONFigure[:SCALar]:VOLTage[:DC]", lambda p: self.configure("VOLT", p)), ("CONFigure[:SCALar]:RESistance", lambda p: self.configure("RES", p)),
            ("CONFigure[:SCALar]:CURRent[:DC]", lambda p: self.configure("CURR", p)), ("CONFigure?", lambda p: '"%s AUTO"' % self.function),
            ("[SENSe:]FUNCtion?", lambda p: '"%s"' % self.function), ("[SENSe:]FUNCtion[:ON]", self.set_function),
            ("READ?", self.read), ("FETCh?", self.read), ("INITiate[:IMMediate]", lambda p: None),
            ("MEASure[:SCALar]:VOLTage[:DC]?", lambda p: self.measure("VOLT", p)), ("MEASure[:SCALar]:RESistance?", lambda p: self.measure("RES", p)),
            ("MEASure[:SCALar]:CURRent[:DC]?", lambda p: self.measure("CURR", p)),
            ("ROUTe:SCAN", self.set_scan), ("ROUTe:SCAN?", lambda p: "(@%s)" % ",".join(map(str, self.scan))),
            ("OUTPut[:STATe]", self.set_output), ("OUTPut[:STATe]?", lambda p: "1" if self.output else "0"),
            ("[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]", self.set_level), ("[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]?", lambda p: self.number(self.level)),
        ]]
        if not options.no_error_queue:
            self.commands.append((Header("SYSTem:ERRor[:NEXT]?"), self.next_error))

    def power_on(self):
        self.errors, self.esr, self.masks = [], ESR_POWER_ON, dict(ese=0, sre=0)
        self.function, self.scan, self.output, self.level, self.remote = "VOLT", [], False, 0.0, False

    # ---- common commands and status
    def reset(self, _):
        self.counts["resets"] += 1
        self.function, self.scan, self.output, self.level = "VOLT", [], False, 0.0

    def clear_status(self, _):
        self.errors, self.esr = [], 0

    def read_esr(self, _):
        value, self.esr = self.esr, 0
        return str(value)

    def set_mask(self, which, parameter):
        if not re.fullmatch(r"\d+", parameter):
            raise Refused(-104 if parameter else -109)
        if int(parameter) > 255:
            raise Refused(-222)
        self.masks[which] = int(parameter)

    def complete(self, _):
        self.esr |= ESR_COMPLETE

    def complain(self, code, detail=""):
        self.counts["errors"] += 1
        self.esr |= ESR_COMMAND if code > -200 else ESR_EXECUTION if code > -300 else ESR_DEVICE
        if len(self.errors) < QUEUE_DEPTH:
            self.errors.append((code, detail))
        else:
            self.errors[-1] = (-350, "")

    def next_error(self, _):
        if not self.errors:
            return '0,"No error"'
        code, detail = self.errors.pop(0)
        return '%d,"%s%s"' % (code, ERROR_TEXTS[code], ";" + detail if detail else "")

    # ---- the subsystems
    def to_local(self, _):
        self.remote = False
        self.counts["locals"] += 1

    def to_remote(self, _):
        self.remote = True

    def configure(self, function, parameter):
        first = parameter.split(",")[0].strip().upper()
        if first and first not in ("AUTO", "DEF", "MIN", "MAX") and not re.fullmatch(r"[-+]?[\d.]+(E[-+]?\d+)?", first) and not first.startswith("(@"):
            raise Refused(-224, first)
        self.function = function

    def set_function(self, parameter):
        word = parameter.strip("\"' ").upper().split(":")[0]
        if word not in self.FUNCTIONS:
            raise Refused(-224, word)
        self.function = word

    def set_scan(self, parameter):
        self.scan = self.channels(parameter)

    def set_output(self, parameter):
        if parameter.upper() not in ("ON", "OFF", "1", "0"):
            raise Refused(-224 if parameter else -109, parameter)
        self.output = parameter.upper() in ("ON", "1")

    def set_level(self, parameter):
        try:
            level = float(parameter)
        except ValueError:
            raise Refused(-104 if parameter else -109, parameter) from None
        if not 0 <= level <= 60:
            raise Refused(-222, parameter)
        self.level = level

    @staticmethod
    def channels(parameter):
        found = re.fullmatch(r"\(@([\d,: ]+)\)", parameter.strip())
        if not found:
            raise Refused(-104 if parameter else -109, parameter)
        numbers = []
        for part in found.group(1).split(","):
            ends = [int(x) for x in part.split(":")]
            numbers += range(ends[0], ends[-1] + 1)
        if any(not 101 <= n <= 110 for n in numbers):
            raise Refused(-222, parameter)
        return numbers

    def measure(self, function, parameter):
        if "(@" in parameter:
            where = self.channels(parameter[parameter.index("(@"):])
            return ",".join(self.measured(function, n - 100) for n in where)
        self.function = function
        return self.measured(function, 0)

    def read(self, parameter):
        if parameter:
            raise Refused(-108, parameter)
        if self.scan:
            return ",".join(self.measured(self.function, n - 100) for n in self.scan)
        return self.measured(self.function, 0)

    def measured(self, function, channel):
        self.counts["queries"] += 1
        values = self.values
        if values is None and self.options.values.endswith(".json"):
            with open(self.options.values, encoding="utf-8") as file:
                values = json.load(file)
        if values is None:
            return self.number(arithmetic(self.options.values, t=time.monotonic() - self.began, w=time.time(), n=self.counts["queries"], c=channel))
        value = values["scan"][channel - 1] if channel else values[self.FUNCTIONS[function]]
        return value if isinstance(value, str) else self.number(value)

    def number(self, value):
        text = {"nr1": "%+d" % round(value), "nr2": "%.6f" % value, "nr3": "%+.8E" % value}.get(self.number_format)
        return text if text else "%.4f V" % value

    # ---- messages (IEEE 488.2 section 7; SCPI-1999 volume 1, section 6)
    def obey(self, message):
        """A whole program message; its response message, or nothing."""
        self.counts["messages"] += 1
        self.last_messages = (self.last_messages + [message])[-50:]
        if any(ord(c) > 126 or (ord(c) < 32 and c != "\t") for c in message):
            self.complain(-101)
            return None
        answers, path = [], ""
        for unit in self.units(message):
            try:
                answer, path = self.obey_unit(unit, path)
            except Refused as refusal:
                self.complain(refusal.code, refusal.detail)
                continue
            if answer is not None:
                answers.append(answer)
        return ";".join(answers) if answers else None

    @staticmethod
    def units(message):
        parts, start, quote = [], 0, ""
        for i, c in enumerate(message):
            if quote:
                quote = "" if c == quote else quote
            elif c in "\"'":
                quote = c
            elif c == ";":
                parts.append(message[start:i])
                start = i + 1
        parts.append(message[start:])
        return [part.strip() for part in parts if part.strip()]

    def obey_unit(self, unit, path):
        header, _, parameter = unit.partition(" ")
        is_query = header.endswith("?")
        name = header.rstrip("?").upper()
        if not re.fullmatch(r":?\*?[A-Z][A-Z0-9:]*", name):
            raise Refused(-102, unit)
        full = name.lstrip(":") if name[0] in ":*" else path + name
        for known, action in self.commands:
            if known.matches(full, is_query):
                if name[0] != "*":
                    path = full[:full.rindex(":") + 1] if ":" in full else ""
                return action(parameter.strip()), path
        raise Refused(-113, header)


class Faults:
    KEYS = ("late_s", "silent", "noise", "half", "doubled", "doubled_late_s", "lose_answers", "output_end")

    def __init__(self, output_end):
        self.usual_end = output_end
        self.end_all()

    def end_all(self):
        self.late_s = self.doubled_late_s = 0.0
        self.silent = self.doubled = False
        self.noise = self.half = ""
        self.lose_answers = 0
        self.output_end = self.usual_end
        self.times = None

    def count(self):
        if self.times is not None:
            self.times -= 1
            if self.times <= 0:
                self.end_all()


class Link:
    """Bytes from somebody who controls the instrument, and back."""

    def __init__(self, read, write, speed_is_right=lambda: True):
        self.read, self.write, self.speed_is_right = read, write, speed_is_right
        self.is_open = True

    def say(self, data):
        try:
            if self.is_open:
                self.write(data if self.speed_is_right() else bytes((b * 7 + 129) % 256 | 128 for b in data))
        except OSError:
            self.is_open = False


class Peer:
    def __init__(self, options):
        self.options = options
        self.instrument = Instrument(options)
        self.faults = Faults(options.output_end)
        self.lock = threading.RLock()
        self.inbox = queue.Queue()
        self.newest = None
        self.plugged = threading.Event()
        self.plugged.set()
        self.hang_ups = []
        threading.Thread(target=self.work, daemon=True).start()

    # ---- the instrument's own thread: one message after the other, answers in that order
    def work(self):
        while True:
            # What has come is obeyed, also when its sender has left since; the answer then reaches nobody, unless behind a bridge.
            link, message = self.inbox.get()
            with self.lock:
                answer = self.instrument.obey(message)
                faults = self.faults
                if answer is None:
                    continue
                late_s, half, doubled, second_late_s = faults.late_s, faults.half, faults.doubled, faults.doubled_late_s
                is_lost = faults.silent or faults.lose_answers > 0
                if faults.lose_answers > 0:
                    faults.lose_answers -= 1
                noise, data = faults.noise.encode("latin-1"), answer.encode("ascii") + ENDS[faults.output_end]
                self.instrument.counts["answers"] += 0 if is_lost else 1
                faults.count()
            if is_lost:
                continue
            self.deliver(link, noise, data, late_s, half)
            if doubled:
                time.sleep(second_late_s)
                self.say(link, noise + data)

    def deliver(self, link, noise, data, late_s, half):
        """The half is the answer's: noise that says a number, in the place of an answer that never comes, is a number to whoever listens."""
        if half:
            self.say(link, noise + data[:len(data) // 2])
            noise, data = b"", data[len(data) // 2:]
        if late_s:
            time.sleep(late_s)
        if half != "never":
            self.say(link, noise + data)

    def say(self, link, data):
        (self.newest if self.options.bridge and self.newest else link).say(data)

    # ---- what comes in
    def listen_to(self, link):
        with self.lock:
            self.newest = link
        waiting = b""
        while True:
            try:
                data = link.read()
            except OSError:
                data = b""
            if not data:
                link.is_open = False
                return
            if not link.speed_is_right():
                data = bytes((b * 5 + 131) % 256 | 128 for b in data)
            waiting += data
            messages, waiting = self.split(waiting)
            for message in messages:
                if message.strip():
                    self.inbox.put((link, message.decode("latin-1").strip()))

    def split(self, data):
        end = {"lf": b"\n", "crlf": b"\r\n", "cr": b"\r"}.get(self.options.input_end)
        if end is None:
            data, end = data.replace(b"\r", b"\n"), b"\n"
        *messages, rest = data.split(end)
        if self.options.input_end == "cr":
            messages = [m.lstrip(b"\n") for m in messages]
        return messages, rest[-65536:]

    # ---- ports
    def serve_tcp(self, port):
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen()
        port = listener.getsockname()[1]

        def accept(listener):
            while True:
                while True:
                    try:
                        client, _ = listener.accept()
                    except OSError:
                        break
                    client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    link = Link(lambda c=client: c.recv(4096), client.sendall)
                    self.hang_ups.append(lambda c=client: self.shut(c))
                    threading.Thread(target=self.listen_to, args=(link,), daemon=True).start()
                self.plugged.wait()
                listener = socket.socket()
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                listener.bind(("127.0.0.1", port))
                listener.listen()
                self.listener = listener

        self.listener = listener
        threading.Thread(target=accept, args=(listener,), daemon=True).start()
        return port

    @staticmethod
    def shut(connection):
        try:
            connection.shutdown(socket.SHUT_RDWR)
        except OSError:
            pass
        connection.close()

    def serve_pty(self, path):
        def open_it():
            master, slave = os.openpty()
            tty.setraw(slave)
            if os.path.islink(path):
                os.unlink(path)
            os.symlink(os.ttyname(slave), path)
            speed = lambda: not self.options.baud or SPEEDS.get(termios.tcgetattr(master)[5]) == self.options.baud
            self.pty = (master, slave)
            return Link(lambda: os.read(master, 4096), lambda data: os.write(master, data), speed)

        def serve(link):
            while True:
                self.listen_to(link)
                self.plugged.wait()
                link = open_it()

        threading.Thread(target=serve, args=(open_it(),), daemon=True).start()

    def unplug(self):
        self.plugged.clear()
        self.hang_up()
        if self.options.pty:
            os.unlink(self.options.pty)
            if self.newest:
                self.newest.is_open = False
            master, slave = self.pty
            os.close(slave)
            # The reader sits in read(2) on the master: with its last slave closed it gets EIO.
            time.sleep(0.05)
            os.close(master)
        else:
            self.shut(self.listener)

    def hang_up(self):
        hang_ups, self.hang_ups = self.hang_ups, []
        for hang_up in hang_ups:
            hang_up()

    # ---- control
    def control(self, order):
        answer = {"ok": True}
        with self.lock:
            instrument, faults = self.instrument, self.faults
            if order.get("well"):
                faults.end_all()
            for key in Faults.KEYS:
                if key in order:
                    setattr(faults, key, order[key])
            faults.times = order.get("times", faults.times)
            if "values" in order:
                instrument.values = order["values"]
            instrument.idn = order.get("idn", instrument.idn)
            instrument.number_format = order.get("format", instrument.number_format)
            if "knob" in order:
                instrument.function = order["knob"]
            if order.get("power_cycle"):
                while not self.inbox.empty():
                    self.inbox.get_nowait()
                instrument.power_on()
                self.hang_up()
            if order.get("unplug"):
                self.unplug()
            if order.get("plug"):
                self.plugged.set()
            if order.get("report"):
                answer["report"] = dict(instrument.counts, output=instrument.output, function=instrument.function, remote=instrument.remote,
                                        last_messages=instrument.last_messages, queue=len(instrument.errors))
        if order.get("plug"):
            time.sleep(0.1)
        return answer


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tcp", type=int)
    parser.add_argument("--pty")
    parser.add_argument("--idn", default="Example Instruments,EX-1,0001,1.0")
    parser.add_argument("--values", default="5 + c")
    parser.add_argument("--control", type=int)
    parser.add_argument("--input-end", choices=["lf", "crlf", "cr", "any"], default="lf")
    parser.add_argument("--output-end", choices=list(ENDS), default="lf")
    parser.add_argument("--baud", type=int)
    parser.add_argument("--no-error-queue", action="store_true")
    parser.add_argument("--bridge", action="store_true")
    options = parser.parse_args()
    if (options.tcp is None) == (options.pty is None):
        parser.error("one of --tcp and --pty")
    peer = Peer(options)
    control = 0 if options.control is None else serve_control(options.control, peer.control)
    if options.pty is None:
        print("ready tcp", peer.serve_tcp(options.tcp), "control", control, flush=True)
    else:
        peer.serve_pty(options.pty)
        print("ready pty", options.pty, "control", control, flush=True)
    try:
        while sys.stdin.buffer.read(4096):
            pass
    finally:
        if options.pty and os.path.islink(options.pty):
            os.unlink(options.pty)
        os._exit(0)


main()
