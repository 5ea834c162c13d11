# A gadget model as a target: modelled rates are exact and repeatable, say what they are, and nothing else is touched.
. "$(dirname "$0")/lib.sh"
models=$here/../../scripts/models
cd "$tmp" || exit 1

# Nothing can be lost, so writing needs no token.
for build in a b; do
	run 0 "$BLKASSAY" sweep "model:$models/buoy-$build.model" --direction read,write \
		--seed 1 --seconds 1 --passes 4 --sizes 512..64Ki --label "build $build" --out $build.assay
	says "modelled, not measured"
done
# The same seed, the same passes, to the nanosecond.
run 0 "$BLKASSAY" sweep "model:$models/buoy-a.model" --direction read,write \
	--seed 1 --seconds 1 --passes 4 --sizes 512..64Ki --label "build a" --out again.assay
grep -o 'busy_seconds=[0-9.]*' a.assay >one
grep -o 'busy_seconds=[0-9.]*' again.assay >two
[ -s one ] || fail "no passes in the record"
cmp one two || fail "the same seed gave other times"

# What went in comes out: 512 B / (512 us link + 301 us card + 200 us command) reading one sector at a time, and
# 1/(1/1.0 + 1/1.7) and 1/(1/1.0 + 1/1.0) MB/s with whole requests.
run 0 "$BLKASSAY" explain a.assay
says "505 kB/s"
says "270 kB/s"
run 0 "$BLKASSAY" explain b.assay
# 629.6 kB/s, give or take the model's jitter.
grep -qE '^sequential reads +[0-9.]+ us .* 6(29|30) kB/s' "$out" || fail "not the 630 kB/s that follow from link and card"
says "500 kB/s"
ls "$models"/*.tmp 2>/dev/null && fail "something was written beside the models"
exit 0
