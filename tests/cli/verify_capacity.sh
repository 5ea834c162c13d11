# A capacity that is less than stated is named to the byte, however the gadget folds what lies beyond; what is no false
# capacity is not called one.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
model=$here/../../scripts/models/fault-false-capacity.model
verify() { # STATUS BEYOND CAPACITY [OPTION...]: the JSON in v.json
	status=$1 beyond=$2 capacity=$3
	shift 3
	sed "s/beyond = wraps/beyond = $beyond/; s/real capacity = .*/real capacity = $capacity/" "$model" >f.model
	rm -f v.assay v.json
	run "$status" "$BLKASSAY" verify model:f.model --seed 1 --out v.assay --quiet --json v.json "$@"
}
bytes() { numfmt --from=iec-i "$1"; }
says_capacity() { # BYTES
	grep -q '"verdict":"capacity-wrong"' v.json || fail "a capacity of $1 is not called wrong where it $beyond"
	grep -q "\"capacity_bytes\":$1," v.json || fail "not $1 bytes where it $beyond: $(grep -o '"capacity_bytes":[0-9]*' v.json)"
	tells "The stated capacity is wrong: "
}
for beyond in wraps block slot half; do
	for capacity in 12582912 20971520 29360128 11796480; do
		verify 1 $beyond $capacity
		says_capacity $capacity
	done
done
# Twice, in two request sizes: still the same storage.
verify 1 slot 12582912 --sizes 4Ki,64Ki
says_capacity 12582912
# In random order the last one written to a place is any of them: what tells is that writing one changes the other.
for beyond in wraps block slot half; do
	verify 1 $beyond 12582912 --order random
	says_capacity 12582912
done
# A last request beyond the end lands on another: one request that is misplaced, and it is the capacity all the same.
for beyond in wraps block slot half; do
	for size in 64Ki 4Ki; do
		verify 1 $beyond $((33554432 - $(bytes $size))) --sizes $size
		says_capacity $((33554432 - $(bytes $size)))
	done
done
# Data that is written twice, the second time over what lies before, looks the same until it is written once more.
for range in 31Mi+1Mi 33423360+65536 33488896+65536 16Mi+16Mi 33553920+512; do
	sed "s/twice range = .*/twice range = $range/" "$here/../../scripts/models/fault-writes-twice.model" >f.model
	rm -f v.assay v.json
	run 1 "$BLKASSAY" verify model:f.model --seed 1 --out v.assay --quiet --json v.json
	grep -q '"verdict":"damaged"' v.json || fail "written twice from $range on is called a false capacity"
	grep -q '"capacity_bytes":null' v.json || fail "a capacity is named where $range is written twice"
	tells "This is no false capacity: "
	run 1 "$BLKASSAY" verify model:f.model --seed 1 --out w.assay --quiet --json v.json --order random --sizes 4Ki
	grep -q '"capacity_bytes":null' v.json || fail "a capacity is named where $range is written twice at random"
	rm w.assay
done
# A quick look that is clean says for which ways of folding it speaks.
verify 0 half 29360128 --spot 40
grep -q '"capacity_bytes":null' v.json || fail "places are taken for all of it"
tells "no such capacity hides in these 33.6 MB."
tells "shows for certain only in a verify of all of it"
