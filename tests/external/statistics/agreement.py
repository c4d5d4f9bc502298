"""Asks our program, and compares what it says with what another library says."""
import json
import math
import subprocess


class Agreement:
    """Counts figures that agree and lists those that do not; a comparison of nothing is a failure too."""

    def __init__(self):
        self.counts = {}
        self.breaches = []

    def near(self, name, ours, theirs, relative, absolute=0.0):
        count, worst = self.counts.get(name, (0, 0.0))
        difference = abs(ours - theirs)
        scale = max(abs(ours), abs(theirs))
        self.counts[name] = (count + 1, max(worst, difference / scale if scale else 0.0))
        if not math.isfinite(ours) or not difference <= relative * scale + absolute:
            self.breaches.append(f"{name}: ours {ours!r}, theirs {theirs!r}")

    def true(self, name, claim, why=""):
        count, worst = self.counts.get(name, (0, 0.0))
        self.counts[name] = (count + 1, worst)
        if not claim:
            self.breaches.append(f"{name}: {why}")

    def finish(self, wanted):
        for name, (count, worst) in sorted(self.counts.items()):
            print(f"{name:28} {count:5} compared, largest relative difference {worst:.1e}")
        self.breaches += [f"{name}: nothing was compared" for name in wanted if name not in self.counts]
        for breach in self.breaches[:20]:
            print("DIFFERS", breach)
        print(f"{len(self.breaches)} differences")
        return 1 if self.breaches else 0


def ask(program, problems):
    done = subprocess.run([program], input=json.dumps(problems), capture_output=True, text=True, timeout=120, check=True)
    answers = json.loads(done.stdout)
    assert len(answers) == len(problems)
    return answers
