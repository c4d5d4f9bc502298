"""Nights that are played faster than time: a machine on which programs wait for a processor most of the time cannot keep their pace, and then it is
the machine that they show. One that fails there is played again, slower; on a calm machine a failure stands at once, and so does one at the slower pace."""
import re
import time

# Share of the time in which something waited for a processor ("some"; Linux, Documentation/accounting/psi.rst). Measured on two cores: 0.44 over
# all tests side by side on a quiet machine, 0.9 and more with three programs beside them that never rest.
BUSY_SHARE = 0.7
SLOWER = 3.0


def waited_seconds():
    """So far, since the machine's start; nothing where the kernel does not tell."""
    try:
        with open("/proc/pressure/cpu") as pressure:
            return int(re.search(r"^some .*total=(\d+)", pressure.read(), re.M).group(1)) / 1e6
    except (OSError, AttributeError):
        return None


class Watch:
    """What share of the time since it was made something waited."""

    def __init__(self):
        self.waited, self.began = waited_seconds(), time.monotonic()

    def share(self):
        waited = waited_seconds()
        return 0.0 if self.waited is None or waited is None else (waited - self.waited) / (time.monotonic() - self.began)


def play(night, name):
    """night(slower): 1 is its own pace."""
    watch = Watch()
    try:
        return night(1.0)
    except (AssertionError, OSError) as failure:
        share = watch.share()
        if share < BUSY_SHARE:
            raise
        print(f"{name}: failed, but {100 * share:.0f} % of the time something waited for a processor: once more, {SLOWER:g} times slower. What failed: {str(failure)[:300]}", flush=True)
    return night(SLOWER)
