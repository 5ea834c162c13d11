#!/bin/sh
# The story without hardware: three builds of one invented gadget, swept, explained and compared, and the third, the
# fastest, caught losing data. Then the same speed done honestly.
#
#   scripts/story.sh [FOLDER]      run records and texts go there (default: a temporary folder, removed at the end)
#
# Each step demands the exit status that the story promises; exits 0 only when all of it came out as told. Uses
# build/blkassay (or $BLKASSAY), no device and no root; takes seconds, because models run on a virtual clock.
set -eu
cd "$(dirname "$0")/.."
tool=${BLKASSAY:-build/blkassay}
[ -x "$tool" ] || { echo "story: $tool is not there; run 'make' first" >&2; exit 2; }
models=scripts/models
if [ $# -gt 0 ]; then
	out=$1
	mkdir -p "$out"
else
	out=$(mktemp -d)
	trap 'rm -rf "$out"' EXIT
	trap 'exit 130' INT TERM
fi

tell() { printf '\n== %s ==\n' "$1"; }
# step STATUS FILE ARGUMENT...: runs the tool, result to FILE ('-': shown as well), and demands the exit status.
step() {
	wanted=$1
	file=$2
	shift 2
	printf '$ blkassay'
	for word; do
		case $word in *[!A-Za-z0-9._:/=,+-]*) printf " '%s'" "$word" ;; *) printf ' %s' "$word" ;; esac
	done
	echo
	status=0
	"$tool" "$@" >"$out/${file#-}" 2>"$out/messages" || status=$?
	case $file in -*) cat "$out/${file#-}" ;; esac
	if [ "$status" != "$wanted" ]; then
		cat "$out/messages" >&2
		echo "story: this step was to exit with $wanted, but did with $status" >&2
		exit 1
	fi
}
# shows TEXT FILE: the story rests on it.
shows() { grep -qF -e "$1" "$out/$2" || { echo "story: '$1' is not in $out/$2" >&2; exit 1; }; }
sweep() {
	rm -f "$out/$1.assay"
	step 0 "$1.txt" sweep "model:$models/$1.model" --direction write --order sequential --sizes 512..64Ki \
		--seconds 2 --passes 6 --seed 1 --label "build ${1#buoy-}" --out "$out/$1.assay"
}

tell "A buoy logger shows its card to a laptop: three builds of its firmware"
echo "Build a hands the card one sector at a time. Build b hands it whole requests."
echo "Build c acknowledges a write as soon as it is in a buffer."
rm -f "$out/verify-a.assay" "$out/verify-b.assay" "$out/verify-c.assay" "$out/verify-d.assay"
for build in a b c; do
	sweep "buoy-$build"
	shows "modelled, not measured" "buoy-$build.txt"
done

tell "Build a: where does the time go?"
step 0 -explain-a.txt explain "$out/buoy-a.assay" --link 1.0MB/s --card-write 1.0MB/s --copy 50MB
shows "work per sector" explain-a.txt

tell "Build b: what is left to gain?"
step 0 -explain-b.txt explain "$out/buoy-b.assay" --link 1.0MB/s --card-write 1.0MB/s --copy 50MB

tell "Is b faster than a, and c than b?"
step 0 -compare-ab.txt compare "$out/buoy-a.assay" --against "$out/buoy-b.assay"
shows "faster" compare-ab.txt
step 0 -compare-bc.txt compare "$out/buoy-b.assay" --against "$out/buoy-c.assay"
shows "faster" compare-bc.txt

tell "Does each build store what it acknowledged?"
step 0 verify-a.txt verify "model:$models/buoy-a.model" --seed 1 --out "$out/verify-a.assay"
step 0 verify-b.txt verify "model:$models/buoy-b.model" --seed 1 --out "$out/verify-b.assay"
echo "Builds a and b do. The fast one:"
step 1 -verify-c.txt verify "model:$models/buoy-c.model" --seed 1 --out "$out/verify-c.assay"
shows "1024 blank" verify-c.txt

tell "Build d: as fast, but it says that it writes behind, and flushes when asked"
sweep buoy-d
step 0 compare-cd.txt compare "$out/buoy-c.assay" --against "$out/buoy-d.assay" --allow-slower 5
shows "Gate passed" compare-cd.txt
step 0 verify-d.txt verify "model:$models/buoy-d.model" --seed 1 --out "$out/verify-d.assay"
shows "hold what was written" verify-d.txt
echo "At no request size more than 5 % slower than build c, and every block holds what was written."
rm -f "$out/messages"

tell "The end"
echo "Build c must not ship; build d may. All of this was modelled, not measured."
