# explain --as: a sweep weighed by what was observed. Both are records of known content, so that the times are arithmetic.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
# Every request takes 1 ms and its bytes at 1 MB/s.
run 0 "$make_record" s.assay 4 12 1000 1e6 0 1 both
# 240 reads of 6.88 MB together, 360 writes of 5.16 MB, one flush.
cp "$here/../browser/observe.assay" o.assay
run 0 "$BLKASSAY" explain s.assay --as o.assay
tells "As observed: 6.88 MB read, 5.16 MB written, 1 flush"
grep -qE '^read +7\.16 s ' "$out" || fail "280 x 1 ms + 6.88 s, as 128 KiB reach the device in two"
grep -qE '^write +5\.52 s ' "$out" || fail "360 x 1 ms + 5.16 s"
# 40 x 131072 B: 5.28 of 12.6 s.
tells "As observed, reads of 128 KiB take most of the time, 42 % of it: optimise these first."
tells "its timing cannot confirm this"
tells "gain for the observed reads and writes, the rates of link and card are needed: give --link, --card-read and --card-write."
run 0 "$BLKASSAY" explain s.assay --as o.assay --link 4.0MB/s --card-read 2.0MB/s
tells "gain for the observed writes, the rates of link and card are needed: give --link and --card-write."
run 0 "$BLKASSAY" explain s.assay --as o.assay --link 4.0MB/s --card-write 2.0MB/s
says_not "gain for the observed writes"
# A direction that was not swept is not guessed.
run 0 "$make_record" r.assay 4 12 1000 1e6 0 1 read
run 0 "$BLKASSAY" explain r.assay --as o.assay
tells "The sweep has no writes: sweep with --direction write to know their time."
run 2 "$BLKASSAY" explain s.assay --as s.assay
says "not an observation"
run 2 "$BLKASSAY" explain s.assay --as none.assay
