# Labels are a person's word: what the gadgets call their firmware is set against them. All on models, whose revision and
# serial number the model file gives.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
models=$here/../../scripts/models

# sweep_as NAME LABEL REVISION SERIAL
sweep_as() {
	sed -e "s/revision = .*/revision = $3/" -e "s/serial = .*/serial = $4/" "$models/buoy-b.model" >"$1.model"
	run 0 "$BLKASSAY" sweep "model:$1.model" --sizes 4Ki,8Ki --order sequential --seconds 0.1 --label "$2" --out "$1.assay"
}
sweep_as a1 old 1.0 S-1
sweep_as b1 new 1.1 S-1
sweep_as stale new 1.0 S-1
sweep_as a2 old 1.1 S-1
sweep_as other new 1.1 S-2
grep -q 'revision=.*1\.1' b1.assay || fail "the record does not hold the revision"

run 0 "$BLKASSAY" compare a1.assay --against b1.assay
says_not "give the same firmware revision"
says_not "different serial numbers"
says_not "that is two builds"
# The new build was not flashed: the label alone is new.
run 0 "$BLKASSAY" compare a1.assay --against stale.assay
tells "Both builds give the same firmware revision (revision 1.0): only the labels tell them apart."
run 0 "$BLKASSAY" compare a1.assay --against stale.assay --json c.json
grep -q '"one-firmware"' c.json || fail "no code in the JSON"
# The same label on both sides is meant so.
sweep_as a3 old 1.0 S-1
run 0 "$BLKASSAY" compare a1.assay --against a3.assay
says_not "give the same firmware revision"
run 0 "$BLKASSAY" compare a1.assay a2.assay --against b1.assay
tells "The runs of the base come from firmware that calls itself revision 1.0 and revision 1.1: that is two builds, not one."
run 0 "$BLKASSAY" compare a1.assay --against other.assay
tells "The runs come from gadgets with different serial numbers (S-1 and S-2)"
# A model that gives no revision has none that could be the same.
sed '/revision = /d' "$models/buoy-b.model" >bare.model
for x in m n; do
	run 0 "$BLKASSAY" sweep model:bare.model --sizes 4Ki,8Ki --order sequential --seconds 0.1 --label $x --out $x.assay
done
run 0 "$BLKASSAY" compare m.assay --against n.assay --allow-slower 5
says_not "give the same firmware revision"
# Who says nothing of its firmware is not blamed: image files.
for x in i k; do
	run 0 "$BLKASSAY" sweep $x.img --create 4Mi --sizes 4Ki --order sequential --seconds 0.05 --label $x --out $x.assay
done
run 0 "$BLKASSAY" compare i.assay --against k.assay
says_not "give the same firmware revision"
