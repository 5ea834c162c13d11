# Writes are called stored only where something shows it, and then it is so. A gadget whose card stores 2 MB/s, in every way to
# buffer, to flush and to keep silent about it.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3, which reads JSON"
cd "$tmp" || exit 1
gadget() { # FIRMWARE-AND-REST: a model file
	{
		printf '%s\n' "gadget-model 1" "device:" "name = stored" "capacity = 64Mi" "link:" "speed = high" "rate = 20 MB/s" \
			"card:" "read rate = 10 MB/s" "write rate = 2 MB/s" "firmware:" "unit = request"
		printf '%s\n' "$@"
	} >g.model
}
sweep() { # OPTION...: both directions, as s.assay; its JSON is s.json
	rm -f s.assay
	run 0 "$BLKASSAY" sweep model:g.model --direction read,write --sizes 4Ki,32Ki,120Ki --seed 5 --passes 3 --out s.assay "$@"
	cp "$out" s.txt
	run 0 "$BLKASSAY" report s.assay --json s.json
}
# Every write point is stored at RATE (null: not shown), which BY shows; reads are within 2 % of those of a sweep without writes.
stored() { # RATE BY
	rm -f r.assay
	run 0 "$BLKASSAY" sweep model:g.model --sizes 4Ki,32Ki,120Ki --seed 6 --passes 3 --out r.assay
	run 0 "$BLKASSAY" report r.assay --json r.json
	python3 - "$1" "$2" <<'EOF' >why 2>&1 || fail "$(cat why)"
import json, sys
rate, by = (None if word == "null" else word for word in sys.argv[1:])
def key(p): return p["order"], p["request_bytes"]
alone = {key(p): p["acknowledged_bytes_per_second"] for p in json.load(open("r.json"))["points"]}
for p in json.load(open("s.json"))["points"]:
    if p["direction"] == "read":
        off = p["acknowledged_bytes_per_second"] / alone[key(p)] - 1
        assert abs(off) <= 0.02, f"a read is {off:.1%} off reads alone: {p}"
    else:
        assert p["stored_by"] == by, f"stored by {p['stored_by']}, not {by}: {p}"
        got = p["stored_bytes_per_second"]
        assert (got is None) == (rate is None), f"a stored rate {got}: {p}"
        assert rate is None or abs(got / float(rate) - 1) <= 0.03, f"stored at {got}: {p}"
EOF
}

# Silent about its buffer, which the kernel then never flushes: the run's own SYNCHRONIZE CACHE tells.
for seconds in 1 0.2; do
	gadget "write behind = 1Mi" "claims:" "caching page = no"
	sweep --seconds $seconds
	stored 2e6 flush
	grep -q "writes are stored at up to 2.0[0-9] MB/s" s.txt || fail "not the card's rate in the verdict"
done
# An honest one; one that refuses the command, but lets reads wait; one that lies, past which reads go.
gadget "write behind = 1Mi" "claims:" "write cache = yes"
sweep --seconds 0.2
stored 2e6 flush
gadget "write behind = 1Mi" "claims:" "caching page = no" "synchronize cache = no"
sweep --seconds 0.2
stored 2e6 settled
gadget "write behind = 1Mi" "reads = from-buffer" "claims:" "write cache = yes" "faults:" "ignore flush = yes"
sweep --seconds 0.2
stored 2e6 steady
run 0 "$BLKASSAY" report s.assay
tells "unless something behind that buffer holds more than"
# Nothing shows it: it stores when it is flushed alone, and never fills in so small a region. Nothing is promised then, neither in
# words nor in what explain and compare make of it, and the status is 0 all the same.
gadget "write behind = 4Mi" "drain = on-flush" "claims:" "write cache = yes"
sweep --seconds 0.2 --region 0+1Mi
stored null null
run 0 "$BLKASSAY" report s.assay
tells "Whether writes are stored is not shown: it stores only when it is flushed, read or left alone"
says_not "are stored at"
run 0 "$BLKASSAY" explain s.assay --copy 16MB --link 20MB/s --card-write 2MB/s
tells "not shown, as nothing shows when these writes are stored"
says "acknowledged"
says_not "write      overlapped"
mv s.assay other.assay
sweep --seconds 0.2 --region 0+1Mi
run 0 "$BLKASSAY" compare s.assay --against other.assay
tells "acknowledged"

# A gadget that takes 1.2 MB/s and stores 401 kB/s has everything to gain, and no link to blame.
gadget "write behind = 256Ki" "claims:" "caching page = no"
sed -i 's/^speed = high/speed = full/; s/^rate = 20/rate = 1.2/; s/^write rate = 2/write rate = 0.401/' g.model
rm -f s.assay
run 0 "$BLKASSAY" sweep model:g.model --direction write --sizes 512..64Ki --order sequential --seconds 0.2 --passes 3 --out s.assay
says "Writes are stored at up to 401 kB/s"
run 0 "$BLKASSAY" explain s.assay --link 1.2MB/s --card-write 0.401MB/s
tells "What limits writes: the card, 100 %"
tells "That is until it is acknowledged; storing takes longer"
says_not "faster link"

# The same card's stalls behind a buffer pass in the closing flush, when no pass is long enough to wait for them: the long run is
# told in the verdict all the same. 8 MiB at 2 MB/s and 1.5 s: 1.47 MB/s; which flushes meet the 25 or so stalls is chance.
gadget "write behind = 1Mi" "claims:" "write cache = yes"
sed -i 's/^write rate = 2.*/&\nstall every = 8Mi\nstall time = 1.5 s/' g.model
run 0 "$BLKASSAY" sweep model:g.model --direction write --sizes 4Ki,32Ki,120Ki --seconds 0.2 --passes 27 --seed 5 --out stall.assay --json stall.json
tells "2.00 MB/s between stalls, 1."
tells "the slowest of the closing flushes of"
python3 - <<'END' || fail "the long run is not 1.47 MB/s within a tenth"
import json, sys
found = next(f for f in json.load(open("stall.json"))["findings"] if f["code"] == "stalls")
print(found)
sys.exit(not (abs(found["long_run_bytes_per_second"] / 1.47e6 - 1) < 0.1 and found["slowest_flush_seconds"] > 1.5 and
    found["stalls"] >= 2))
END

# A card that stalls now and then, behind no buffer at all: its rounds look like those of a buffer that is stored as a whole, and
# neither is claimed. 8 MiB at 1 / (1 / 20 + 1 / 3.5) MB/s and 1.5 s: 1.97 MB/s.
cat >stalls.model <<'END'
gadget-model 1
device:
    name = stalls
    capacity = 256Mi
    jitter = 1 %
link:
    speed = high
    rate = 20 MB/s
card:
    read rate = 10 MB/s
    write rate = 3.5 MB/s
    stall every = 8Mi
    stall time = 1.5 s
firmware:
    unit = request
END
run 0 "$BLKASSAY" sweep model:stalls.model --direction write --sizes 64Ki,120Ki --order sequential --seed 2 --quiet --out stalls.assay
tells "Writes go in fits and starts: about every "
tells "or where the card stalls"
tells_not() { tr -s ' \n' ' ' <"$out" | grep -qF "$1" && fail "'$1' is said"; return 0; }
tells_not "ahead of its storage"

# A silent buffer of 3 MiB behind a link not twice as fast as the card, 549 kB/s, and requests that cost 0.5 or 2 ms each: it is
# filled only when most of the first look is over, and never by requests of 512 B, which take 1.01 and 2.51 ms.
for cost in 0.5 2; do
	cat >late.model <<-END
		gadget-model 1
		device:
		name = late
		capacity = 64Mi
		jitter = 2 %
		link:
		speed = high
		rate = 1 MB/s
		request cost = $cost ms
		card:
		read rate = 1.34 MB/s
		write rate = 0.549 MB/s
		firmware:
		unit = request
		write behind = 3Mi
		reads = from-buffer
		claims:
		synchronize cache = no
	END
	for seed in 1 2; do
		rm -f late.assay
		run 0 "$BLKASSAY" sweep model:late.model --direction write --sizes 512,8192,65536 --order sequential --seconds 0.5 --passes 3 \
			--seed $seed --quiet --out late.assay --json late.json
		python3 - late.json $cost <<-'END' || fail "late: a stored rate that is not"
			import json, sys
			small = 512 / (float(sys.argv[2]) * 1e-3 + 512 / 1e6)
			wrong = [p for p in json.load(open(sys.argv[1]))["points"]
			         if not abs(p["stored_bytes_per_second"] / min(549e3, small if p["request_bytes"] == 512 else 549e3) - 1) < 0.03]
			print(*(f"{p['request_bytes']}: {p['stored_bytes_per_second']:.0f}" for p in wrong), file=sys.stderr)
			sys.exit(bool(wrong))
		END
	done
done
exit 0
