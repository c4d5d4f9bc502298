"""Data drawn anew for each seed, and our figures for it."""
import json
import random
import subprocess


def drawn(seed):
    draw = random.Random(seed)
    x = [0.25 * i + draw.uniform(0.0, 0.1) for i in range(60)]
    drift = draw.uniform(-0.5, 0.5)
    y = [38.0 + drift * t + draw.gauss(0.0, 1.0) for t in x]
    rise, tau = draw.uniform(10.0, 40.0), draw.uniform(1.0, 4.0)
    warming = [rise * (1.0 - 2.718281828459045 ** (-t / tau)) + 20.0 + draw.gauss(0.0, 0.2) for t in x]
    ends = 48.0
    lives = []
    for _ in range(60):
        hours = draw.weibullvariate(60.0, draw.choice([0.7, 1.4]))
        lives.append([max(0.01, min(hours, ends)), hours <= ends])
    return {"x": x, "y": y, "warming": warming, "start": [50.0, 25.0, 2.0], "lives": lives}


def ours(program, data):
    done = subprocess.run([program], input=json.dumps(data), capture_output=True, text=True, check=True, timeout=30)
    return json.loads(done.stdout)


def same(name, a, b, relative):
    """Says where two figures part, or nothing."""
    if abs(a - b) <= relative * max(abs(a), abs(b), 1e-12):
        return []
    return [f"{name}: ours {a!r}, theirs {b!r}"]
