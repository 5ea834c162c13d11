"""The timing of a gadget, from the description in blkassay-model(5) alone: the outside reference of the tests in this
folder. It shares no code with the tool and has no jitter: it is the truth that a measurement scatters about.

A gadget is a dict of the keys below; times in s, rates in B/s, sizes in bytes."""
import math
import os

FRAME = {"full": (1e-3, 64, 19), "high": (125e-6, 512, 13)}  # s, payload of a packet, packets a frame: USB 2.0, 5-9, 5-10
CEILING = {"full": 1216000.0, "high": 53248000.0}
UNLIMITED = math.inf

DEFAULTS = dict(speed="none", frames=False, rate=1e6, link_cost=0.0, gap=0.0, limit=0, read_rate=1e6, write_rate=1e6,
                read_command=0.0, write_command=0.0, read_sector=0.0, write_sector=0.0, write_unit=0, stall_every=0,
                stall_time=0.0, unit="request", transfer="store-and-forward", chunk=0, firmware_cost=0.0, behind=0,
                reads="drain-first", block=512, capacity=64 << 20, jitter=0.0, seed=1, caching_page=True,
                write_cache=False)


def gadget(**changes):
    g = dict(DEFAULTS, **changes)
    if not g["limit"]:
        g["limit"] = (1 << 20) if g["speed"] == "none" else 120 << 10
    return g


def edited(g, **changes):
    return dict(g, **changes)


def tool(build):
    """The program under test in a folder of builds; without one as the tests of this folder find it."""
    here = os.path.dirname(os.path.abspath(__file__))
    return os.path.join(build, "blkassay") if build else os.environ.get("BLKASSAY", os.path.join(here, "../../build/blkassay"))


def text(g, name):
    """The model file."""
    rate = lambda r: "unlimited" if math.isinf(r) else "%.3f B/s" % r
    time = lambda t: "%.0f ns" % (t * 1e9)
    out = ["gadget-model 1", "device:", "    name = %s" % name, "    capacity = %d" % g["capacity"],
           "    block = %d" % g["block"], "    seed = %d" % g["seed"], "    jitter = %.4f %%" % (g["jitter"] * 100),
           "link:", "    speed = %s" % g["speed"], "    request limit = %d" % g["limit"],
           "    request cost = %s" % time(g["link_cost"]), "    host gap = %s" % time(g["gap"])]
    out.append("    frames = yes" if g["frames"] else "    rate = %s" % rate(g["rate"]))
    out += ["card:", "    read rate = %s" % rate(g["read_rate"]), "    write rate = %s" % rate(g["write_rate"])]
    for key in ("read command", "write command", "read sector", "write sector"):
        out.append("    %s cost = %s" % (key, time(g[key.replace(" ", "_")])))
    if g["write_unit"]:
        out.append("    write unit = %d" % g["write_unit"])
    if g["stall_every"]:
        out += ["    stall every = %d" % g["stall_every"], "    stall time = %s" % time(g["stall_time"])]
    out += ["firmware:", "    unit = %s" % g["unit"], "    transfer = %s" % g["transfer"],
            "    request cost = %s" % time(g["firmware_cost"])]
    if g["chunk"] and g["transfer"] == "overlapped":
        out.append("    chunk = %d" % g["chunk"])
    if g["behind"]:
        out += ["    write behind = %d" % g["behind"], "    reads = %s" % g["reads"]]
    out += ["claims:", "    caching page = %s" % ("yes" if g["caching_page"] else "no"),
            "    write cache = %s" % ("yes" if g["write_cache"] else "no")]
    return "\n".join(out) + "\n"


def next_frame(g, t):
    """The start of the next frame, t itself if it is one (to a picosecond: sums of binary fractions)."""
    if not g["frames"]:
        return t
    frame = FRAME[g["speed"]][0]
    return math.ceil(t / frame - 1e-9) * frame


def link_time(g, done, more):
    """Of `more` bytes of a data phase that has moved `done`."""
    if not g["frames"]:
        return more / g["rate"]
    frame, payload, packets = FRAME[g["speed"]]
    frames = lambda n: -(-(-(-n // payload)) // packets)
    return (frames(done + more) - frames(done)) * frame


class Card:
    """What one command's part takes on the card; knows how much was written, for the stalls."""

    def __init__(self, g, write):
        self.g, self.write, self.written = g, write, 0
        self.rate = g["write_rate" if write else "read_rate"]
        self.command = g["write_command" if write else "read_command"]
        self.sector = g["write_sector" if write else "read_sector"]

    def time(self, at, length, offset, n):
        g, blocks = self.g, n // self.g["block"]
        unit = g["write_unit"] or g["block"]
        commands, moved, stall = (0 if offset else 1), n, 0.0
        if g["unit"] == "sector":
            commands = blocks
        if self.write:
            if g["unit"] == "sector":
                moved += blocks * (unit - g["block"])
            elif not offset:
                moved += -(-(at + length) // unit) * unit - at // unit * unit - length
            if g["stall_every"]:
                before = self.written // g["stall_every"]
                self.written += n
                stall = (self.written // g["stall_every"] - before) * g["stall_time"]
        return commands * self.command + blocks * self.sector + moved / self.rate + stall


def through(g, card, at, length, t):
    """Link and card for one command, in turn or overlapped through two buffers."""
    chunk = (g["chunk"] or g["block"]) if g["transfer"] == "overlapped" else length
    first = second = [t, t]  # when the last chunk left the stage, and the one before it
    offset = 0
    while offset < length:
        n = min(chunk, length - offset)
        link, stored = link_time(g, offset, n), card.time(at, length, offset, n)
        first = [max(first[0], second[1]) + (link if card.write else stored), first[0]]
        ready = max(first[0], second[0])
        if not card.write and not offset:
            ready = next_frame(g, ready)
        second = [ready + (stored if card.write else link), second[0]]
        offset += n
    return second[0]


class Behind:
    """A write-behind buffer of blocks: when each will be on the card."""

    def __init__(self, g, card):
        self.g, self.card = g, card
        self.room, self.finish, self.last = g["behind"] // g["block"], [], 0.0

    def take(self, at, length, t):
        for offset in range(0, length, self.g["block"]):
            if len(self.finish) == self.room:
                t = max(t, self.finish[0])
            while self.finish and self.finish[0] <= t:
                self.finish.pop(0)
            t += link_time(self.g, offset, self.g["block"])
            self.last = max(t, self.last) + self.card.time(at, length, offset, self.g["block"])
            self.finish.append(self.last)
        return t


def request_seconds(g, write, n, in_flight=1):
    """Mean seconds of a request of n bytes in a long run of sequential ones that all get stored: time over requests."""
    card = Card(g, write)
    behind = Behind(g, card) if write and g["behind"] else None
    unit = g["write_unit"] or g["block"]
    period = math.lcm(n, unit) // n if write and unit > g["block"] else 1
    skip = period * -(-2 * in_flight // period)  # until the requests in flight have found their rhythm
    count = skip + period * max(1, 8 // period)
    if behind:
        count = max(count, 1 + (4 * g["behind"] + 64 * g["block"]) // n)
    if write and g["stall_every"]:
        count = max(count, 8 * g["stall_every"] // n)
    ready, busy, done, begun = [0.0] * in_flight, 0.0, 0.0, 0.0
    for index in range(count):
        who = ready.index(min(ready))
        now, at = ready[who], index * n
        for offset in range(0, n, g["limit"]):
            length = min(g["limit"], n - offset)
            t = max(now + g["gap"], busy) + g["link_cost"] + g["firmware_cost"]
            if g["frames"]:
                t = next_frame(g, t) + FRAME[g["speed"]][0]
            t = behind.take(at + offset, length, t) if behind else through(g, card, at + offset, length, t)
            if g["frames"]:
                t = next_frame(g, t) + FRAME[g["speed"]][0]
            now = busy = t
        ready[who] = done = now
        if index == skip - 1:
            begun = now
    if behind:
        return max(done, behind.last) / count
    return (done - begun) / (count - skip)


def stalled_seconds(g, n):
    """What stalls add to a request of n written bytes, in the long run."""
    return n / g["stall_every"] * g["stall_time"] if g["stall_every"] else 0.0


def long_run_seconds(g, write, n, in_flight=1):
    """As request_seconds, with stalls at their long-run rate; a buffer hides part of them."""
    if write and g["behind"] and g["stall_every"]:
        return request_seconds(g, write, n, in_flight)
    seconds = request_seconds(edited(g, stall_every=0), write, n, in_flight)
    return seconds + stalled_seconds(g, n) if write else seconds
