# Lines missing from a record of any kind: said wherever it is shown, and nothing rests on it.
. "$(dirname "$0")/lib.sh"
models=$here/../../scripts/models
cd "$tmp" || exit 1
# The record without the lines numbered $2 to $3.
without() { awk -v a="$2" -v b="$3" '$1 < a || $1 > b' "$1" >"$4"; }
first_of() { awk -v k="$2" '$2 == k { print $1; exit }' "$1"; }

run 0 "$BLKASSAY" sweep "model:$models/buoy-b.model" --sizes 4Ki..64Ki --order sequential --passes 4 --seconds 0.2 --out sweep.assay
run 0 "$BLKASSAY" sweep "model:$models/buoy-b.model" --sizes 4Ki..64Ki --order sequential --passes 4 --seconds 0.2 --seed 2 --out other.assay
run 0 "$BLKASSAY" verify "model:$models/buoy-b.model" --region 0+512Ki --out verify.assay
run 0 "$BLKASSAY" audit "model:$models/buoy-d.model" --out audit.assay
run 4 "$BLKASSAY" cut "model:$models/buoy-d.model" --cycles 2 --seconds 1 --region 0+1Mi --seed 1 --out cut.assay
for kind in sweep verify audit cut; do
	n=$(first_of $kind.assay target)
	without $kind.assay "$n" "$n" part.assay
	run 0 "$BLKASSAY" report part.assay
	tells "1 line of it damaged or missing"
	rm -f part.html
	run 0 "$BLKASSAY" report part.assay --page part.html
	grep -q "1 line of it damaged or missing" part.html || fail "the page of a $kind does not say that a line is missing"
	run 0 "$BLKASSAY" report $kind.assay
	says_not "damaged or missing"
done

# A sweep without some of its passes.
n=$(first_of sweep.assay pass)
without sweep.assay $((n + 3)) $((n + 11)) part.assay
grep -q ' end status=complete' part.assay || fail "the end is gone too"
run 0 "$BLKASSAY" report part.assay
tells "9 lines of the record are damaged or missing (6 of 80 lines of kind phase-times): do not rest a decision on what is left."
run 0 "$BLKASSAY" explain part.assay
tells "9 lines of the record are damaged or missing (6 of 80 lines of kind phase-times)"
run 2 "$BLKASSAY" compare part.assay --against other.assay
says "so no comparison can rest on it"
run 0 "$BLKASSAY" compare part.assay --against other.assay --anyway
tells "9 lines of the record are damaged or missing"

# An audit without a line of its own has no verdict; a journal without a promise none either.
n=$(awk '$2 == "audit" { print $1 - 2 }' audit.assay)
without audit.assay "$n" "$n" part.assay
run 0 "$BLKASSAY" report part.assay
tells "No verdict: "
awk '$2 != "stored"' cut.assay >part.assay
run 0 "$BLKASSAY" report part.assay
tells "Not shown: nothing is broken, but the journal is damaged."

# A verify goes on from what is whole only: this one seems to have been stopped before its first state.
run 0 "$BLKASSAY" verify card.img --create 1Mi --only write --seed 5 --out image.assay
awk '$2 == "verify-state" || $2 == "end" { exit } $2 != "target"' image.assay >part.assay
run 2 "$BLKASSAY" verify card.img --erase "$(image_token card.img)" --resume part.assay
says "so it does not say for certain how far the run got"
