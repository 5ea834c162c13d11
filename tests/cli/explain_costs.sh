# What went into a record comes out of explain: fixed cost, streaming rate, ceilings, copy time. Hockney and Jesshope:
# 1 ms and 1 MB/s are at half rate at 1000 B.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
run 0 "$make_record" a.assay 4 12 1000 1e6 0 1 read
run 0 "$BLKASSAY" explain a.assay --copy 50MB --request 4Ki
tells "1.00 ms"
tells "1.00 MB/s"
tells "1.00 kB"
# USB 2.0 table 5-9; the kernel sends 1 MiB in 9 pieces of at most 120 KiB.
tells "1.22 MB/s"
tells "one of 1 MiB reaches the device as 9"
# 4096 B take 5.096 ms: 50 MB take 62.2 s.
tells "804 kB/s"
tells "62.2 s"
says_not "modelled"
says_not "cannot"

# The share of the ceiling, packed tight: 65536 B in 1026 packets of 1/19 ms are 54.0 ms; 66.536 ms were measured.
grep -q "64 KiB *985 kB/s *81 %" "$out" || fail "no line with the share of the ceiling at 64 KiB"

# A model says so everywhere a figure stands.
run 0 "$make_record" m.assay 4 12 1000 1e6 0 1 both modelled=1 transport=model
run 0 "$BLKASSAY" explain m.assay --copy 50MB
tells "These figures are modelled, not measured"

# 80 columns, plain ASCII in the C locale, the same when piped.
fits 80 "$out"
LC_ALL=C grep -q '[^ -~]' "$out" && fail "not plain ASCII"

# A copy in requests that were not measured is no measured copy: by the line, or not at all.
run 0 "$BLKASSAY" sweep "model:$here/../../scripts/models/buoy-b.model" --sizes 8Ki,16Ki,32Ki,64Ki --order sequential --seed 1 \
	--seconds 0.5 --quiet --out line.assay
run 0 "$BLKASSAY" explain line.assay --copy 50MB --json - --quiet
says '"way":"fitted","request_bytes":4096,'
run 0 "$BLKASSAY" sweep "model:$here/../../scripts/models/buoy-b.model" --sizes 120Ki,512Ki --order sequential --seed 1 \
	--seconds 0.5 --quiet --out two.assay
run 0 "$BLKASSAY" explain two.assay --copy 50MB --json -
grep -q '"way":"not-measured","request_bytes":4096,"copied_bytes":50000000,"seconds":null' "$out" || fail "a copy in 4 KiB requests is told from 120 KiB and more"
grep -q '"way":"measured"' "$out" || fail "the size that was measured is gone"
exit 0
