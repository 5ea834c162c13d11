#!/usr/bin/env python3
"""Does `explain` find what limits a gadget? Gadgets of known truth are made from a seed, each with one cause or a pair of
them, swept as models, and what explain names is held against the truth, which gadget.py computes by taking each cause
away.

    culprit.py [--models N] [--seed S] [--odd] [--build DIR] [--jobs J] [--verbose]

Exits 1 when the goals are not met: no cause named alone that is not it, and 80 % of those with one cause that the
figures can tell named alone (70 % of odd ones, odd.py)."""
import argparse
import concurrent.futures
import copy
import json
import math
import os
import random
import shutil
import subprocess
import sys
import tempfile
import zlib

import gadget as G
import odd

CODES = ["link", "card", "in-turn", "request-cost", "sector-cost", "host-gap", "frames", "program-unit", "stalls"]
HARDWARE = ("link", "card")


# ---- truth ----

def without(g, cause, write):
    side = "write_" if write else "read_"
    if cause == "request-cost":
        g = G.edited(g, link_cost=0.0, firmware_cost=0.0)
        return G.edited(g, **{side + "command": 0.0}) if g["unit"] == "request" else g
    return G.edited(g, **{
        "host-gap": {"gap": 0.0},
        "sector-cost": {"unit": "request", side + "sector": 0.0},
        "in-turn": {"transfer": "overlapped", "chunk": 0},
        "frames": {"frames": False, "rate": G.CEILING.get(g["speed"])},
        "program-unit": {"write_unit": 0},
        "stalls": {"stall_every": 0},
        "link": {"frames": False, "rate": math.inf},
        "card": {side + "rate": math.inf},
    }[cause])


def truth(g, write, n, in_flight):
    """Share of the time of a request of n bytes that each cause takes: what would be saved without it."""
    now = G.long_run_seconds(g, write, n, in_flight)
    shares = {}
    for cause in CODES:
        if cause == "frames" and not g["frames"]:
            shares[cause] = 0.0
            continue
        shares[cause] = 1 - G.long_run_seconds(without(g, cause, write), write, n, in_flight) / now
    return now, shares


# ---- gadgets ----

def base(r):
    """Link and card overlapped in single blocks, one clearly slower, nothing else."""
    speed = r.choice(["full", "full", "high", "high", "none"])
    rate = {"full": r.uniform(0.6e6, 1.2e6), "high": 10 ** r.uniform(6.3, 7.5), "none": 10 ** r.uniform(6, 8)}[speed]
    slower = r.choice(["link", "card"])
    ratio = r.uniform(1.15, 4)
    cards = [rate * ratio * r.uniform(1, 1.6) if slower == "link" else rate / ratio / r.uniform(1, 1.6) for _ in "rw"]
    return G.gadget(speed=speed, rate=rate, read_rate=cards[0], write_rate=cards[1], transfer="overlapped",
                    jitter=r.choice([0, 0, 0.005, 0.01, 0.02]), seed=r.randrange(1, 1 << 30),
                    caching_page=True, write_cache=r.random() < 0.2)


def add(r, g, cause, n):
    """Adds a cause so that it takes a fair share of a request of n bytes."""
    share = r.uniform(0.2, 0.65)
    t = G.long_run_seconds(g, True, n)
    extra = t * share / (1 - share)
    if cause == "in-turn":
        # Both stages need time, or there is nothing to gain.
        rate = g["rate"] if not g["frames"] else G.CEILING[g["speed"]]
        if r.random() < 0.8:
            g = G.edited(g, read_rate=rate * 10 ** r.uniform(-0.4, 0.4), write_rate=rate * 10 ** r.uniform(-0.4, 0.4))
        return G.edited(g, transfer="store-and-forward", chunk=0)
    if cause == "request-cost":
        where = r.choice(["link", "firmware", "card"])
        if where == "card" and g["unit"] == "request":
            return G.edited(g, read_command=extra, write_command=extra * r.uniform(0.7, 1.4))
        return G.edited(g, **{"link_cost" if where == "link" else "firmware_cost": extra})
    if cause == "sector-cost":
        each = extra / max(1, n // g["block"])
        if g["transfer"] == "overlapped":
            each += max(0.0, g["block"] / (g["rate"] if not g["frames"] else G.CEILING[g["speed"]]) - g["block"] / g["write_rate"])
        if r.random() < 0.6:
            return G.edited(g, unit="sector", read_command=each * r.uniform(0.5, 1), write_command=each)
        return G.edited(g, read_sector=each * r.uniform(0.5, 1), write_sector=each)
    if cause == "host-gap":
        return G.edited(g, gap=extra)
    if cause == "frames":
        g = G.edited(g, speed=r.choice(["full", "full", "high"]), frames=True, limit=120 << 10)
        ceiling = G.CEILING[g["speed"]]
        return G.edited(g, rate=ceiling, read_rate=ceiling * 10 ** r.uniform(0, 1), write_rate=ceiling * 10 ** r.uniform(0, 1))
    if cause == "program-unit":
        return G.edited(g, write_unit=r.choice([8, 16, 16, 32, 64]) << 10)
    if cause == "stalls":
        every = r.choice([256 << 10, 1 << 20, 4 << 20])
        while extra * every / n > 10:
            every //= 4
        return G.edited(g, stall_every=every, stall_time=extra * every / n)
    return g


SIZES = ["512..64Ki", "512..128Ki", "512..1Mi", "4Ki..128Ki", "1Ki,2Ki,4Ki,8Ki,24Ki,48Ki,96Ki", "512..8Ki",
         "16Ki..1Mi", "512,4Ki,32Ki,120Ki", "4Ki,32Ki,120Ki", "2Ki,3Ki,4Ki,6Ki,12Ki,20Ki,60Ki"]


def sizes_of(text):
    unit = lambda s: int(s[:-2]) << {"Ki": 10, "Mi": 20}[s[-2:]] if s[-1] == "i" else int(s)
    if ".." not in text:
        return [unit(s) for s in text.split(",")]
    low, high = map(unit, text.split(".."))
    out = []
    while low <= high:
        out.append(low)
        low *= 2
    return out


class Case:
    pass


def make_wild(r, c):
    """What nobody thought of: other blocks, limits, chunks, request sizes; causes upon causes."""
    g = c.gadget
    for _ in range(r.randrange(1, 4)):
        what = r.choice(["block", "limit", "chunk", "request", "unlimited", "sizes", "behind", "unit", "short", "jitter"])
        if what == "block":
            g = G.edited(g, block=4096, write_unit=max(g["write_unit"], 4096) if g["write_unit"] else 0,
                         behind=-(-g["behind"] // 4096) * 4096)
            c.sizes_text = r.choice(["4Ki..128Ki", "4Ki..1Mi", "4Ki,8Ki,12Ki,40Ki,120Ki"])
        elif what == "limit":
            g = G.edited(g, limit=r.choice([4, 32, 60, 64, 120, 256]) << 10)
        elif what == "chunk" and g["transfer"] == "overlapped":
            g = G.edited(g, chunk=r.choice([1, 2, 4, 16, 64]) << 10)
        elif what == "request":
            c.request = r.choice([512, 1024, 2048, 16384, 65536, 122880])
        elif what == "unlimited":
            g = G.edited(g, **({"rate": math.inf} if r.random() < 0.5 and not g["frames"] and not math.isinf(g["read_rate"])
                               else {"read_rate": math.inf} if not math.isinf(g["rate"]) else {}))
        elif what == "sizes":
            n = r.randrange(2, 9)
            c.sizes_text = ",".join(str(s * g["block"]) for s in sorted(r.sample(range(1, 240 * 512 // g["block"]), n)))
        elif what == "behind":
            g = G.edited(g, behind=r.choice([4, 16, 64, 256, 1024]) << 10, write_cache=True)
        elif what == "unit":
            g = G.edited(g, write_unit=r.choice([4, 8, 16, 64, 128]) << 10)
        elif what == "short":
            c.passes = r.choice([1, 1, 2])
        elif what == "jitter":
            g = G.edited(g, jitter=r.choice([0.0, 0.03, 0.05]))
    if g["chunk"] % g["block"]:
        g = G.edited(g, chunk=0)
    c.gadget = g


def make_case(seed, index, wild=0.0, odd_ways=False):
    r = random.Random("%d/%d%s" % (seed, index, "/odd" if odd_ways else ""))
    singles, pairs = [(c,) for c in CODES], [(a, b) for i, a in enumerate(CODES) for b in CODES[i + 1:]]
    pairs = [p for p in pairs if p != ("link", "card")]
    kinds = singles * 2 + pairs
    c = Case()
    c.name = "%d-%d-%s" % (seed, index, "odd" if odd_ways else "%g" % wild)
    c.index, c.causes = index, kinds[index % len(kinds)]
    c.sizes_text = r.choice(SIZES[:5] + SIZES[:3] + SIZES)
    c.sizes = sizes_of(c.sizes_text)
    c.request = 4096
    c.judged = min(max(c.request, c.sizes[0]), c.sizes[-1])
    c.in_flight = r.choice([1, 1, 1, 2, 4])
    c.order = r.choice(["sequential", "random"])
    c.passes = r.choice([1, 2, 3, 5, 8])
    g = base(r)
    for hard in HARDWARE:
        if hard in c.causes:
            while (g["rate"] < g["write_rate"]) != (hard == "link"):
                g = base(r)
    order = ["frames", "in-turn", "sector-cost", "request-cost", "host-gap", "program-unit", "stalls"]
    for cause in order:
        if cause in c.causes:
            g = add(r, g, cause, c.judged)
    if not set(c.causes) & {"in-turn"} and r.random() < 0.1:
        g = G.edited(g, behind=r.choice([8, 32, 128]) << 10, write_cache=True)
    c.gadget, c.ways, c.given, c.off, c.against = g, [], None, None, False
    if odd_ways:
        odd.twist(r, c, index)
    elif r.random() < wild:
        make_wild(r, c)
    g = c.gadget
    c.sizes = sizes_of(c.sizes_text)
    c.judged = min(max(c.request, c.sizes[0]), c.sizes[-1])
    c.seconds = max(0.25, r.choice([4, 8, 20]) * max(G.request_seconds(G.edited(g, stall_every=0), w, c.sizes[-1]) for w in (0, 1)))
    if g["stall_every"]:  # often enough to be seen: 6 times at least
        moved = c.passes * c.seconds * sum(n / G.request_seconds(G.edited(g, stall_every=0), True, n) for n in c.sizes)
        every = g["stall_every"]
        while every > 65536 and 6 * every / moved * (1 + 1) > 1:
            every //= 2
        g = c.gadget = G.edited(g, stall_every=every, stall_time=g["stall_time"] * every / g["stall_every"])
    link = G.CEILING[g["speed"]] if g["frames"] else min(g["rate"], 1e12)
    spread = r.choice([0, 0, 0.02, 0.05])
    given = r.choice(["both", "both", "both", "link", "card", "none"])
    off = (lambda sign=1: 1 + sign * c.off) if c.off is not None else (lambda sign=1: 1 + r.uniform(-spread, spread))
    given = c.given or given
    c.known = {}
    if given in ("both", "link"):
        c.known["link"] = link * off(-1 if c.against else 1)
    if given in ("both", "card"):
        c.known["card-read"] = g["read_rate"] * off()
        c.known["card-write"] = g["write_rate"] * off()
    return c


# ---- the tool ----

def sweep(c, build, record):
    with tempfile.TemporaryDirectory() as d:
        path, new = os.path.join(d, "g.model"), os.path.join(d, "g.run")
        with open(path, "w") as f:
            f.write(G.text(c.gadget, "truth"))
        subprocess.run([G.tool(build), "sweep", "model:" + path, "--direction", "read,write", "--sizes", c.sizes_text,
                        "--seconds", "%.3f" % c.seconds, "--passes", str(c.passes), "--in-flight", str(c.in_flight),
                        "--order", c.order, "--seed", "1", "--out", new, "--quiet"] +
                       # Every other one by its rates alone.
                       (["--no-phases"] if zlib.crc32(c.name.encode()) % 2 else []), check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        shutil.move(new, record)


# Rates as somebody gives them who has measured another card, or read its box.
MISTAKEN = {"link": (0.5, 2), "card": (0.5, 2)}


def mistaken(c, build, record):
    """What is named with one of the given rates wrong by 2; unsaid: wrongly, alone, and without a word that it rests on that rate."""
    rows = []
    for which, factors in MISTAKEN.items():
        for factor in factors:
            wrong = copy.copy(c)
            wrong.known = {k: v * (factor if k.startswith(which) else 1) for k, v in c.known.items()}
            if wrong.known == c.known:
                continue
            ask(wrong, build, record)
            rows += [dict(what="%s %s x %g" % (c.name, which, factor), answer=r["answer"], alone=r["alone"],
                          unsaid=r["wrong"] and not any(k.startswith(which) for k in r["answer"]["rests"])) for r in judge(wrong)]
    return rows


def run_case(c, build, keep=None, astray=False):
    with tempfile.TemporaryDirectory() as d:
        record = os.path.join(keep or d, "%s.run" % c.name)
        if not os.path.exists(record):
            sweep(c, build, record)
        ask(c, build, record)
        c.astray = mistaken(c, build, record) if astray else []
    return c


def ask(c, build, record):
    said = json.loads(subprocess.run([G.tool(build), "explain", record, "--request", str(c.request), "--json", "-"] +
                                     [word for k, v in c.known.items() if not math.isinf(v) for word in ("--" + k, "%.0fB/s" % v)],
                                     check=True, capture_output=True, text=True).stdout)
    c.answers = {}
    for table in said["tables"]:
        parts = [p for p in said["causes"] if p["direction"] == table["direction"]]
        named = [p for p in parts if p["role"] == "limits"]
        c.answers[table["direction"]] = dict(
            size=table["request_bytes"], codes=table["culprits"], seconds=table["seconds"] or 0,
            next=next((p["cause"] for p in parts if p["role"] == "next"), "-"),
            gains={p["cause"]: (p["share_low"], p["share_high"]) for p in named},
            rests=next((f["rests_on"] for f in said["findings"] if f["code"] in ("limits", "one-of") and f["direction"] == table["direction"]), []),
            only=any("Only a faster" in f["sentence"] for f in said["findings"] if f["code"] == "limits" and f["direction"] == table["direction"]),
            overlap=next((f["gain_seconds"] for f in said["findings"] if f["code"] == "phases" and f["direction"] == table["direction"]
                          and f["request_bytes"] == table["request_bytes"] and f.get("gain_seconds")), None))


# ---- judging ----

def removable(shares):
    return {k: v for k, v in shares.items() if k not in HARDWARE}


def stalls_per_byte(g, n, in_flight):
    """Do stalls meet so many requests that they are no stalls, but a cost of each byte?"""
    return bool(g["stall_every"]) and g["stall_every"] < 5 * n * in_flight


def is_right(code, shares, g, n, in_flight):
    """May this one be named alone?"""
    others = removable(shares)
    if g["unit"] == "sector" and code == "sector-cost":  # whole units for every sector: that they are single is the cause
        others = dict(others, **{"program-unit": 0})
    if stalls_per_byte(g, n, in_flight) and code == "sector-cost":
        others = dict(others, **{"sector-cost": others["sector-cost"] + others["stalls"], "stalls": 0})
    most = max(others.values())
    if code in HARDWARE:
        other = "card" if code == "link" else "link"
        return most < 0.25 and shares[code] >= min(0.9 * shares[other], shares[other] - 0.08)
    return code in others and others[code] >= 0.15 and others[code] >= 0.6 * most


def one_cause(shares):
    """The one cause of this table, or None."""
    others = sorted(removable(shares).items(), key=lambda kv: -kv[1])
    if others[0][1] >= 0.2:
        return others[0][0] if others[1][1] <= others[0][1] / 2 else None
    if others[0][1] > 0.1:
        return None
    link, card = shares["link"], shares["card"]
    if max(link, card) < 0.2:
        return None
    return "link" if link > 1.15 * card else "card" if card > 1.15 * link else None


def byte_times(c, write):
    """Seconds per byte of link, card and a long request."""
    g = G.edited(c.gadget, stall_every=0, write_unit=0)
    slope = (G.request_seconds(g, write, 65536) - G.request_seconds(g, write, 32768)) / 32768
    return 1 / (G.CEILING[g["speed"]] if g["frames"] else g["rate"]), 1 / g["write_rate" if write else "read_rate"], slope


def separable(c, write, cause, shares):
    """Can the figures tell this cause from all others? Not with fewer than 4 sizes; nothing of the time per byte without
    the rates of link and card; and nothing of a request's fixed cost when all are so long that a first piece's way in
    looks the same."""
    g, below = c.gadget, [n for n in c.sizes if n <= c.gadget["limit"]]
    both = "link" in c.known and ("card-write" if write else "card-read") in c.known
    small = c.sizes[0] * 4 <= c.judged
    link, card, slope = byte_times(c, write)
    if len(below) < 4:
        return False
    if cause in HARDWARE:
        return both and small and max(link, card) > 1.3 * min(link, card)
    if cause == "in-turn":
        return both and small
    if cause == "sector-cost":
        # Less than what taking turns costs, stages that overlap in part, or not at all, would do as well.
        sector = slope - link - card
        return both and small and sector > 0.65 * min(link, slope - link) and sector * c.judged > 0.25 * G.long_run_seconds(g, write, c.judged, c.in_flight)
    if cause == "request-cost":
        # One request at a time, it may be the host as well; in writes, one unit of the card larger than all of them.
        if write and "card-write" not in c.known:
            return False
        fixed = G.request_seconds(G.edited(g, write_unit=0, stall_every=0), write, 32768) - 32768 * slope
        return c.in_flight > 1 and not g["frames"] and small and (both or shares[cause] > 0.55) and below[-1] * slope > 2 * fixed
    if cause == "frames":
        frames = [G.request_seconds(G.edited(g, stall_every=0), write, n) / G.FRAME[g["speed"]][0] for n in c.sizes]
        return c.in_flight == 1 and c.sizes[0] <= 1024 and len({round(f) for f in frames if f <= 12}) >= 4 and small
    if cause == "program-unit":
        return (c.in_flight == 1 or not g["gap"]) and 2 * below[0] <= g["write_unit"] <= below[-1] / 2 and len(below) >= 5
    if cause == "stalls":
        # Many requests between two of them, and more than a few of them in the run.
        return (both or shares[cause] > 0.5) and c.judged * 16 * c.in_flight <= g["stall_every"] and c.passes * c.seconds * len(c.sizes) > 4 * g["stall_time"] / shares[cause]
    return False


def gain_off(c, write, answer, seconds, cause):
    """How far the request's time without the cause lies outside what is said of it, as a share of that time."""
    if cause is None or cause in HARDWARE or (write and stalls_per_byte(c.gadget, answer["size"], c.in_flight)):
        return None
    low, high = answer["gains"][cause]
    fast, slow = answer["seconds"] * (1 - high), answer["seconds"] * (1 - low)
    return max(0.0, 1 - seconds / fast if fast > 0 else 0.0, seconds / slow - 1 if slow > 0 else math.inf)


def left_to_gain(c, write, n, now):
    """Share of the request's time that would be saved without all that is neither link nor card."""
    g = c.gadget
    for cause in CODES:
        if cause not in HARDWARE and (cause != "frames" or g["frames"]):
            g = without(g, cause, write)
    return 1 - G.long_run_seconds(g, write, n, c.in_flight) / now


def judge(c):
    rows = []
    for direction, a in c.answers.items():
        write = direction == "write"
        now, shares = truth(c.gadget, write, a["size"], c.in_flight)
        cause = one_cause(shares)
        alone = a["codes"][0] if len(a["codes"]) == 1 and a["codes"][0] != "unknown" else None
        rows.append(dict(case=c, direction=direction, now=now, shares=shares, cause=cause, answer=a,
                         alone=alone,
                         gain_off=gain_off(c, write, a, now * (1 - shares[alone]), alone) if alone else None,
                         overlap_over=(now * shares["in-turn"] / a["overlap"] - 1) if a["overlap"] else None,
                         left=left_to_gain(c, write, a["size"], now) if a["only"] else None,
                         wrong=bool(alone) and not is_right(alone, shares, c.gadget, a["size"], c.in_flight),
                         separable=bool(cause) and separable(c, write, cause, shares),
                         named=alone is not None and alone == cause, within=cause in a["codes"],
                         unknown=a["codes"] == ["unknown"]))
    return rows


def swept_without(c, build, row):
    """Seconds of the request when the model is edited so that the cause is gone, and swept again; None where that is not shown."""
    edited, size = without(c.gadget, row["alone"], row["direction"] == "write"), row["answer"]["size"]
    with tempfile.TemporaryDirectory() as d:
        path, record = os.path.join(d, "g.model"), os.path.join(d, "g.run")
        with open(path, "w") as f:
            f.write(G.text(edited, "truth"))
        subprocess.run([G.tool(build), "sweep", "model:" + path, "--direction", row["direction"], "--sizes", str(size), "--seconds",
                        "%.3f" % c.seconds, "--passes", "3", "--in-flight", str(c.in_flight), "--order", c.order, "--seed", "2", "--out",
                        record, "--quiet", "--no-phases"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        point = json.loads(subprocess.run([G.tool(build), "report", record, "--json", "-"], check=True, capture_output=True,
                                          text=True).stdout)["points"][0]
    rate = point["stored_bytes_per_second"] if row["direction"] == "write" else point["acknowledged_bytes_per_second"]
    return size / rate if rate else None


def work(args):
    seed, index, o = args
    c = make_case(seed, index, o.wild, o.odd)
    astray = bool(o.again) and not o.odd and index % 3 == 1
    rows = judge(run_case(c, o.build, o.keep, astray))
    for row in rows if o.again and index % o.again == 0 else []:
        if row["gain_off"] is not None:
            seconds = swept_without(c, o.build, row)
            row["again_off"] = seconds and gain_off(c, row["direction"] == "write", row["answer"], seconds, row["alone"])
    return rows


def show(row):
    c, a = row["case"], row["answer"]
    print("#%d %s %s %s sizes=%s q=%d passes=%d behind=%d known=%s jitter=%g" % (c.index, "+".join(c.causes), ",".join(c.ways), row["direction"],
          c.sizes_text, c.in_flight, c.passes, c.gadget["behind"], ",".join(c.known), c.gadget["jitter"]))
    print("    truth %s: %s" % (row["cause"], " ".join("%s %.2f" % kv for kv in sorted(row["shares"].items(), key=lambda kv: -kv[1]) if kv[1] > 0.02)))
    print("    said  %s next %s, %.4g s (truth %.4g)  %s" % (",".join(a["codes"]), a["next"], a["seconds"], row["now"], {k: "%.2f..%.2f" % v for k, v in a["gains"].items()}))


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--models", type=int, default=600)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--wild", type=float, default=0.0, help="share of gadgets with unusual settings on top")
    p.add_argument("--odd", action="store_true", help="odd gadgets and sweeps (odd.py) laid over them")
    p.add_argument("--again", type=int, default=0, help="edit and sweep again every such gadget whose cause is named alone")
    p.add_argument("--first", type=int, default=0)
    p.add_argument("--build", default="build")
    p.add_argument("--keep", help="folder of records: those that are there are not swept again")
    p.add_argument("--jobs", type=int, default=2)
    p.add_argument("--verbose", action="store_true")
    o = p.parse_args()
    jobs = [(o.seed, i, o) for i in range(o.first, o.first + o.models)]
    with concurrent.futures.ProcessPoolExecutor(o.jobs) as pool:
        rows = [row for result in pool.map(work, jobs, chunksize=4) for row in result]
    table = {}
    for row in rows:
        if o.verbose and (row["wrong"] or (row["separable"] and not row["named"])):
            print("WRONG ALONE" if row["wrong"] else "NOT NAMED")
            show(row)
        if row["cause"]:
            t = table.setdefault(row["cause"], [0] * 6)
            t[0] += 1
            t[1] += row["separable"]
            t[2] += row["separable"] and row["named"]
            t[3] += row["named"]
            t[4] += row["within"]
            t[5] += row["unknown"]
    print("%-14s %7s %10s %12s %6s %7s %8s" % ("one cause", "tables", "separable", "named alone", "alone", "within", "unknown"))
    for cause in CODES:
        t = table.get(cause, [0] * 6)
        print("%-14s %7d %10d %12d %6d %7d %8d" % (cause, *t))
    total = [sum(t[i] for t in table.values()) for i in range(6)]
    wrong = sum(row["wrong"] for row in rows)
    alone = sum(len(r["answer"]["codes"]) == 1 and not r["unknown"] for r in rows)
    print("all: %d tables, %d of one cause, %d separable, %.1f %% of them named alone; %d named alone in all, %d of them wrong; %d unknown"
          % (len(rows), total[0], total[1], 100 * total[2] / max(1, total[1]), alone, wrong, sum(r["unknown"] for r in rows)))
    return 1 if wrong or total[2] < (0.7 if o.odd else 0.8) * total[1] else 0


if __name__ == "__main__":
    sys.exit(main())
