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
# In random order the last one written to a place is any of them: damage, and no capacity is named.
verify 1 block 12582912 --order random
grep -q '"capacity_bytes":null' v.json || fail "a capacity is named that cannot be known"
# One request that lies in two places is one request, not a false capacity.
verify 1 slot 33488896
grep -q '"verdict":"damaged"' v.json || fail "one request is called a false capacity"
grep -q '"capacity_bytes":null' v.json || fail "a capacity is named that cannot be known"
# A quick look that is clean says for which ways of folding it speaks.
verify 0 half 29360128 --spot 40
grep -q '"capacity_bytes":null' v.json || fail "places are taken for all of it"
tells "no such capacity hides in these 33.6 MB."
tells "shows for certain only in a verify of all of it"
