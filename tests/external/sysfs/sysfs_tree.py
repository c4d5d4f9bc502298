#!/usr/bin/python3
"""A tree of files as the Linux kernel arranges its devices, to be read in place of /sys.

    sysfs_tree.py ROOT      makes the tree and obeys one line each on stdin, answering `done` or `unknown`
    from sysfs_tree import SysfsTree     the same from a program

    w1 ROM MILLIDEGREES             a 1-Wire thermometer, new or with a new reading
    w1-name ROM NAME                what stands in its `name` file (another one that answers in its place)
    w1-remove ROM                   pulled off the bus
    hwmon DEVICE NUMBER NAME        a monitoring chip: device path below devices/, the kernel's number now, its name
    hwmon-renumber DEVICE FROM TO   the same chip after a restart (FROM and TO must not both be taken)
    iio DEVICE NUMBER NAME          a converter, in the same way
    set DEVICE FILE TEXT            a file of a chip or converter: temp1_input, in_voltage0_raw, in_voltage_scale, temp1_label
    remove DEVICE                   taken out, whatever it was
Every file appears in one step: nobody reads half of one.
"""
import os
import shutil
import sys
from pathlib import Path


class SysfsTree:
    def __init__(self, root):
        self.root = Path(root)
        for place in ("bus/w1/devices", "class/hwmon", "bus/iio/devices", "devices"):
            (self.root / place).mkdir(parents=True, exist_ok=True)

    def write(self, path, text):
        half = path.with_name(path.name + ".half")
        half.write_text(f"{text}\n")
        os.rename(half, path)

    def link(self, place, target):
        path = self.root / place
        new = path.with_name("." + path.name)
        if new.is_symlink():
            new.unlink()
        new.symlink_to(target.resolve())
        os.rename(new, path)

    def w1(self, rom, millidegrees):
        device = self.root / "devices/w1_bus_master1" / rom
        if not device.exists():
            device.mkdir(parents=True)
            self.write(device / "name", rom)
        self.write(device / "temperature", millidegrees)
        if not (self.root / "bus/w1/devices" / rom).is_symlink():
            self.link(f"bus/w1/devices/{rom}", device)

    def w1_name(self, rom, name):
        self.write(self.root / "devices/w1_bus_master1" / rom / "name", name)

    def w1_remove(self, rom):
        (self.root / "bus/w1/devices" / rom).unlink(missing_ok=True)
        shutil.rmtree(self.root / "devices/w1_bus_master1" / rom, ignore_errors=True)

    def hwmon(self, device, number, name):
        folder = self.root / "devices" / device / f"hwmon/hwmon{number}"
        folder.mkdir(parents=True)
        (folder / "device").symlink_to("../..")
        self.write(folder / "name", name)
        self.link(f"class/hwmon/hwmon{number}", folder)

    def hwmon_renumber(self, device, before, after):
        folder = self.root / "devices" / device / "hwmon"
        (self.root / f"class/hwmon/hwmon{before}").unlink(missing_ok=True)
        os.rename(folder / f"hwmon{before}", folder / f"hwmon{after}")
        self.link(f"class/hwmon/hwmon{after}", folder / f"hwmon{after}")

    def iio(self, device, number, name):
        folder = self.root / "devices" / device / f"iio:device{number}"
        folder.mkdir(parents=True)
        self.write(folder / "name", name)
        self.link(f"bus/iio/devices/iio:device{number}", folder)

    def folder_of(self, device):
        place = self.root / "devices" / device
        found = sorted(place.glob("hwmon/hwmon*")) + sorted(place.glob("iio:device*"))
        return found[0]

    def set(self, device, file, text):
        self.write(self.folder_of(device) / file, text)

    def remove(self, device):
        folder = self.folder_of(device)
        place = "class/hwmon" if folder.name.startswith("hwmon") else "bus/iio/devices"
        (self.root / place / folder.name).unlink(missing_ok=True)
        shutil.rmtree(self.root / "devices" / device)


WORDS = {"w1": ("w1", 2), "w1-name": ("w1_name", 2), "w1-remove": ("w1_remove", 1), "hwmon": ("hwmon", 3), "hwmon-renumber": ("hwmon_renumber", 3),
         "iio": ("iio", 3), "set": ("set", 3), "remove": ("remove", 1)}


def main():
    tree = SysfsTree(sys.argv[1])
    for line in sys.stdin:
        word, *rest = line.strip().split(" ", 3)
        name, count = WORDS.get(word, ("", -1))
        if len(rest) != count:
            print("unknown", flush=True)
            continue
        getattr(tree, name)(*rest)
        print("done", flush=True)


if __name__ == "__main__":
    main()
