#!/usr/bin/env python3
"""Does the tool say what is so? On gadgets and records whose truth is worked out here, apart from the tool.

    tests/truth/truth.py [--full | --models N] [--seed N] [--only NAME,...] [--jobs N] [--wrong N]

Each truth_NAME.py beside this file has table(models, seed, folder, jobs, report): it makes so many cases, runs the tool on
them and calls report(goal) for each goal (goals.py). --full: every kind of gadget twice, for results/truth.txt.
--wrong: how many of the cases that missed a goal are shown. Exit status 1 when a goal was missed.
"""

import argparse
import glob
import importlib
import os
import sys
import tempfile
import textwrap
import time

import tool

HERE = os.path.dirname(os.path.abspath(__file__))


def names():
    return sorted(os.path.basename(p)[6:-3] for p in glob.glob(os.path.join(HERE, "truth_*.py")))


def show(part, goal):
    what, wanted, got, word = goal.row()
    lines = textwrap.wrap(what, 62)
    print(f"{part:<8}  {lines[0]:<62}  {wanted:>8}  {got:>16}  {word}")
    for line in lines[1:]:
        print(f"{'':<8}  {line}")
    sys.stdout.flush()


def main():
    p = argparse.ArgumentParser(description="Does the tool say what is so?")
    p.add_argument("--full", action="store_true")
    p.add_argument("--models", type=int, default=44)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--only", default=",".join(names()))
    p.add_argument("--jobs", type=int, default=os.cpu_count())
    p.add_argument("--wrong", type=int, default=5)
    o = p.parse_args()
    missed = 0
    if o.full:
        print(f"tests/truth/truth.py {' '.join(sys.argv[1:])} (seed {o.seed}), {time.strftime('%Y-%m-%d', time.gmtime())}: {tool.run('--version').strip()}\n")
    print(f"{'':<8}  {'goal':<62}  {'wanted':>8}  {'got':>16}")
    for name in o.only.split(","):
        part = importlib.import_module("truth_" + name)
        began = time.monotonic()
        goals = []

        def report(goal):
            goals.append(goal)
            show(name, goal)

        with tempfile.TemporaryDirectory(prefix="truth.") as folder:
            part.table(0 if o.full else o.models, o.seed, folder, o.jobs, report)
        for goal in goals:
            missed += not goal.met
            for case in goal.wrong[: 0 if goal.met else o.wrong]:
                print(f"missed: {case}", file=sys.stderr)
        print(f"truth: {name} took {time.monotonic() - began:.0f} s", file=sys.stderr)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
