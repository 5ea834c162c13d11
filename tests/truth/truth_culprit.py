"""What explain names for gadgets of known truth: each cause and each pair of them (culprit.py makes and judges them)."""

import concurrent.futures
import types

import culprit
from goals import Most, Share


def table(models, seed, folder, jobs, report):
    o = types.SimpleNamespace(wild=0.0, build=None, keep=None)
    wrong = Most("causes named alone that are not it", 0.005)
    named = Share("of one cause of 20 % of the time or more that the figures can tell: named alone", 0.8)
    within = Share("of one cause of 20 % of the time or more: among those named", 0.9)
    with concurrent.futures.ProcessPoolExecutor(jobs) as pool:
        results = pool.map(culprit.work, [(seed, i, o) for i in range(models or 600)], chunksize=4)
        for row in (row for rows in results for row in rows):
            case = "%s %s: truth %s, said %s" % (row["case"].name, row["direction"], row["cause"], row["answer"]["codes"])
            if len(row["answer"]["codes"]) == 1 and not row["unknown"]:
                wrong.add(row["wrong"], case)
            if row["separable"]:
                named.add(row["named"], case)
            if row["cause"]:
                within.add(row["within"], case)
    for goal in (wrong, named, within):
        report(goal)
