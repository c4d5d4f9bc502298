#!/usr/bin/python3
"""From an instrument that nobody knows to its first reading by what `steadyglow probe` prints alone; then another one on its plug."""
import json
import pathlib
import re
import socket
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import free_port, named_options, Processes, SHORT_PLAN, write_files  # noqa: E402

IDN = "Example Instruments,EX-1,0001,1.0"
PROFILE = """[profile]
kind = "tube-pp-fixed-bias"
[[point]]
name = "heater_v"
quantity = "voltage"
uom = "V"
role = "heater"
nominal = 6.3
"""
UNIT = '[[unit]]\nname = "amp_1"\nprofile = "amp"\nplan = "short"\n[[unit.point]]\nname = "heater_v"\nchannel = "meter_1.volts"\n'


class Peer:
    def __init__(self, processes, script, *words):
        self.process = subprocess.Popen(["/usr/bin/python3", script, "--control", "0", "--values", "6.31", *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        processes.running.append(self.process)
        said = self.process.stdout.readline().split()
        assert said[0] == "ready", said
        self.place = said[2]
        self.control = socket.create_connection(("127.0.0.1", int(said[4]))).makefile("rw")

    def tell(self, **order):
        self.control.write(json.dumps(order) + "\n")
        self.control.flush()
        answer = json.loads(self.control.readline())
        assert answer["ok"], answer
        return answer.get("report")


def run(command, *words):
    done = subprocess.run([command, *map(str, words)], capture_output=True, text=True, timeout=120)
    return done.returncode, done.stdout, done.stderr


def lines_to_copy(text):
    return text[text.index("[[bus]]"):]


def check(options, processes, name, peer, place_words, expected_terminator):
    folder = processes.folder
    (folder / "instruments").mkdir(exist_ok=True)
    instruments = pathlib.Path(__file__).resolve().parents[3] / "config" / "instruments"
    for file in instruments.glob("scpi-*.toml"):
        (folder / "instruments" / file.name).write_text(file.read_text())
    code, out, err = run(options.command, "probe", *place_words)
    assert code == 0 and IDN in out and "READ? -> +6.31000000E+00\n" in out, (code, out, err)
    copied = lines_to_copy(out)
    assert ("terminator = " + expected_terminator in copied) if expected_terminator else "terminator" not in copied, copied
    config = folder / f"{name}.toml"
    write_files(folder, {"profiles/amp.toml": PROFILE, "plans/short.toml": SHORT_PLAN})
    head = f'[daemon]\nstore = "{name}.db"\nlisten = "127.0.0.1:{free_port()}"\n'
    config.write_text(head + copied + UNIT)
    code, out, err = run(options.command, "probe", config)
    assert code == 0 and "answered 3 of 3\n" in out and "6.3100 V" in out and "identity" not in out, (code, out, err)
    config.write_text(head + re.sub(r"identity = .*\n", "", copied) + UNIT)
    code, out, err = run(options.command, "probe", config)
    assert code == 0 and f'identity = "{IDN}"' in out, (code, out, err)
    config.write_text(head + copied + UNIT)
    peer.tell(idn="Example Instruments,EX-1,0777,1.0")
    code, out, err = run(options.command, "probe", config)
    assert code != 0 and f"`Example Instruments,EX-1,0777,1.0` answers where `{IDN}` is bound" in out and "other_meter" in out and "6.31" not in out, (code, out, err)
    assert peer.tell(report=True)["resets"] == 0
    print(name, "good")


def main():
    options = named_options("command", "folder")
    script = pathlib.Path(__file__).with_name("scpi_peer.py")
    with Processes(options.folder) as processes:
        peer = Peer(processes, script, "--tcp", "0")
        check(options, processes, "lan", peer, ["--tcp", "127.0.0.1:" + peer.place], None)
        line = processes.folder / "line.pty"
        peer = Peer(processes, script, "--pty", str(line), "--baud", "19200", "--input-end", "crlf")
        check(options, processes, "serial", peer, ["--serial", line], '"\\r\\n"')


main()
