# The gate where something was not measured: what the new build loses there is in no figure, so it passes nothing.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3"
cd "$tmp" || exit 1
cat >write.py <<'END'
"""write.py TRUTH FILE [KEY=VALUE...]: a sweep of eight passes of 0.5 ms + n / (1 MB/s), each off by a little; keys: sizes (so many, from
512 on), failed (so many passes with errors), resets (so many with resets instead), end (status), p99 (times the median), rate (times that
of the others), even (1: all passes alike), quick (so many passes of 200 requests, the others take twice as long and have 60), label,
revision, serial, watched (1: on the bus), shared (so many passes with other devices there), link (bits a second)."""
import sys

sys.path.insert(0, sys.argv[1])
import tool

path, o = sys.argv[2], dict(w.split("=") for w in sys.argv[3:])
sizes = [512 << i for i in range(int(o.get("sizes", 4)))]
lines = [
    ("run", {"id": "20261126T000000Z-%08x" % (abs(hash(path)) % (1 << 32)), "kind": "sweep", "tool": "0.1.0", "started": "2026-11-26T00:00:00Z", "label": o.get("label", path)}),
    ("target", {"kind": "device", "path": "/dev/sdx", "name": "sdx", "token": "x", "size_bytes": 1 << 30, "transport": "usb"} | {k: o[k] for k in ("revision", "serial") if k in o} | ({"link_bits_per_second": o["link"]} if "link" in o else {})),
    ("plan", {"region_start": 0, "region_bytes": 1 << 30, "sizes": ",".join(map(str, sizes)), "read": 1, "sequential": 1, "in_flight": 1, "seconds": 1, "passes": 8}),
]
for n in range(8):
    for size in sizes:
        slow = "quick" in o and n >= int(o["quick"])
        each = int((0.0005 + size / 1e6) * 1e9 * (1 + (0 if "even" in o else 0.001 * (n % 3))) / float(o.get("rate", 1))) * (2 if slow else 1)
        count = 60 if slow else 200
        bad = n < int(o.get("failed", 0)) or n < int(o.get("resets", 0))
        fields = {"direction": "read", "order": "sequential", "request_bytes": size, "in_flight": 1, "pass": n + 1, "at_ns": n * 10**9}
        fields |= {"bytes": size * count, "requests": count, "device_known": 0, "busy_ns": each * count, "lat_min_ns": each, "lat_p50_ns": each}
        fields |= {"lat_p90_ns": each, "lat_p99_ns": int(each * float(o.get("p99", 1.5))), "lat_max_ns": 2 * each}
        fields |= {"errors": int(bad and "failed" in o), "flags": ("errors" if "failed" in o else "resets") if bad else ""}
        if "watched" in o:
            fields |= {"phases": "seen", "commands": count, "command_seconds": 0.1, "data_seconds": 0.1, "status_seconds": 0.1, "host_seconds": 0.1, "bus_shared": int(n < int(o.get("shared", 0)))}
        lines.append(("pass", fields))
lines.append(("end", {"status": o.get("end", "complete"), "exit_status": 0, "reason": ""}))
tool.write_record(path, "sweep", lines)
END
sweep() { python3 write.py "$here/../truth" "$@" || fail "no record"; }
gate() { # STATUS BASE NEW
	run "$1" "$BLKASSAY" compare "$2" --against "$3" --allow-slower 5
}
sweep base.assay
sweep same.assay
gate 0 base.assay same.assay
tells "Gate passed for these two runs: no point loses more than"

# Points that the new side lacks; more than the base has is no loss, unless the base has less because it did not finish.
sweep less.assay sizes=3
sweep cut.assay sizes=3 end=interrupted
gate 4 base.assay less.assay
tells "Gate undecided: the new side lacks 1 point that the base has, so what it loses there is not known. The other 3 points lose no more than 5 %."
gate 0 less.assay base.assay
gate 4 cut.assay base.assay
tells "Gate undecided: the base did not finish, so 1 point of the new side cannot be compared."

# Passes that failed may be those that were slow: what is left says nothing of them. Where the base fails as often they tell
# nothing new.
for how in failed resets; do
	sweep bad-$how.assay $how=2
	sweep as-bad-$how.assay $how=2
	gate 4 base.assay bad-$how.assay
	tells "Gate undecided: 8 passes of the new side met errors or resets (base: 0) and do not count, so what they lost is in no figure. By the passes that count, 4 points lose no more than 5 %."
	gate 0 bad-$how.assay as-bad-$how.assay
	gate 0 bad-$how.assay base.assay
done

# No number of passes shows a loss of 0.
run 4 "$BLKASSAY" compare base.assay --against same.assay --allow-slower 0
says_not "It takes 4 or more"
tells "can't be told from one that is slower by a hair: allow a little."

# However alike the passes are, nobody's clock and cost are alike to a hair.
sweep even.assay even=1
sweep hair.assay even=1 rate=1.0005
run 0 "$BLKASSAY" compare even.assay --against hair.assay
tells "The new run is not shown to differ at any of 4 points"
sweep more.assay even=1 rate=1.005
run 0 "$BLKASSAY" compare even.assay --against more.assay
tells "The new run is faster at 4 of 4 points, by 0.5 %"

# p99 in neighbouring bins of the histogram are one p99, of as many passes as there may be; a bin more is a difference.
sweep next.assay p99=1.511 # 1.5 * 128.9 / 128
gate 0 base.assay next.assay
says_not "take longer than before"
sweep far.assay p99=1.56
gate 0 base.assay far.assay
tells "At 4 points the slowest 1 % of the requests take longer than before."
# Of passes half of which are slow and have few requests, those with a p99 are the quick ones: none is told.
sweep mixed.assay quick=4
run 0 "$BLKASSAY" compare base.assay --against mixed.assay
tells "At 4 points no 99th percentile is compared"
run 0 "$BLKASSAY" report mixed.assay --json m.json
python3 -c 'import json, sys
sys.exit(any(p["request_time_p99_seconds"] for p in json.load(open("m.json"))["points"]))' || fail "a p99 of the quick passes alone"

# A run that broke off in an error passes nothing by the passes it had done; one that somebody ended may.
sweep broke.assay end=failed
gate 4 base.assay broke.assay
tells "Gate undecided: 1 run of the new side ended in an error (base: 0), so what would have followed is not known. By the passes that count, 4 points lose no more than 5 %."
gate 0 broke.assay base.assay
sweep ended.assay end=interrupted
gate 0 base.assay ended.assay
# Of a side whose passes all failed nothing can be said, and the sizes are not to blame.
sweep none.assay failed=8
gate 2 base.assay none.assay
says "no pass of the new side counts: all 32 were cut short, had errors or were disturbed"

# One firmware under two labels, and no difference: perhaps the new build was never flashed. Where a point differs something was.
sweep r1.assay label=old revision=1.0
sweep r2.assay label=new revision=1.0
sweep r3.assay label=old revision=1.0
sweep quick.assay label=new revision=1.0 rate=1.2
sweep slow.assay label=new revision=1.0 rate=0.8
gate 4 r1.assay r2.assay
tells "Gate undecided: both builds give the same firmware revision (revision 1.0) and no point is shown to differ, so the new one may never have been flashed. By the figures alone, 4 points lose no more than 5 %; --anyway lets that count."
gate 0 r1.assay r3.assay
gate 0 r1.assay quick.assay
tells "Both builds give the same firmware revision (revision 1.0)"
gate 1 r1.assay slow.assay
tells "Gate failed for these two runs: 4 of 4 points"
run 0 "$BLKASSAY" compare r1.assay --against r2.assay --allow-slower 5 --anyway
tells "Gate passed for these two runs, with cautions set aside by --anyway: no point loses"
run 0 "$BLKASSAY" compare r1.assay --against r2.assay

# Runs given in the order they were recorded (A B B A) with --against in the middle: each side has a run of either build.
for r in a1 b1 b2 a2 a3 b3 a4 b4; do
	sweep $r.assay label=${r%?} serial=S-1
done
sides() { # STATUS BASE... -- NEW...
	wanted_status=$1
	shift
	run "$wanted_status" "$BLKASSAY" compare "$@" --allow-slower 5 --json sides.json
	run "$wanted_status" "$BLKASSAY" compare "$@" --allow-slower 5
}
sides 4 a1.assay b1.assay b2.assay a2.assay --against a3.assay b3.assay a4.assay b4.assay
tells "Gate undecided: runs labelled 'a' are on both sides, beside runs with another label, so one may be on the wrong side."
grep -q '"mixed-labels"' sides.json || fail "no code in the JSON"
sides 0 a1.assay a2.assay a3.assay a4.assay --against b1.assay b2.assay b3.assay b4.assay
says_not "on the wrong side"

# A gadget of its own for each build: the faster one may hide the slower build. Where one gadget had both, it is not so.
for r in c1 c2 c3 c4; do
	sweep $r.assay label=c serial=S-2
done
sides 4 a1.assay a2.assay a3.assay a4.assay --against c1.assay c2.assay c3.assay c4.assay
tells "Gate undecided: no gadget was measured with both builds (serial numbers S-1 and S-2), so a faster gadget may hide a slower build."
sides 0 a1.assay a2.assay a3.assay a4.assay --against c1.assay c2.assay c3.assay b4.assay
tells "The runs come from gadgets with different serial numbers (S-1 and S-2)"

# Watching the bus takes time: a side that was watched looks slower.
sweep watched.assay watched=1
gate 0 base.assay watched.assay
tells "the bus not watched against watched (which takes 2 to 5 % of short requests)"
gate 0 watched.assay base.assay
tells "the bus watched against not watched (which takes 2 to 5 % of short requests)"
sweep too.assay watched=1
gate 0 watched.assay too.assay
says_not "the bus"
# So does one with a neighbour on its bus.
sweep shared.assay watched=1 shared=2
gate 0 watched.assay shared.assay
tells "the bus the target's own against shared with other devices"
gate 0 shared.assay watched.assay
tells "the bus shared with other devices against the target's own"
# What is not known of one run is called so.
sweep linked.assay link=12000000
gate 2 base.assay linked.assay
says "link unknown against 12 Mb/s"
run 0 "$BLKASSAY" compare base.assay --against linked.assay --allow-slower 5 --anyway
tells "Gate passed for these two runs, with cautions set aside by --anyway"
exit 0
