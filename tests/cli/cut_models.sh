# Gadget models over many seeds: each fault is caught, honest ones never accused.
. "$(dirname "$0")/lib.sh"
model() { # NAME FIRMWARE CLAIMS FAULTS
	{
		printf 'gadget-model 1\ndevice:\n    name = %s\n    capacity = 16Mi\n' "$1"
		printf 'link:\n    rate = 1.0 MB/s\n    request cost = 0.3 ms\n'
		printf 'card:\n    read rate = 1.7 MB/s\n    write rate = 0.4 MB/s\n    write command cost = 0.9 ms\n'
		printf 'firmware:\n    unit = request\n%s\nclaims:\n%s\n%s\n' "$2" "$3" "$4"
	} >"$tmp/$1.model"
}
behind='    write behind = 32Ki'
cache='    write cache = yes'
fua='    write cache = yes
    fua = yes'
model honest-through '' '    write cache = no' ''
model honest-page '' '    caching page = no' ''
model honest-behind "$behind" "$cache" ''
model honest-fua "$behind" "$fua" ''
model ignores-flush "$behind" "$cache" 'faults:
    ignore flush = yes'
model ignores-fua "$behind" "$fua" 'faults:
    ignore fua = yes'
model loses-flushed "$behind" "$cache" 'faults:
    lose flushed write = 1 in 300'
model tears "$behind" "$cache" 'faults:
    torn sectors = yes'
model reorders "$behind" "$cache" 'faults:
    reorder overlaps = yes'
model hides-buffer "$behind" '    write cache = no' ''

for name in honest-through honest-page honest-behind honest-fua; do
	for seed in 1 2; do
		run 0 "$BLKASSAY" cut "model:$tmp/$name.model" --cycles 20 --seed $seed --region 0+2Mi \
			--seconds 4 --out "$tmp/$name.$seed.assay"
		tells "No broken promise found: none of "
		tells "in 20 cuts that tested any; with 95 % confidence at most 14 % of such cuts break one." # 1 - 0.05^(1/20)
	done
done
fault() { # NAME WORDS
	run 1 "$BLKASSAY" cut "model:$tmp/$1.model" --cycles 15 --seed 1 --region 0+2Mi --seconds 4 \
		--out "$tmp/$1.assay"
	tells "$2"
	tells "of 15 cuts something is broken"
	grep -q ' end status=complete exit_status=1 ' "$tmp/$1.assay" || fail "the journal does not end with the verdict"
}
flushed="Data that a flush or a write with FUA promised did not survive"
fault ignores-flush "$flushed"
fault ignores-fua "$flushed"
fault loses-flushed "$flushed"
fault reorders "$flushed"
fault tears "torn"
fault hides-buffer "Acknowledged data did not survive, and no write cache is claimed"
# Its flushes do store, and a cut right after one would say nothing of its answers: none is made there, so that the first cut
# finds it.
for seed in 1 2 3 4 5 6; do
	run 1 "$BLKASSAY" cut "model:$tmp/hides-buffer.model" --erase hides-buffer --cycles 1 --seed $seed --region 0+2Mi --seconds 1 \
		--out "$tmp/once.$seed.assay"
done

# Nothing but cuts shows what an answer is worth, or FUA alone: few of them do not, whatever they find kept.
run 4 "$BLKASSAY" cut "model:$tmp/honest-through.model" --cycles 13 --seed 1 --region 0+2Mi --seconds 2 --out "$tmp/few.assay"
tells "promises in 13 cuts is broken, but so few say little of what an answer alone is worth."
tells "14 are needed to say so"
run 4 "$BLKASSAY" cut "model:$tmp/honest-fua.model" --cycles 4 --seed 1 --region 0+2Mi --seconds 2 --out "$tmp/fewfua.assay" --json "$tmp/fewfua.json"
tells "but so few say little of what FUA alone is worth."
grep -q '"verdict":"not-shown".*"code":"fua-untested".*"needed_cuts":5' "$tmp/fewfua.json" || fail "JSON has another verdict"

# Flushes that do nothing, before a card so fast that nothing waits: no cut breaks a promise, and none shows one kept.
sed 's/write rate = 0.4 MB.*/write rate = 20 MB\/s/; s/write command cost = .*/write command cost = 0 ms/' "$tmp/ignores-flush.model" >"$tmp/fast.model"
run 4 "$BLKASSAY" cut "model:$tmp/fast.model" --erase ignores-flush --cycles 8 --seed 2 --region 0+2Mi --seconds 4 --out "$tmp/fast.assay"
tells "Not shown: none of "
tells "promises in 8 cuts is broken, but nothing was lost that was not promised either."
tells "Make sure that a cut takes all of its power"
# Even where the cut itself came before the card had all: its flushes are over as soon after much as after little.
run 4 "$BLKASSAY" cut "model:$tmp/fast.model" --erase ignores-flush --cycles 8 --seed 1 --region 0+2Mi --seconds 4 --out "$tmp/fast1.assay"
tells "promises in 8 cuts is broken, but nothing shows that flushes store anything."
tells "No flush took notably longer than another with less to store"
run 0 "$BLKASSAY" report "$tmp/fast.assay" --json "$tmp/fast.json"
grep -q '"verdict":"not-shown".*"code":"nothing-lost"' "$tmp/fast.json" || fail "JSON has another verdict"

# One cut shows its whole verdict, where it fell into a backlog; a model is not cut by commands, and rechecks by itself.
run 0 "$BLKASSAY" cut "model:$tmp/honest-behind.model" --seed 3 --out "$tmp/one.assay"
tells "No broken promise found: none of "
run 2 "$BLKASSAY" cut "model:$tmp/honest-behind.model" --cut-with true --out "$tmp/two.assay"
says "leave out --cut-with"
run 2 "$BLKASSAY" recheck "$tmp/one.assay" "model:$tmp/honest-behind.model"
says "rechecks a model by itself"
run 2 "$BLKASSAY" cut "model:$tmp/honest-behind.model" --region 0+64Ki --out "$tmp/three.assay"
says "too short to cut"
[ ! -e "$tmp/three.assay" ] || fail "a journal was left behind"
