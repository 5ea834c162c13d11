# What programs rely on in the JSON stays: no table, key, code, figure or word of it is missing or has another name. Whoever
# takes one away on purpose, with a reason to give, takes its line out of tests/data/json_contract; 'make man' adds new ones.
. "$(dirname "$0")/lib.sh"
kept=$here/../data/json_contract
"$here/../../scripts/json-contract" "$BLKASSAY" >"$tmp/now"
[ "$(wc -l <"$tmp/now")" -gt 500 ] || fail "the list of keys is too short to be true"
LC_ALL=C sort -c "$kept" || fail "tests/data/json_contract is not sorted"
LC_ALL=C comm -23 "$kept" "$tmp/now" >"$out" 2>"$err"
[ ! -s "$out" ] || fail "the JSON has lost: $(tr '\n' ';' <"$out")"
exit 0
