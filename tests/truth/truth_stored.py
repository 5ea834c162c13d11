"""Stored rates, reads beside writes, and copy times, on gadgets of every kind of buffer."""

import itertools
import os
import random
from concurrent.futures import ProcessPoolExecutor

import buffers
import tool
from goals import Most, Share

KIB, MIB = 1024, 1024 * 1024


def grid(models, rng):
    """So many ways to buffer (0: each twice), with links, cards, sizes and passes drawn at random; one in ten without."""
    ways = list(
        itertools.product(
            ("at-once", "at-once", "after-idle", "on-flush"),  # drain
            ("yes", "lies", "no", "leaves"),  # how SYNCHRONIZE CACHE answers
            (False, True),  # reads from the buffer, past what waits
            (False, True),  # claims the cache
            ("block", "all"),  # when full
        )
    )
    plain = models // 10 if models else 40
    for n in range(1 if models else 2):
        for drain, sync, from_buffer, claims, when_full in rng.sample(ways, models - plain) if models else ways:
            behind = int(4 * KIB * 2 ** rng.uniform(0, 10)) // 512 * 512
            card = 0.3e6 * (10 / 0.3) ** rng.random()
            link = rng.choice((1.0e6, 1.2e6, 5e6, 20e6, 35e6))
            yield buffers.Spec(
                link=link,
                link_cost=rng.choice((0, 100e-6, 500e-6)),
                card_read=card * rng.uniform(1, 4),
                card_write=card,
                write_command=rng.choice((0, 0, 200e-6)),
                behind=behind,
                reads_from_buffer=from_buffer,
                drain=drain,
                idle=rng.choice((0.01, 0.1, 0.5)),
                when_full=when_full,
                claims_cache=claims,
                caching_page=claims or rng.random() < 0.5,
                sync="no" if sync == "no" else "yes",
                ignores_flush=sync == "lies",
                flush_leaves=behind // 512 // 3 * 512 if sync == "leaves" else 0,
                jitter=rng.choice((0, 0.01, 0.02)),
                seed=rng.randrange(1, 1000),
                speed=rng.choice(("none", "high")),
            ), rng.choice((0.2, 0.5, 1, 2)), rng.choice(((4 * KIB, 32 * KIB, 120 * KIB), (512, 8 * KIB, 64 * KIB)))
    # And without any buffer.
    for n in range(plain):
        card = 0.3e6 * (10 / 0.3) ** rng.random()
        yield buffers.Spec(
            link=rng.choice((1.0e6, 1.2e6, 5e6, 20e6)),
            link_cost=rng.choice((0, 100e-6, 500e-6)),
            card_read=card * rng.uniform(1, 4),
            card_write=card,
            write_command=rng.choice((0, 0, 200e-6)),
            overlapped=rng.random() < 0.5,
            claims_cache=rng.random() < 0.5,
            sync=rng.choice(("yes", "no")),
            jitter=rng.choice((0, 0.02)),
            seed=rng.randrange(1, 1000),
        ), rng.choice((0.2, 0.5, 1)), (4 * KIB, 32 * KIB, 120 * KIB)


def by_itself(s):
    return s.drain == "at-once"


def flushes_truly(s):
    return s.sync == "yes" and not s.ignores_flush and not s.flush_leaves


def reads_wait(s):
    return not s.reads_from_buffer


def look(case):
    """What the tool says of one gadget, beside the truth."""
    n, spec, seconds, sizes, order, folder = case
    record = tool.sweep(
        spec,
        folder,
        f"stored{n}",
        direction="read,write",
        sizes=",".join(map(str, sizes)),
        seconds=seconds,
        passes=3,
        seed=n + 1,
        order=order,
    )
    found = []
    for p in tool.points(record):
        if p.direction == "read":
            found.append((p, buffers.read_rate(spec, p.size)))
        else:
            found.append((p, buffers.stored_rate(spec, p.size)))
    return spec, seconds, found, copies(spec, record, found, os.path.join(folder, f"stored{n}"))


COPY, FLUSHED = 16_000_000, 200


def copies(spec, record, found, name):
    """What explain predicts for a copy and for writes that are flushed one by one: (what, said, truth)."""
    stored = {p.size: p.stored for p, _ in found if p.direction == "write"}
    large, small = max(stored), 4 * KIB
    said = []
    if stored[large] is None:
        return said
    truth = buffers.copy_time(spec, COPY, large)
    said.append(("--copy", tool.copy_seconds(record, COPY, large), truth))
    seen = tool.observed(name + ".seen", COPY // large, large, 1, truth * large / COPY, 0)
    said.append(("--as", tool.weighed_seconds(record, seen), buffers.copy_time(spec, COPY // large * large, large)))
    if small in stored and stored[small] and (not spec.behind or (by_itself(spec) and flushes_truly(spec))):
        truth = buffers.copy_time(spec, FLUSHED * small, small, 1)
        seen = tool.observed(name + ".seen", FLUSHED, small, FLUSHED, truth / FLUSHED / 2, truth / FLUSHED / 2)
        said.append(("flushed", tool.weighed_seconds(record, seen), truth))
    return said


def near(value, truth, share):
    return abs(value / truth - 1) <= share


def uneven(models, rng):
    """Without a buffer, however much its commands differ; and small buffers that neither reads nor flushes wait for."""
    for n in range(models // 2 if models else 240):
        yield True, buffers.Spec(
            link=rng.choice((1.0e6, 1.2e6, 5e6, 20e6)),
            card_write=0.3e6 * (10 / 0.3) ** rng.random(),
            overlapped=rng.random() < 0.5,
            sync=rng.choice(("yes", "no")),
            jitter=rng.choice((0.02, 0.05, 0.1, 0.2)),
            seed=rng.randrange(1, 10**6),
        )
    for n in range(models // 4 if models else 60):
        card = 0.3e6 * (3 / 0.3) ** rng.random()
        yield False, buffers.Spec(
            link=20e6,
            card_write=card,
            behind=int(4 * KIB * 2 ** rng.uniform(0, 4)) // 512 * 512,
            reads_from_buffer=True,
            sync="no",
            jitter=rng.choice((0, 0.01)),
            seed=rng.randrange(1, 10**6),
        )


def goes_ahead(case):
    """Does the tool say that it goes ahead of its storage?"""
    n, (plain, spec), folder = case
    sizes = f"{4 * KIB},{64 * KIB}"
    record = tool.sweep(spec, folder, f"uneven{n}", direction="write", sizes=sizes, seconds=0.3, passes=3, seed=n + 1)
    sentences = [f["sentence"] for f in tool.view("report", record)["findings"]]
    return plain, spec, any("ahead of its storage" in s for s in sentences)


def table_of_uneven(models, rng, folder, pool, report):
    alarms = Most("no buffer, commands that differ by 2 to 20 %: said to go ahead of its storage", 0)
    found = Share("buffers of 4 to 64 KiB that no flush and no read waits for: said to go ahead of its storage", 0.9)
    cases = [(n, case, folder) for n, case in enumerate(uneven(models, rng))]
    for plain, spec, said in pool.map(goes_ahead, cases, chunksize=4):
        (alarms if plain else found).add(said, str(spec))
    report(alarms)
    report(found)


def table(models, seed, folder, jobs, report):
    rng = random.Random(seed)
    cases = [(n, *c, rng.choice(("sequential", "random")), folder) for n, c in enumerate(grid(models, rng))]
    right = Share("stored rates shown: within 3 % of the truth, or inside the stated range", 1)
    shown = Share("shown, where the gadget drains by itself and flushes truly, delays reads or pushes back", 0.9)
    plain = Share("shown, where it has no buffer", 0.9)
    lazy = Share("where it drains after idling, on flush only, or behind reads with no flush: no unqualified 'stored'", 1)
    reads = Share("reads beside writes: within 2 % of reads alone", 1)
    copied = Share("copies of 16 MB by explain, --copy and --as: within 5 % of the truth", 0.99)
    flushed = Share("200 writes of 4 KiB, each flushed, by explain --as: within 15 % of the truth", 0.95)
    with ProcessPoolExecutor(jobs) as pool:
        for spec, seconds, found, said in pool.map(look, cases, chunksize=4):
            for p, truth in found:
                value = p.acknowledged if p.direction == "read" else p.stored
                what = f"{p.direction} {p.size} B, {seconds} s: {value} for {truth:.0f}, by {p.stored_by}: {spec}"
                if p.direction == "read":
                    reads.add(near(value, truth, 0.02), what)
                    continue
                if value is not None:
                    low, high = p.stored_range
                    right.add(near(value, truth, 0.03) or (low is not None and low <= truth <= high), what)
                if not spec.behind:
                    plain.add(value is not None, what)
                elif by_itself(spec):
                    shown.add(value is not None, what)
                if spec.behind and (not by_itself(spec) or (not reads_wait(spec) and not flushes_truly(spec))):
                    lazy.add(p.stored_by in (None, "steady"), what)
            for what, value, truth in said:
                goal, within = (flushed, 0.15) if what == "flushed" else (copied, 0.05)
                goal.add(value is not None and near(value, truth, within), f"{what}: {value} s for {truth:.4g} s: {spec}")
        for share in (right, shown, plain, lazy, reads, copied, flushed):
            report(share)
        table_of_uneven(models, rng, folder, pool, report)
