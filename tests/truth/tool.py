"""Running the program under test, and reading what it says."""

import json
import os
import subprocess
import zlib

BLKASSAY = os.environ.get("BLKASSAY", os.path.join(os.path.dirname(__file__), "../../build/blkassay"))


class Failed(Exception):
    pass


def run(*arguments, status=0):
    """Its standard output; Failed where it ended otherwise than with `status`."""
    done = subprocess.run([BLKASSAY, *map(str, arguments)], capture_output=True, text=True)
    if done.returncode != status:
        raise Failed(f"blkassay {' '.join(map(str, arguments))}: status {done.returncode}\n{done.stderr}")
    return done.stdout


def sweep(spec, folder, name, **options):
    """Sweeps the gadget and returns the path of the record. Options as on the command line, `_` for `-`."""
    model, record = os.path.join(folder, name + ".model"), os.path.join(folder, name + ".assay")
    with open(model, "w") as f:
        f.write(spec.text())
    if os.path.exists(record):
        os.unlink(record)
    words = ["sweep", "model:" + model, "--out", record, "--quiet"]
    for key, value in options.items():
        words += ["--" + key.replace("_", "-"), str(value)]
    run(*words)
    return record


class Point:
    """One point of a sweep, as its JSON has it."""

    def __init__(self, row):
        self.row = row
        self.direction, self.order, self.size = row["direction"], row["order"], row["request_bytes"]
        self.acknowledged = row["acknowledged_bytes_per_second"]
        self.stored, self.stored_by = row["stored_bytes_per_second"], row["stored_by"]
        self.stored_range = (row["stored_low_bytes_per_second"], row["stored_high_bytes_per_second"])


def view(*arguments):
    """What a command shows, as JSON."""
    return json.loads(run(*arguments, "--json", "-"))


def points(record):
    """Every point of a sweep."""
    return [Point(row) for row in view("report", record)["points"]]


def quoted(text):
    """A value as a record has it (blkassay-record(5))."""
    return "".join(c if c not in " %=~" and 32 < ord(c) < 127 else "".join(f"%{b:02X}" for b in c.encode()) for c in str(text))


def write_record(path, kind, lines):
    """A record of `lines`: (kind, {key: value})."""
    with open(path, "w") as f:
        for n, (what, fields) in enumerate([("blkassay-record", {"version": 1, "kind": kind}), *lines], 1):
            line = " ".join([str(n), what, *(f"{k}={v if k in RAW else quoted(v)}" for k, v in fields.items())])
            f.write(f"{line} ~{zlib.crc32(line.encode()):08X}\n")


RAW = ("sizes", "bins", "bytes")  # lists: their commas and colons stand as they are


def observed(path, writes, size, flushes, service_s, flush_s):
    """What a host was seen to send: so many writes of one size, and flushes."""
    total = {"traced": 1, "at_ns": 10**9, "ns": 10**9, "reads": 0, "read_bytes": 0, "writes": writes, "written_bytes": writes * size}
    busy = writes * service_s + flushes * flush_s
    total |= {"flushes": flushes, "flush_ms": int(flushes * flush_s * 1e3), "busy_ms": int(busy * 1e3)}
    seen = {"reads": 0, "read_bytes": 0, "writes": writes, "written_bytes": writes * size, "flushes": flushes}
    seen |= {"sequential_writes": writes, "sequential_written_bytes": writes * size}
    flush_ns = int(flush_s * 1e9)
    write_record(
        path,
        "observe",
        [
            ("run", {"id": "20261126T000000Z-00000001", "kind": "observe", "tool": "0.1.0", "started": "2026-11-26T00:00:00Z"}),
            ("target", {"kind": "model", "path": "model:truth", "name": "truth", "token": "truth", "transport": "model", "modelled": 1}),
            ("total", total),
            ("seen", seen),
            ("mix", {"direction": "write", "sizes": f"{size}:{writes}:{int(writes * service_s * 1e9)}"}),
            ("latency", {"of": "flush", "count": flushes, "p50_ns": flush_ns, "max_ns": flush_ns}),
            ("end", {"status": "complete", "exit_status": 0, "reason": ""}),
        ],
    )
    return path


def copy_seconds(record, total, size):
    """What explain says a copy takes; None where it knows no stored rate."""
    for row in view("explain", record, "--copy", total, "--request", size)["copies"]:
        if row["direction"] == "write" and row["way"] == "measured" and row["request_bytes"] == size:
            return row["seconds"]
    return None


def weighed_seconds(record, seen):
    """What explain --as says all of the observed takes."""
    for row in view("explain", record, "--as", seen)["as_observed"]:
        if row["of"] == "all":
            return row["now_seconds"]
    return None
