# explain --model: a gadget model with the times of a run, that says what the run could not tell.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
models=$here/../../scripts/models
run 0 "$BLKASSAY" sweep "model:$models/buoy-b.model" --direction read,write --order sequential --sizes 512..64Ki --seconds 1 \
	--passes 4 --seed 1 --no-phases --label "build b # 1" --out b.assay
run 0 "$BLKASSAY" explain b.assay --link 1MB/s --card-read 1.7MB/s --card-write 1MB/s --model twin.model
says "model written to twin.model; not known: whose request cost"
grep -q '^    transfer = store-and-forward *# as the slope shows$' twin.model || fail "build b takes turns"
grep -q '^    name = build b . 1 ' twin.model || fail "the label is its name, without the sign of a comment"
# Its sweep says so too, in its record as well.
run 0 "$BLKASSAY" sweep model:twin.model --direction write --order sequential --sizes 4Ki --seconds 1 --passes 4 --seed 1 --out twin.assay
tells "The model was made from a run that could not tell: whose request cost."
run 0 "$BLKASSAY" report twin.assay --json -
tells '"model_not_known":"whose request cost"'
# One line edited: overlapped, 4 KiB takes 1.07 + 0.51 + 4.1 ms.
sed -i 's/transfer = store-and-forward/transfer = overlapped/' twin.model
run 0 "$BLKASSAY" sweep model:twin.model --direction write --order sequential --sizes 4Ki --seconds 1 --passes 4 --seed 1 --out edited.assay
grep -qE "^[^!]*[^0-9]7[12][0-9] kB/s" "$out" || fail "not the time of an overlapped gadget"
# With phases seen, the host's pause, the way of a command and the fixed costs of firmware and card are told apart, and without
# any rate given the link and who waits for whom: 0.2 ms a command, 0.87 ms of the card's own after the data, 0.2 before them.
sed 's/^ *request cost = 0.2 ms/&\n    host gap = 0.6 ms/' "$models/buoy-b.model" >paused.model
grep -q 'host gap' paused.model || fail "no pause in the model"
run 0 "$BLKASSAY" sweep model:paused.model --direction read,write --order sequential --sizes 512..64Ki --seconds 1 \
	--passes 4 --seed 1 --out paused.assay
run 0 "$BLKASSAY" explain paused.assay --model paused-twin.model
says "model written to paused-twin.model; not known: read rate, write rate, transfer, unit"
setting() { # KEY: its number
	grep "^    $1 = " paused-twin.model | head -n 1 | sed 's/.* = \([0-9.]*\).*/\1/'
}
between() { awk -v v="$2" -v low="$3" -v high="$4" 'BEGIN { exit !(v >= low && v <= high) }' || fail "$1 is $2, not $3 to $4"; }
between "the host's pause" "$(setting 'host gap')" 594 606
between "the way of a command" "$(setting 'request cost')" 198 202
between "the card's own, in writes" "$(setting 'write command cost')" 850 890
between "the link" "$(setting rate)" 990000 1010000
grep -q '^    transfer = store-and-forward *# NOT KNOWN whether it begins before it has all data' paused-twin.model || fail "turns are sure"
# That it is as long as the card takes makes them so.
run 0 "$BLKASSAY" explain paused.assay --model carded-twin.model --card-write 1MB/s
says "model written to carded-twin.model; not known: read rate, unit"
grep -q '^    transfer = store-and-forward *# seen: the status comes later the more data there are$' carded-twin.model || fail "turns are not seen"
# Without them nobody can tell.
run 0 "$BLKASSAY" sweep model:paused.model --direction read,write --order sequential --sizes 512..64Ki --seconds 1 \
	--passes 4 --seed 1 --no-phases --out blind.assay
run 0 "$BLKASSAY" explain blind.assay --model blind-twin.model
says "transfer, unit, whose request cost"
grep -q 'host gap' blind-twin.model && fail "a pause that nobody saw"
# What is there is left alone; one model a run; nothing to make it from; a place that does not exist.
cp twin.model before
run 2 "$BLKASSAY" explain b.assay --model twin.model
says "'twin.model' exists"
cmp -s twin.model before || fail "the existing file was changed"
run 2 "$BLKASSAY" explain b.assay twin.assay --model two.model
[ ! -e two.model ] || fail "a model of two runs"
head -n 4 b.assay >empty.assay
run 2 "$BLKASSAY" explain empty.assay --model none.model
[ ! -e none.model ] || fail "a model of nothing"
run 2 "$BLKASSAY" explain b.assay --model missing/one.model
# Designs of known truth, and what their twins make of an edit.
command -v python3 >/dev/null || skip "needs python3, which works out the truth"
python3 "$here/../truth/twin.py" --models 30 --seed 3 --verbose --build "$(dirname "$BLKASSAY")" >"$out" 2>&1 ||
	fail "twins are not like their designs"
python3 "$here/../truth/twin.py" --models 20 --seed 4 --gaps --verbose --build "$(dirname "$BLKASSAY")" >"$out" 2>&1 ||
	fail "twins of gadgets with pauses are not like their designs"
python3 "$here/../truth/twin.py" --models 18 --seed 9 --odd --verbose --build "$(dirname "$BLKASSAY")" >"$out" 2>&1 ||
	fail "twins of odd gadgets are off and do not say so"
exit 0
