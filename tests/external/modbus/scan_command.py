#!/usr/bin/python3
"""steadyglow scan against pymodbus: what answers, what its registers hold, and the lines to copy. scan_command.py STEADYGLOW"""
import os
import pathlib
import re
import signal
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty

from pymodbus.utilities import computeCRC

HERE = os.path.dirname(os.path.abspath(__file__))


def run(*words, expect=0):
    done = subprocess.run(words, capture_output=True, text=True, timeout=120)
    assert done.returncode == expect, f"{words}: exit {done.returncode}, not {expect}\n{done.stdout}{done.stderr}"
    return done.stdout, done.stderr


def channel(text):
    """The first [[channel]] that was printed."""
    return re.search(r"\[\[channel\]\]\n(?:\w+ = .*\n)+", text).group(0)


class Line:
    """A serial line with one device on it, address 3, which holds 4711 and hears nothing but its own baud rate."""

    def __init__(self, speed):
        self.near, self.far = os.openpty()
        tty.setraw(self.far)
        self.name, self.speed = os.ttyname(self.far), speed
        threading.Thread(target=self.serve, daemon=True).start()

    def serve(self):
        while True:
            asked = os.read(self.near, 256)
            if termios.tcgetattr(self.far)[5] != self.speed or asked[:2] != b"\x03\x03":
                continue
            count = int.from_bytes(asked[4:6], "big")
            answer = bytes([3, 3, 2 * count]) + (4711).to_bytes(2, "big") * count
            os.write(self.near, answer + computeCRC(answer).to_bytes(2, "big"))


def a_rate_that_nobody_knows(program, folder):
    line = Line(termios.B19200)
    scan = [program, "scan", "--serial", line.name, "--timeout", "0.05"]
    out, err = run(*scan, "--baud", "9600,19200,115200", "--parity", "even", "--first", "1", "--last", "4")
    assert "9600 baud: 4 addresses asked" in out and "19200 baud: 4 addresses asked" in out and "115200" not in out, out
    assert "9600 baud, 0 of 4 asked" in err and "19200 baud, 0 of 4 asked" in err, err
    following = re.search(r"^Next: steadyglow (.*)$", out, re.M).group(1)
    assert f"--serial {line.name} --baud 19200 --parity even --address 3" in following, following
    out, _ = run(*scan, "--baud", "usual", "--first", "3", "--last", "3")
    assert "19200 baud: 1 addresses asked" in out, out
    out, _ = run(*scan, "--baud", "9600,57600", "--last", "4", expect=1)
    assert "57600 baud: 4 addresses asked" in out and "Nothing answers" in out, out
    assert "one rate after the other" in run(*scan, "--last", "2", expect=1)[0]

    # What is printed next has the whole place in it, as far as a configuration's lines.
    out, _ = run(program, "scan", "--serial", line.name, "--baud", "19200", "--parity", "even", "--stop-bits", "2", "--address", "3", "--count", "2", "--expect", "4711", "--timeout", "1.5")
    following = re.search(r"steadyglow (new-bench .*)$", out, re.M).group(1).split()
    (folder / "channels.toml").write_text(channel(out))
    subprocess.run([program, *following, "--rts", "after", "--echo"], cwd=folder, check=True, capture_output=True, timeout=60)
    lines = (folder / "bench" / "steadyglow.toml").read_text()
    for word in (f'device = "{line.name}"', "baud = 19200", 'parity = "even"', "stop_bits = 2", "timeout_seconds = 1.5", 'rts = "after"', "echo = true"):
        assert word in lines, lines

    assert "is no baud rate" in run(*scan, "--baud", "9600,12345", expect=64)[1]
    assert "one --baud" in run(*scan, "--baud", "9600,19200", "--address", "3", expect=64)[1]


def words_that_are_refused(program, scan):
    run(program, "scan", expect=64)
    run(*scan, "--address", "11", "--uom", "furlong", expect=64)
    assert "not 0" in run(*scan, "--address", "11", "--expect", "0", expect=64)[1]
    for tcp in ("127.0.0.1:abc", "127.0.0.1:0", "localhost"):
        for command in (["scan"], ["probe"], ["new-bench", "/nonexistent/bench", "--channels", __file__]):
            assert "192.168.40.21" in run(program, *command, "--tcp", tcp, expect=64)[1], (command, tcp)


def rounds_without_an_answer(scan):
    out, err = run(*scan, "--address", "99", "--timeout", "0.05", "--live", "--rounds", "3", "--every", "0.1", expect=69)
    assert err.count("no answer in time") == 3, err
    # Ctrl-C ends the pause, however long that is.
    live = subprocess.Popen([*scan, "--address", "11", "--table", "input", "--count", "4", "--live", "--every", "60"], stdout=subprocess.PIPE, text=True)
    assert "input registers from 0 on" in live.stdout.readline()
    time.sleep(0.3)
    began = time.monotonic()
    live.send_signal(signal.SIGINT)
    live.communicate(timeout=60)
    assert live.returncode == 0 and time.monotonic() - began < 5.0, (live.returncode, time.monotonic() - began)


def main():
    program = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        a_rate_that_nobody_knows(program, pathlib.Path(folder))
    server = subprocess.Popen(["/usr/bin/python3", os.path.join(HERE, "server.py"), "tcp"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        port = server.stdout.readline().split()[1]
        scan = [program, "scan", "--tcp", "127.0.0.1:" + port]

        # An unknown module: which address, which register, which type? Only what the tool prints is used.
        began = time.monotonic()
        out, _ = run(*scan, "--first", "10", "--last", "20")
        found = [int(number) for number in re.findall(r"address +(\d+)  answers", out)]
        assert found == [11, 12, 13, 14, 15, 16, 17], out
        assert "11 addresses asked" in out and "7 answer, 4 silent, 0 with noise" in out, out
        assert "calls itself Test bench,eight kinds,1.0" in out, out
        assert "(with exception 2: it is there" in out, out

        window = [*scan, "--address", "12", "--table", "input", "--from", "0", "--count", "16"]
        out, _ = run(*window, "--expect", "0.38")
        assert "there: int32 CDAB x0.000001" in out, out
        assert all(len(line) <= 100 for line in out.splitlines() if not line.startswith("[") and "=" not in line), max(out.splitlines(), key=len)
        lines = channel(out)
        assert 'table = "input"' in lines and "address = 0 " in lines and "30001" in lines and 'word_order = "CDAB"' in lines and "scale = 0.000001" in lines, lines

        print(f"from an unknown module to the lines that read it: {time.monotonic() - began:.1f} s of the tool's time")

        # Mains by sight, and one register beside the window.
        out, _ = run(*scan, "--address", "15", "--table", "input", "--count", "10")
        assert "mains V? 230.5 f ABCD" in out and "mains Hz? 50.00 f ABCD" in out, out
        out, _ = run(*scan, "--address", "13", "--from", "1", "--count", "4", "--expect", "23.41", "--quantity", "temperature", "--uom", "Cel")
        assert "one register below the window" in out and "address = 0 " in channel(out) and 'uom = "Cel"' in channel(out), out

        # Bits, live rounds, and what goes wrong.
        out, _ = run(*scan, "--address", "17", "--table", "discrete", "--count", "8")
        assert re.search(r" 7 +10008  1", out), out
        out, _ = run(*scan, "--address", "11", "--table", "input", "--count", "4", "--live", "--rounds", "3", "--every", "0.1")
        assert out.count("input registers from 0 on") == 3, out
        _, err = run(*scan, "--address", "99", "--timeout", "0.1", expect=69)
        assert "no answer in time" in err and "shows which addresses answer" in err, err
        _, err = run(program, "scan", "--serial", "ttyUSB0", expect=64)
        assert "steadyglow devices" in err, err
        _, err = run(program, "scan", "--serial", "/nonexistent/port", expect=69)
        assert "/nonexistent/port" in err, err
        rounds_without_an_answer(scan)
        words_that_are_refused(program, scan)
    finally:
        server.stdin.close()
        server.wait(timeout=10)
    print("scan: good")


if __name__ == "__main__":
    main()
