# The example gadgets against the commands that should catch them: each fault alone is found, the honest ones pass.
. "$(dirname "$0")/lib.sh"
models=$here/../../scripts/models
cd "$tmp" || exit 1

for honest in buoy-a buoy-b buoy-d; do
	run 0 "$BLKASSAY" verify "model:$models/$honest.model" --seed 1 --out "$honest.assay"
done
# As many cuts as it takes until enough of them come right after a write with FUA.
run 0 "$BLKASSAY" cut "model:$models/buoy-d.model" --cycles 30 --seconds 1 --region 0+1Mi --seed 1 --out buoy-d.cut
for fault in loses-writes silent-error false-capacity slips flips-bits drops-last off-by-one writes-twice; do
	run 1 "$BLKASSAY" verify "model:$models/fault-$fault.model" --seed 1 --out "$fault.assay"
done
# What only a power cut shows.
for fault in ignores-flush tears forgets-flushed reorders; do
	run 1 "$BLKASSAY" cut "model:$models/fault-$fault.model" --cycles 8 --seconds 1 --region 0+1Mi --seed 1 --out "$fault.cut"
done
exit 0
