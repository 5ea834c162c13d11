# Gadget models over many seeds: each sin is caught, honest ones never accused.
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
		run 0 "$BLKASSAY" cut "model:$tmp/$name.model" --cycles 8 --seed $seed --region 0+2Mi \
			--seconds 4 --out "$tmp/$name.$seed.assay"
		says "8 cuts, 0 of them with broken promises or damage"
		says "broken: a rate of at most"
	done
done
sin() { # NAME WORDS
	run 1 "$BLKASSAY" cut "model:$tmp/$1.model" --cycles 15 --seed 1 --region 0+2Mi --seconds 4 \
		--out "$tmp/$1.assay"
	says "$2"
	says "15 cuts, "
	grep -q ' end status=complete exit_status=1 ' "$tmp/$1.assay" || fail "the journal does not end with the verdict"
}
sin ignores-flush "BROKEN: data that a flush promised did not survive the cut"
sin ignores-fua "BROKEN: data that a flush promised did not survive the cut"
sin loses-flushed "BROKEN: data that a flush promised did not survive the cut"
sin reorders "BROKEN: data that a flush promised did not survive the cut"
sin tears "torn"
sin hides-buffer "BROKEN: acknowledged data did not survive, and no write cache was claimed"

# One cut shows its whole verdict; a model is not cut by commands, and rechecks by itself.
run 0 "$BLKASSAY" cut "model:$tmp/honest-behind.model" --seed 3 --out "$tmp/one.assay"
says "KEPT: every promise made before the cut"
run 2 "$BLKASSAY" cut "model:$tmp/honest-behind.model" --cut-with true --out "$tmp/two.assay"
says "leave --cut-with out"
run 2 "$BLKASSAY" recheck "$tmp/one.assay" "model:$tmp/honest-behind.model"
says "rechecks a model by itself"
run 2 "$BLKASSAY" cut "model:$tmp/honest-behind.model" --region 0+64Ki --out "$tmp/three.assay"
says "too short to cut"
[ ! -e "$tmp/three.assay" ] || fail "a journal was left behind"
