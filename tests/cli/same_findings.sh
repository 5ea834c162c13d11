#!/bin/sh
# Text, page, CSV and JSON of a result say the same findings and rows, in the same order: one record of every kind of run.
# A kind of run is one line below: how many tables its text shows, and the command that shows it.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3, whose readers of JSON, CSV and HTML are not ours"
models=$here/../../scripts/models
"$BLKASSAY" help --keys >"$tmp/keys" || fail "help --keys failed"
same() { python3 "$here/../support/same_views.py" "$BLKASSAY" "$tmp/keys" "$@" >"$out" 2>&1 || fail "views differ"; }

run 0 "$BLKASSAY" sweep "model:$models/buoy-e.model" --direction read,write --sizes 512..256Ki --seconds 1 --passes 3 --seed 1 \
	--label '=cmd|x,"y"' --out "$tmp/sweep.assay"
head -n 12 "$tmp/sweep.assay" >"$tmp/short.assay"
head -n 4 "$tmp/sweep.assay" >"$tmp/empty.assay"
cp "$here/../browser/observe.assay" "$tmp/observe.assay"

same 8 report "$tmp/sweep.assay"
same 2 report "$tmp/short.assay"
same 0 report "$tmp/empty.assay"
same 3 report "$tmp/observe.assay"
run 0 "$make_record" "$tmp/a.assay" 6 8 500 1.00e6 0.01 1 read label=one
run 0 "$make_record" "$tmp/b.assay" 6 8 600 0.80e6 0.01 3 read label=two
same 2 compare "$tmp/a.assay" --against "$tmp/b.assay" --allow-slower 5
run 0 "$BLKASSAY" verify "$tmp/card.img" --create 4Mi --seed 5 --label '=cmd|x,"y"' --out "$tmp/clean.assay"
run 1 "$BLKASSAY" verify "model:$models/fault-slips.model" --seed 1 --out "$tmp/damaged.assay"
run 1 "$BLKASSAY" verify "model:$models/fault-false-capacity.model" --spot 40 --seed 1 --out "$tmp/capacity.assay"
# Killed before its end was written, and before anything was done.
head -c -400 "$tmp/clean.assay" >"$tmp/stopped.assay"
grep -v ' verify-state \| end ' "$tmp/clean.assay" >"$tmp/early.assay"
run 4 "$BLKASSAY" verify "$tmp/card.img" --only read --seed 6 --out "$tmp/other.assay"
same 0 report "$tmp/clean.assay"
same 0 report "$tmp/stopped.assay"
same 0 report "$tmp/early.assay"
same 1 report "$tmp/damaged.assay"
same 1 report "$tmp/capacity.assay"
same 1 report "$tmp/other.assay"
run 0 "$BLKASSAY" audit "model:$models/buoy-d.model" --seed 1 --label '=cmd|x,"y"' --out "$tmp/audit.assay"
run 1 "$BLKASSAY" audit "model:$models/buoy-c.model" --seed 1 --out "$tmp/unsafe.assay"
run 0 "$BLKASSAY" audit "model:$models/buoy-c.model" --seed 1 --only inquiry,capacity --out "$tmp/some.assay"
same blocks report "$tmp/some.assay"
head -c 4000 "$tmp/audit.assay" >"$tmp/unfinished.assay"
same blocks report "$tmp/audit.assay"
same blocks report "$tmp/unsafe.assay"
same blocks report "$tmp/unfinished.assay"
run 1 "$BLKASSAY" cut "model:$models/fault-ignores-flush.model" --cycles 6 --seconds 2 --seed 1 --label '=cmd|x,"y"' --out "$tmp/cut.assay"
run 4 "$BLKASSAY" cut "model:$models/buoy-d.model" --seconds 2 --seed 1 --out "$tmp/one.assay"
# Before its recheck, and before its end.
grep -v ' recheck \| end ' "$tmp/one.assay" >"$tmp/unseen.assay"
same 4 report "$tmp/cut.assay"
same 1 report "$tmp/one.assay"
same 0 report "$tmp/unseen.assay"
# Explained: with all that can be given and asked, with nothing, cut short, and with no pass at all.
same 7 explain "$tmp/sweep.assay" --link 1MB/s --card-read 2MB/s --card-write 1MB/s --copy 50MB --as "$tmp/observe.assay"
same 4 explain "$tmp/sweep.assay"
same 3 explain "$tmp/short.assay"
same 0 explain "$tmp/empty.assay"
same blocks targets
exit 0
