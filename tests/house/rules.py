#!/usr/bin/python3
"""The rules of the house, as far as a script can see them.

rules.py ROOT     checks the tree and lists every breach as file:line: rule
rules.py --prove  plants one breach of each rule in a scratch tree and fails unless it is found
"""
import os
import re
import subprocess
import sys
import tempfile

# Arrows: what a room may include besides itself and the standard library.
ROOMS = {
    "core": set(),
    "document": {"core"},
    "sensor": {"core", "document"},
    "reliability": {"core"},
    "profile": {"core", "document"},
    "analysis": {"core", "profile"},
    "alarm": {"core"},
    "soak": {"core", "profile", "analysis", "alarm"},
    "drivers": {"core", "document"},
    "acquire": {"core", "drivers"},
    "outlet": {"core"},
    "store": {"core"},
    "card": {"core", "reliability"},
    "record": {"core", "document", "profile", "analysis", "alarm", "soak", "store", "card"},
    "seal": {"core", "document", "profile", "soak", "store", "card", "record"},
    "notify": {"core", "document", "alarm"},
    "http": {"core"},
    "dashboards": set(),
    "app": {"core", "document", "sensor", "profile", "analysis", "alarm", "soak", "drivers", "acquire", "outlet", "store", "reliability", "card", "record", "seal", "notify",
            "http", "dashboards"},
}
PURE = {"core", "document", "sensor", "reliability", "profile", "analysis", "alarm", "soak", "card"}

# Library -> the only places that may include it.
LIBRARY_HOMES = {
    r"<modbus": {"drivers/modbus", "demo"},
    r"<sqlite3": {"daemon/store"},
    r"<zip\.h": {"daemon/seal"},
    r"<zstd": {"daemon/seal"},
    r"<toml\+\+": {"daemon/document"},
    r"<boost/beast": {"daemon/http"},
    r"<prometheus/": {"daemon/http"},
    r"<CLI/": {"daemon/app", "demo"},
    r"<Eigen/": {"daemon/analysis", "daemon/reliability"},
    r"<sodium": {"daemon/http", "daemon/app", "daemon/notify", "daemon/seal"},
    r"<curl/": {"daemon/notify"},
    r"<cairo": {"daemon/notify", "daemon/record"},
    r"<pango": {"daemon/notify", "daemon/record"},
    r"<mosquitto": {"daemon/notify", "drivers/mqtt"},
    r"<gpiod": {"drivers/gpio"},
    r"<linux/usb/tmc": {"drivers/wire"},
}
BEAST_UNITS_MAX = 3
LINES_MAX = 600
TOP_LEVEL = {"CMakeLists.txt", "README.md", "DEVELOPERS.md", "SAFETY.md", "LICENSE", "CMakePresets.json", "daemon", "drivers", "dashboards",
             "tests", "config", "demo", ".ci", ".gitignore"}

PURE_FORBIDDEN = [
    (r"#include <(fstream|iostream|thread|mutex|atomic|condition_variable|filesystem|unistd\.h|sys/[^>]*|boost/asio[^>]*|spdlog[^>]*)>",
     "a pure room includes a clock, file, thread or log"),
    (r"\b(system_clock|steady_clock|high_resolution_clock|clock_gettime|getenv|std::rand|random_device)\b", "a pure room looks at a clock or at its surroundings"),
]
EVERYWHERE_FORBIDDEN = [
    (r"\b(strtod|strtof|atof|atoi|atol|std::stod|std::stof|std::stoi|std::stol|sscanf)\b", "reads a number by the locale: use core/decimal.hpp or from_chars"),
    (r"\basio::detached\b", "bare detached swallows exceptions"),
    (r"\bMODBUS_ERROR_RECOVERY_LINK\b", "this recovery mode never returns once the port is gone"),
    (r"\b(TO" r"DO|FIX" r"ME|XX" r"X)\b", "unfinished by its own words"),
    (r"#include <boost/(asio|beast)\.hpp>", "the umbrella header: name the exact one"),
]


def sources(root):
    for top in ("daemon", "drivers", "dashboards", "demo", "tests"):
        for folder, folders, files in os.walk(os.path.join(root, top)):
            folders[:] = [f for f in folders if f not in ("build", ".state", "node_modules", "__pycache__")]
            for name in sorted(files):
                if name.endswith((".hpp", ".cpp")):
                    yield os.path.relpath(os.path.join(folder, name), root)


def room_of(path):
    parts = path.split("/")
    if parts[0] == "daemon" and len(parts) > 2:
        return parts[1]
    if parts[0] in ("drivers", "dashboards"):
        return parts[0]
    return None


def room_of_include(target):
    first = target.split("/")[0]
    return first if first in ROOMS else None


def check(root):
    breaches = []
    beast_units = []
    for path in sources(root):
        with open(os.path.join(root, path), encoding="utf-8") as file:
            lines = file.read().splitlines()
        room = room_of(path)
        if len(lines) > LINES_MAX:
            breaches.append(f"{path}:{LINES_MAX}: longer than {LINES_MAX} lines: is it one thing?")
        if room and path.endswith(".hpp") and not any("#pragma once" in line for line in lines[:3]):
            breaches.append(f"{path}:1: a header begins with #pragma once")
        for number, line in enumerate(lines, 1):
            here = f"{path}:{number}: "
            code = re.sub(r"//.*", "", line)
            include = re.match(r'\s*#include "([^"]+)"', line)
            if room and include:
                other = room_of_include(include.group(1))
                if other and other != room and other not in ROOMS.get(room, set()):
                    breaches.append(here + f"{room} must not know {other}")
            if room in PURE:
                breaches += [here + why for pattern, why in PURE_FORBIDDEN if re.search(pattern, code)]
            breaches += [here + why for pattern, why in EVERYWHERE_FORBIDDEN if re.search(pattern, code)]
            for pattern, homes in LIBRARY_HOMES.items():
                if re.search(r"#include " + pattern, line) and not any(path.startswith(home + "/") for home in homes | {"tests"}):
                    breaches.append(here + f"this library lives in {', '.join(sorted(homes))} only")
            if "#include <boost/beast" in line and path.startswith("daemon/") and path.endswith(".cpp"):
                beast_units.append(path)
    if len(set(beast_units)) > BEAST_UNITS_MAX:
        breaches.append(f"daemon/http:1: Beast is compiled in {len(set(beast_units))} units, at most {BEAST_UNITS_MAX}")
    tracked = subprocess.run(["git", "-C", root, "ls-files"], capture_output=True, text=True).stdout.splitlines()
    for top in sorted({name.split("/")[0] for name in tracked}):
        if top not in TOP_LEVEL:
            breaches.append(f"{top}:1: the top level is fixed")
    return breaches


PLANTED = {
    "daemon/core/a.hpp": ('#pragma once\n#include "soak/engine.hpp"\n', "core must not know soak"),
    "daemon/soak/b.cpp": ("#include <fstream>\n", "a pure room includes"),
    "daemon/analysis/c.cpp": ("auto now = std::chrono::steady_clock::now();\n", "a pure room looks at a clock"),
    "daemon/app/d.cpp": ("double x = std::stod(text);\n", "by the locale"),
    "daemon/http/e.cpp": ("run(boost::asio::detached);\n", "bare detached"),
    "daemon/store/f.cpp": ("#include <modbus/modbus.h>\n", "this library lives in"),
    "daemon/app/g.hpp": ("int x;\n", "begins with #pragma once"),
    "drivers/h.cpp": ('#include "profile/profile.hpp"\n', "drivers must not know profile"),
    "daemon/acquire/i.cpp": ("//\n" * 700, "longer than"),
    "demo/j.cpp": ("// fine\nint y;  /* " + "TO" + "DO */\n", "unfinished"),
    "tests/k.cpp": ("#include <boost/asio.hpp>\n", "umbrella"),
    "extra/l.txt": ("x\n", "top level is fixed"),
}


def prove():
    with tempfile.TemporaryDirectory() as root:
        subprocess.run(["git", "init", "-q", root], check=True)
        for path, (text, _) in PLANTED.items():
            os.makedirs(os.path.dirname(os.path.join(root, path)), exist_ok=True)
            with open(os.path.join(root, path), "w", encoding="utf-8") as file:
                file.write(text)
        subprocess.run(["git", "-C", root, "add", "."], check=True)
        found = check(root)
    missed = [path for path, (_, why) in PLANTED.items() if not any(path.split("/")[0] in b and why in b for b in found)]
    for path in missed:
        print(f"planted breach not found: {path}")
    print(f"{len(PLANTED) - len(missed)} of {len(PLANTED)} planted breaches found")
    return 1 if missed else 0


def main():
    if sys.argv[1:] == ["--prove"]:
        return prove()
    breaches = check(sys.argv[1])
    for breach in breaches:
        print(breach)
    print(f"{len(breaches)} breaches")
    return 1 if breaches else 0


if __name__ == "__main__":
    sys.exit(main())
