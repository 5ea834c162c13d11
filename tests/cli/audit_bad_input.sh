# No consent, nonsense and targets too small are refused with one line, and nothing is left behind.
. "$(dirname "$0")/lib.sh"
model=model:$here/../../scripts/models/buoy-d.model
cd "$tmp" || exit 1
refused() {
	run 2 "$BLKASSAY" audit "$@"
	[ "$(wc -l <"$err")" = 1 ] || fail "not one line on stderr"
	[ ! -s "$out" ] || fail "something on stdout"
	[ -z "$(ls ./*.assay 2>/dev/null)" ] || fail "a record was left"
}
refused "$model" --erase wrong
refused "$model" --erase buoy-d --region 0+64Ki
says "at least 256 KiB"
refused "$model" --erase buoy-d --seconds 5
says "--provoke"
refused "$model" --erase buoy-d --repeats 5
refused "$model" --erase buoy-d --only flush,fsink
says "names no promise 'fsink'; there are inquiry, capacity"
refused "$model" --erase buoy-d --only ''
refused "$model" --erase buoy-d --only eject
says "needs --with-eject"
refused "$model" one-too-many --erase buoy-d
refused
refused /dev/null --erase x
truncate -s 1M plain.img
refused plain.img --keep-data --only power-cut
says "on hardware 'blkassay cut' does that"
refused plain.img
says "--erase"
[ "$(od -An -c plain.img | grep -vc '\\0' | head -n 1)" = 1 ] || fail "the image was written to"
