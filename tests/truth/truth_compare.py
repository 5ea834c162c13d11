"""Verdicts of compare and its gate on records made here, of builds whose true rates are known: how often it says what is not so,
and how often it finds what is. The noise is a normal distribution of the logarithm of a rate."""

import concurrent.futures
import json
import os
import random
import subprocess

import tool
from goals import Most, Share

SIZES = [512 << i for i in range(12)]
ALLOWED = 0.05


CHANGED = SIZES[4]


def write_run(path, rng, label, started, factor, noise, passes, only=None, fixed_s=0.0005, rate=1e6):
    """A sweep of sequential reads: t = fixed + n / rate, its rate times `factor` (at the size `only`, or at all), each pass off
    by `noise`."""
    run_id = f"20261126T000000Z-{rng.getrandbits(32):08x}"
    lines = [
        ("run", {"id": run_id, "kind": "sweep", "tool": "0.1.0", "started": started, "label": label, "seed": 1, "kernel": "Linux 6.1", "cpus": 2, "command": "blkassay sweep"}),
        ("target", {"kind": "device", "path": "/dev/sdx", "name": "sdx", "token": "truth", "size_bytes": 1 << 30, "transport": "usb"}),
        ("plan", {"region_start": 0, "region_bytes": 1 << 30, "sizes": ",".join(map(str, SIZES)), "read": 1, "write": 0, "sequential": 1, "random": 0, "in_flight": 1, "seconds": 1, "passes": passes}),
    ]
    for number in range(1, passes + 1):
        for size in SIZES:
            each = (fixed_s + size / rate) / (factor if only in (None, size) else 1) / pow(2.718281828459045, rng.gauss(0, noise))
            count = max(30, int(1 / each))
            busy, took = int(each * count * 1e9), int(each * 1e9)
            lines.append(
                ("pass", {"direction": "read", "order": "sequential", "request_bytes": size, "in_flight": 1, "pass": number, "at_ns": number * 10**9, "bytes": size * count, "requests": count, "device_known": 0, "busy_ns": busy, "lat_min_ns": took, "lat_p50_ns": took, "lat_p90_ns": took, "lat_p99_ns": took, "lat_max_ns": took, "errors": 0, "flags": 0})
            )
    lines.append(("end", {"status": "complete", "exit_status": 0, "reason": ""}))
    tool.write_record(path, "sweep", lines)
    return path


def compare(base, new, *more):
    """Its view and its exit status."""
    done = subprocess.run([tool.BLKASSAY, "compare", *base, "--against", *new, *more, "--json", "-"], capture_output=True, text=True)
    if done.returncode not in (0, 1, 4):
        raise tool.Failed(done.stderr)
    return json.loads(done.stdout), done.returncode


class Pair:
    """Records of two builds in a folder of their own."""

    def __init__(self, folder, seed, trial, name):
        self.rng = random.Random(f"{seed}/{trial}/{name}")
        self.folder, self.name, self.made = folder, f"{name}-{trial}", []

    def run(self, label, factor, noise, passes, minute=0, only=None):
        path = os.path.join(self.folder, f"{self.name}-{len(self.made)}.assay")
        self.made.append(path)
        return write_run(path, self.rng, label, f"2026-11-26T00:{minute:02d}:00Z", factor, noise, passes, only)

    def done(self):
        for path in self.made:
            os.unlink(path)


def called(view):
    return any(row["verdict"] in ("faster", "slower") for row in view["points"])


def gate_of(folder, seed, trial, name, loss, noise, passes):
    pair = Pair(folder, seed, trial, name)
    base, new = pair.run("old", 1, noise, passes), pair.run("new", 1 - loss, noise, passes)
    _, status = compare([base], [new], "--allow-slower", f"{100 * ALLOWED:g}")
    pair.done()
    return status


def trial_of(work):
    folder, seed, trial, detectable = work
    out = {}
    pair = Pair(folder, seed, trial, "equal")
    view, _ = compare([pair.run("old", 1, 0.02, 6)], [pair.run("new", 1, 0.02, 6)])
    out["equal"] = called(view)
    pair.done()

    # Plugged in anew, each run is off by 1 %: its passes agree among themselves. In turn, A B B A A B B A.
    pair = Pair(folder, seed, trial, "runs")
    sides = [[], []]
    for minute, side in enumerate([0, 1, 1, 0, 0, 1, 1, 0]):
        factor = pow(2.718281828459045, pair.rng.gauss(0, 0.01))
        sides[side].append(pair.run(("old", "new")[side], factor, 0.005, 4, minute))
    view, _ = compare(*sides)
    out["runs"] = called(view)
    pair.done()

    pair = Pair(folder, seed, trial, "found")
    # At one point alone: where all have changed, the correction for many points asks less of each.
    view, _ = compare([pair.run("old", 1, 0.03, 6)], [pair.run("new", 1 + detectable, 0.03, 6, only=CHANGED)])
    out["found"] = [row["verdict"] == "faster" for row in view["points"] if row["request_bytes"] == CHANGED]
    pair.done()

    out["at_limit"] = gate_of(folder, seed, trial, "limit", ALLOWED + 0.001, 0.01, 6) == 0
    out["ignorant"] = gate_of(folder, seed, trial, "ignorant", 0.13, 0.1, 6) == 0
    out["twice"] = gate_of(folder, seed, trial, "twice", 2 * ALLOWED, 0.02, 6) == 1
    out["innocent"] = gate_of(folder, seed, trial, "innocent", 0, 0.02, 6) == 1
    return out


def promised(folder, seed):
    """What compare says it would find 4 times in 5, on average over families of equal builds."""
    shares = []
    for trial in range(12):
        pair = Pair(folder, seed, trial, "promised")
        view, _ = compare([pair.run("old", 1, 0.03, 6)], [pair.run("new", 1, 0.03, 6)])
        shares += [row["detectable_share"] for row in view["points"]]
        pair.done()
    return sum(shares) / len(shares)


def table(models, seed, folder, jobs, report):
    goals = {
        "equal": Most("equal builds, one run a side: any point called different", 0.05),
        "runs": Most("equal builds, 4 runs a side in turn, each off by 1 %: any point called different", 0.05),
        "found": Share("a change of the size called detectable at one point of 12: found", 0.75),
        "at_limit": Most("a loss just above what the gate allows, 1 % noise: passed", 0.05),
        "ignorant": Most("a build 13 % slower, 10 % noise, 5 % allowed: passed", 0.01),
        "twice": Share("a loss twice what the gate allows, 2 % noise: failed", 0.8),
        "innocent": Most("an equal build, 2 % noise, 5 % allowed: failed", 0.05),
    }
    detectable = promised(folder, seed)
    trials = models or 400
    with concurrent.futures.ProcessPoolExecutor(jobs) as pool:
        for trial, out in enumerate(pool.map(trial_of, [(folder, seed, i, detectable) for i in range(trials)], chunksize=4)):
            for name, goal in goals.items():
                for said in out[name] if isinstance(out[name], list) else [out[name]]:
                    goal.add(said, f"{name} of trial {trial}")
    for goal in goals.values():
        report(goal)
