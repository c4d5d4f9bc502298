#!/usr/bin/python3
"""steadyglow scan against pymodbus: what answers, what its registers hold, and the lines to copy. scan_command.py STEADYGLOW"""
import os
import re
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))


def run(*words, expect=0):
    done = subprocess.run(words, capture_output=True, text=True, timeout=120)
    assert done.returncode == expect, f"{words}: exit {done.returncode}, not {expect}\n{done.stdout}{done.stderr}"
    return done.stdout, done.stderr


def channel(text):
    """The first [[channel]] that was printed."""
    return re.search(r"\[\[channel\]\]\n(?:\w+ = .*\n)+", text).group(0)


def main():
    program = sys.argv[1]
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
        run(program, "scan", expect=64)
        run(*scan, "--address", "11", "--uom", "furlong", expect=64)
    finally:
        server.stdin.close()
        server.wait(timeout=10)
    print("scan: good")


if __name__ == "__main__":
    main()
