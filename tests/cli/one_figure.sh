# One page says one thing by one name once: what the link carries at most is one figure, also where several say it; the share of it
# that a sweep shows and the share that explain takes of it without overhead have names of their own; a point has one p50, one
# p99.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
ceilings() { # FILE: every figure that is said to be what the link carries
	tr '\n' ' ' <"$1" | sed 's/<[^>]*>/ /g; s/  */ /g' |
		grep -oE '(carries at most|USB 2.0 table 5-(9|10):|link of at most) [0-9.]+ [kM]B/s' | grep -oE '[0-9.]+ [kM]B/s$' | sort -u
}
columns() { # FILE HEADING: in how many tables
	grep -oE "<th[^>]*>$2</th>" "$1" | wc -l
}
for model in buoy-a buoy-b buoy-c buoy-d; do
	run 0 "$BLKASSAY" sweep "model:$here/../../scripts/models/$model.model" --direction read,write --seed 3 --seconds 0.5 --quiet \
		--out $model.assay --page sweep.html --json sweep.json
	cp "$out" sweep.txt
	run 0 "$BLKASSAY" explain $model.assay --page explain.html
	cp "$out" explain.txt
	for shown in sweep.txt sweep.html explain.html; do
		# Full speed, 19 packets of 64 bytes a frame: USB 2.0, table 5-9.
		[ "$(ceilings $shown)" = "1.22 MB/s" ] || fail "$model, $shown: what the link carries: $(ceilings $shown)"
	done
	# Reads and writes, sequential and random.
	for heading in p50 p99 slowest "of link"; do
		[ "$(columns sweep.html "$heading")" = 4 ] || fail "$model: $(columns sweep.html "$heading") tables of a sweep have '$heading'"
	done
	[ "$(columns explain.html "of link")" = 0 ] || fail "$model: explain calls another share the same as a sweep's"
	[ "$(columns explain.html "of link, overhead off")" = 4 ] || fail "$model: explain does not say what its share is of"
	# The same points for programs: share and ceiling agree.
	python3 - sweep.json <<-'END' || fail "$model: a share of the link is not that of its ceiling"
		import json, sys
		points = json.load(open(sys.argv[1]))["points"]
		sys.exit(not points or any(abs(p["share_of_link"] * 1216000 / (p["stored_bytes_per_second"] or p["acknowledged_bytes_per_second"]) - 1) > 1e-6 for p in points))
	END
done
exit 0
