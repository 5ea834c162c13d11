# All that pages draw stands out from the paper by 3:1 and words by 4.5:1 (WCAG 2.1, 1.4.11 and 1.4.3): in light, dark and print.
. "$(dirname "$0")/lib.sh"
command -v python3 >/dev/null || skip "needs python3 to compute contrasts"
models=$here/../../scripts/models
cd "$tmp" || exit 1
for build in a e; do
	run 0 "$BLKASSAY" sweep "model:$models/buoy-$build.model" --direction read,write --sizes 512,4Ki,32Ki --seconds 0.5 --passes 3 \
		--seed 1 --label "build $build" --out $build.assay --page $build.html --quiet
done
run 0 "$BLKASSAY" compare a.assay --against e.assay --page compare.html
run 1 "$BLKASSAY" verify "model:$models/fault-flips-bits.model" --seed 1 --quiet --out v.assay --page verify.html
run 0 "$BLKASSAY" report "$here/../browser/observe.assay" --page observe.html
run 0 python3 "$here/../support/page_contrast.py" a.html e.html compare.html verify.html observe.html

# A pale colour of a series, or of the frames in print, is found.
sed 's/--c1:#e69f00/--c1:#553b00/' a.html >pale.html
run 1 python3 "$here/../support/page_contrast.py" pale.html
says 'dark: <path class="m1"> has 1.7'
sed 's/--rule:#808080/--rule:#999/' a.html >pale.html
run 1 python3 "$here/../support/page_contrast.py" pale.html
says "print: 'rule' has 2.8"
# In grey, the parts of a bar differ by more than their colour: hollow, light, full, hatched.
for look in 'm3 hollow' 'band b0' 'b0' 'band b1'; do grep -q "<rect class=\"$look\"" a.html || fail "no part of a bar is '$look'"; done
grep -q '<rect class="band b1"[^>]*>$' a.html && grep -A1 '<rect class="band b1"' a.html | grep -q '<path class="line l1" d="M' ||
	fail "the status is not hatched"
