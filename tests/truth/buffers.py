"""A described gadget at work, worked out apart from the program under test: from what blkassay-model(5) says in words,
in another language and another manner. It answers what a measurement ought to find: how fast a long stretch of writes is
stored, how fast reads are alone, how long a copy takes. Times are seconds, amounts bytes.

One command at a time. A command costs the link's and the firmware's fixed times, then its data crosses the link. Without
write-behind the card then takes it (or at the same time, in chunks, with two buffers). With write-behind each block is in
the buffer when the link has brought it, and the card takes blocks in order, under the rule of `drain`.
"""

from dataclasses import dataclass

BLOCK = 512


@dataclass
class Spec:
    link: float = 1e6  # B/s
    link_cost: float = 0.0  # s, each command
    host_gap: float = 0.0
    limit: int = 120 * 1024  # larger requests are split
    card_read: float = 1.7e6
    card_write: float = 1e6
    read_command: float = 0.0
    write_command: float = 0.0
    read_sector: float = 0.0
    write_sector: float = 0.0
    single_sectors: bool = False
    overlapped: bool = False
    chunk: int = BLOCK
    firmware_cost: float = 0.0
    behind: int = 0
    reads_from_buffer: bool = False
    drain: str = "at-once"
    idle: float = 0.0
    when_full: str = "block"
    claims_cache: bool = False
    caching_page: bool = True
    sync: str = "yes"  # yes, no, silent
    ignores_flush: bool = False
    flush_leaves: int = 0
    stall_every: int = 0
    stall: float = 0.0
    jitter: float = 0.0
    seed: int = 1
    speed: str = "none"
    capacity: int = 64 << 20

    def text(self):
        """The same as a file for `model:`."""
        yes = {True: "yes", False: "no"}
        lines = ["gadget-model 1", "device:", "name = truth", f"capacity = {self.capacity}", f"seed = {self.seed}"]
        if self.jitter:
            lines.append(f"jitter = {self.jitter * 100:g} %")
        lines += ["link:", f"speed = {self.speed}", f"rate = {self.link / 1e6:.6f} MB/s", f"request limit = {self.limit}"]
        for name, value in (("request cost", self.link_cost), ("host gap", self.host_gap)):
            if value:
                lines.append(f"{name} = {value * 1e6:.3f} us")
        lines += ["card:", f"read rate = {self.card_read / 1e6:.6f} MB/s", f"write rate = {self.card_write / 1e6:.6f} MB/s"]
        for name, value in (
            ("read command cost", self.read_command),
            ("write command cost", self.write_command),
            ("read sector cost", self.read_sector),
            ("write sector cost", self.write_sector),
        ):
            if value:
                lines.append(f"{name} = {value * 1e6:.3f} us")
        if self.stall_every:
            lines += [f"stall every = {self.stall_every}", f"stall time = {self.stall * 1e3:g} ms"]
        lines += ["firmware:", "unit = " + ("sector" if self.single_sectors else "request")]
        if self.overlapped:
            lines += ["transfer = overlapped", f"chunk = {self.chunk}"]
        if self.firmware_cost:
            lines.append(f"request cost = {self.firmware_cost * 1e6:.3f} us")
        if self.behind:
            lines += [
                f"write behind = {self.behind}",
                "reads = " + ("from-buffer" if self.reads_from_buffer else "drain-first"),
                f"drain = {self.drain}",
                f"when full = {self.when_full}",
            ]
            if self.drain == "after-idle":
                lines.append(f"idle time = {self.idle * 1e3:g} ms")
        lines += [
            "claims:",
            "caching page = " + yes[self.caching_page],
            "write cache = " + yes[self.claims_cache],
            f"synchronize cache = {self.sync}",
        ]
        if self.ignores_flush or self.flush_leaves:
            lines.append("faults:")
        if self.ignores_flush:
            lines.append("ignore flush = yes")
        if self.flush_leaves:
            lines.append(f"flush leaves = {self.flush_leaves}")
        return "\n".join(lines) + "\n"


class Gadget:
    """The clock of the host, and what the gadget still has to do."""

    def __init__(self, spec):
        self.s = spec
        self.now = 0.0
        self.busy = 0.0  # until then the last command is served
        self.queue = []  # card seconds of each block in the buffer, oldest first; begun ones are in `ends`
        self.head = 0
        self.ends = []  # when the card will be, or was, done with each block it was given
        self.given = 0  # blocks of `queue` given to the card
        self.gone = 0  # blocks of `ends` known to be over
        self.card_free = 0.0
        self.written = 0

    # -- the card --

    def card_time(self, size, first, write):
        """Of `size` bytes of one command; `first`: its first part."""
        s = self.s
        rate, command, sector = (
            (s.card_write, s.write_command, s.write_sector) if write else (s.card_read, s.read_command, s.read_sector)
        )
        blocks = size // BLOCK
        commands = blocks if s.single_sectors else (1 if first else 0)
        seconds = size / rate + commands * command + blocks * sector
        if write and s.stall_every:
            before = self.written // s.stall_every
            self.written += size
            seconds += (self.written // s.stall_every - before) * s.stall
        return seconds

    def give(self, t, blocks):
        """The card is told to store up to so many of the blocks that wait, from t on."""
        while blocks and self.given < len(self.queue):
            start = max(t, self.card_free)
            self.card_free = start + self.queue[self.given]
            self.ends.append(self.card_free)
            self.given += 1
            blocks -= 1

    def waiting(self, t):
        """Blocks that hold room in the buffer at t."""
        while self.gone < len(self.ends) and self.ends[self.gone] <= t + 1e-12:
            self.gone += 1
        return len(self.queue) - self.gone

    def idle_until(self, t):
        """A firmware that drains when idle does, until a command comes at t."""
        s = self.s
        start = self.busy + s.idle
        if s.drain != "after-idle" or start >= t:
            return
        while self.given < len(self.queue) and max(start, self.card_free) < t:
            self.give(start, 1)

    def drained(self, t, leave=0):
        """When all but `leave` blocks are stored, if the card is told at t."""
        self.give(t, len(self.queue))
        index = len(self.queue) - leave - 1
        return max(t, self.ends[index]) if index >= 0 else t

    # -- commands --

    def begin(self):
        s = self.s
        t = max(self.now + s.host_gap, self.busy)
        self.idle_until(t)
        return t + s.link_cost + s.firmware_cost

    def end(self, t):
        self.now = self.busy = t

    def pieces(self, size):
        while size > 0:
            yield min(size, self.s.limit)
            size -= self.s.limit

    def write(self, size):
        for piece in self.pieces(size):
            t = self.begin()
            t = self.buffer(t, piece) if self.s.behind else self.straight(t, piece, True)
            self.end(t)

    def read(self, size):
        """Of a place that is not in the buffer."""
        for piece in self.pieces(size):
            t = self.begin()
            if self.s.behind and not self.s.reads_from_buffer:
                t = self.drained(t)
            self.end(self.straight(t, piece, False))

    def flush(self):
        t = self.begin()
        if not self.s.ignores_flush:
            t = self.drained(t, self.s.flush_leaves // BLOCK)
        self.end(t)

    def buffer(self, t, piece):
        room = self.s.behind // BLOCK
        for at in range(0, piece, BLOCK):
            if self.waiting(t) == room:
                if self.s.when_full == "all":
                    t = self.drained(t)
                else:
                    if self.given == self.gone:
                        self.give(t, 1)
                    t = max(t, self.ends[self.gone])
            t += BLOCK / self.s.link
            self.queue.append(self.card_time(BLOCK, at == 0, True))
            if self.s.drain == "at-once":
                self.give(t, 1)
        return t

    def straight(self, t, piece, write):
        """Through both stages, the second after the first or beside it with two buffers of a chunk."""
        s = self.s
        chunk = s.chunk if s.overlapped else piece
        first_done, second_done = [t], [t]
        for n, at in enumerate(range(0, piece, chunk)):
            size = min(chunk, piece - at)
            link, card = size / s.link, self.card_time(size, at == 0, write)
            one, two = (link, card) if write else (card, link)
            # A third chunk needs the buffer of the first.
            free = second_done[n - 1] if n >= 2 else t
            first_done.append(max(first_done[-1], free) + one)
            second_done.append(max(first_done[-1], second_done[-1]) + two)
        return second_done[-1]


def stored_rate(spec, size):
    """Of a stretch of writes long enough that what its start gained no longer shows: B/s on the card."""
    g = Gadget(spec)
    if not spec.behind:
        g.write(size)
        start = g.now
        count = max(4, 2 * (spec.stall_every or size) // size)
        for _ in range(count):
            g.write(size)
        return count * size / (g.now - start)
    # From one full buffer to another: with the rule that stores all at once the pattern repeats with the buffer.
    settle = max(4 * spec.behind, 8 * size, 1 << 20)
    measure = max(6 * spec.behind, 16 * size, 2 << 20, 4 * spec.stall_every)
    written, marks = 0, {}
    while written < settle + measure:
        g.write(size)
        written += size
        if written >= settle and "from" not in marks:
            marks["from"] = (len(g.queue), g.now)
    # When the card was done with the blocks that had been taken by either moment.
    first = marks["from"][0] - 1
    g.drained(g.now)
    span = g.ends[-1] - g.ends[first]
    if spec.drain == "at-once":
        return (len(g.queue) - 1 - first) * BLOCK / span
    # Where the card rests while the buffer fills, the end counts once: from a full buffer to a full buffer.
    return long_run(spec, size)


def long_run(spec, size):
    """Acknowledged bytes between moments at which a write had to wait for the whole pattern to repeat."""
    g = Gadget(spec)
    total, waits = 0, []
    goal = 14 * spec.behind + 400 * size
    while total < goal:
        before = g.gone
        g.write(size)
        total += size
        if g.gone > before:
            waits.append((total, g.now))
    first, last = waits[len(waits) // 4], waits[-1]
    return (last[0] - first[0]) / (last[1] - first[1])


def read_rate(spec, size):
    g = Gadget(spec)
    g.read(size)
    start = g.now
    for _ in range(4):
        g.read(size)
    return 4 * size / (g.now - start)


def copy_time(spec, total, size, flush_each=0):
    """Seconds until `total` bytes in writes of `size` are stored, flushed at the end or after each `flush_each` writes.
    The flush is the card's own: what is stored is stored whatever the firmware says."""
    g = Gadget(spec)
    done = n = 0
    while done < total:
        piece = min(size, total - done)
        g.write(piece)
        done += piece
        n += 1
        if flush_each and n % flush_each == 0:
            t = g.begin()
            g.end(g.drained(t) if spec.behind else t)
    t = g.begin()
    return g.drained(t) if spec.behind else g.now
