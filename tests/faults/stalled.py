"""One thread of the daemon stands still, the others run on (ptrace stops a thread without stopping its process)."""
import ctypes
import os
import socket
import threading
import time

from shop import BENCH_GRAIN_S, FEED_S, Figures, POLL_S, RELAY_DEVICE, Shop, WATCHDOG, WATCHDOG_S
from wire import write_coil

PTRACE_SEIZE, PTRACE_INTERRUPT, PTRACE_DETACH = 0x4206, 0x4207, 17
WALL = 0x40000000
SERVICE_WATCHDOG_S = 10.0
PING_WITHHELD_WITHIN_S = 10.0
# Buses in the order of the configuration; each has a thread, and they are the last that the daemon starts.
BUSES = ["bench_1", "bench_2", "outlets", "line"]
libc = ctypes.CDLL(None, use_errno=True)
libc.ptrace.argtypes = [ctypes.c_long, ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p]
libc.ptrace.restype = ctypes.c_long


def ptrace(request, thread):
    if libc.ptrace(request, thread, None, None) != 0:
        raise OSError(ctypes.get_errno(), f"ptrace {request:#x} of thread {thread}")


class Stalled:
    """A context: this thread stands still in it."""

    def __init__(self, thread):
        self.thread = thread

    def __enter__(self):
        ptrace(PTRACE_SEIZE, self.thread)
        ptrace(PTRACE_INTERRUPT, self.thread)
        os.waitpid(self.thread, WALL)
        return self

    def __exit__(self, *_):
        ptrace(PTRACE_DETACH, self.thread)


class Manager:
    """What a service manager hears: the moments of its pings."""

    def __init__(self):
        self.name = f"\0steadyglow-faults-{os.getpid()}"
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(self.name)
        self.pings = []
        threading.Thread(target=self.listen, daemon=True).start()

    def environment(self):
        return dict(os.environ) | {"NOTIFY_SOCKET": "@" + self.name[1:], "WATCHDOG_USEC": str(int(SERVICE_WATCHDOG_S * 1e6))}

    def listen(self):
        while True:
            if self.socket.recv(4096) == b"WATCHDOG=1":
                self.pings.append(time.monotonic())


class ThreadStalled:
    """The loop or a bus of powered units stands still: the watchdog's coil is not written, the outlets open, the ping to the service manager is withheld."""
    plants = "the watchdog's coil is fed by a timer of its own, not by progress"
    fails_by = "no unit to have power|still fed"

    def run(self, options, is_planted):
        figures = Figures("thread stalled")
        manager = Manager()
        with Shop(options, daemon_environment=manager.environment()) as shop:
            shop.start_runs()
            for turn in range(options.times):
                name = ["loop", *BUSES][turn % (1 + len(BUSES))]
                self.one(shop, manager, name, figures, is_planted)
                shop.waits_for_a_person()
                shop.go_on()
                figures.count("stalls")
                figures.held("the watchdog's coil was not written any more", "the ping was withheld", "nothing came on by itself")
        return figures

    def one(self, shop, manager, name, figures, is_planted):
        # In the order in which they were started; their numbers are not, where those begin again.
        threads = [int(thread) for thread in os.listdir(f"/proc/{shop.daemon.pid}/task")]
        thread = shop.daemon.pid if name == "loop" else threads[-len(BUSES):][BUSES.index(name)]
        before = self.requests(shop)
        with Stalled(thread):
            stalled_at = time.monotonic()
            # Held as soon as the part is later than half of the watchdog's time, or than three turns of its bus.
            held_within = max(WATCHDOG_S / 2, 3 * POLL_S) + FEED_S
            bound = held_within + WATCHDOG_S + 0.5 + BENCH_GRAIN_S
            if is_planted:
                for _ in range(int(bound / FEED_S) + 1):
                    write_coil(shop.bench_port, RELAY_DEVICE, WATCHDOG, True)
                    time.sleep(FEED_S)
            figures.add(f"{name} stalled to the last outlet open", shop.all_off_after(stalled_at, bound))
            fed = shop.wire.of(WATCHDOG, True, stalled_at + held_within)
            assert not fed, f"the watchdog was still fed {fed[-1].at - stalled_at:.1f} s after {name} had stalled"
            if name != "loop":
                after = self.requests(shop)
                moved = [bus for bus in BUSES if after[bus] > before[bus] + 3]
                assert name not in moved and len(moved) >= 1, f"the harness stalled another thread than that of {name}: {moved} moved"
            assert manager.pings and manager.pings[-1] > stalled_at - SERVICE_WATCHDOG_S, "no ping came before, so none can be missed"
            wait = stalled_at + PING_WITHHELD_WITHIN_S + SERVICE_WATCHDOG_S / 2 + 1.0 - time.monotonic()
            time.sleep(max(0.0, wait))
            last = manager.pings[-1] - stalled_at
            assert last <= PING_WITHHELD_WITHIN_S, f"the service manager was told that all is well {last:.1f} s after {name} had stalled"
            figures.add(f"{name} stalled to the last ping", max(0.0, last))
        shop.stays_off(1.0, stalled_at + held_within)

    def requests(self, shop):
        return {bus["name"]: bus["requests"] for bus in shop.bench_view()["buses"]}
