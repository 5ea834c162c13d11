# Bad options: a single clear line, exit 2, no record, nothing written.
. "$(dirname "$0")/lib.sh"
card=$tmp/card.img
dd if=/dev/urandom of="$card" bs=1M count=1 2>/dev/null
before=$(sha256sum <"$card")
refused() {
	run 2 "$BLKASSAY" sweep "$card" --out "$tmp/x.assay" "$@"
	[ "$(wc -l <"$err")" = 1 ] || fail "not one line: $*"
	[ ! -s "$out" ] || fail "stdout is not empty: $*"
	[ ! -e "$tmp/x.assay" ] || fail "left a record: $*"
}
for option in sizes in-flight seconds passes region seed direction order create erase label; do
	refused --$option ""
	says "--$option"
done
for value in -1 0 18446744073709551616 99999999999999999999999999 x 4K 4kib 0x10 1.5.2 nan inf " 1"; do
	refused --sizes "$value"
	refused --in-flight "$value"
	refused --passes "$value"
	refused --seconds "$value"
	refused --region "$value"
done
for value in -1 18446744073709551616 x 1.5; do
	refused --seed "$value"
done
for file in csv page json; do
	refused --$file ""
	refused --$file "$card"
	says "is the target itself"
	refused --$file "$tmp/none/there"
	[ -z "$(find "$tmp" -name '*.part')" ] || fail "--$file left a part file"
done
refused --json "$tmp/x" --page "$tmp/x"
says "give each its own"
refused --json "$tmp/x.assay"
says "where the run's record goes"
refused --json "$tmp/../${tmp##*/}/x.assay"
says "where the run's record goes"
refused --json "$tmp/x" --page "$tmp/./x"
says "give each its own"
refused --sizes 700
says "multiple"
refused --sizes 1Mi..512
refused --sizes 512..
refused --sizes ..4Ki
refused --sizes 512,,1Ki
refused --sizes 2Mi
refused --sizes 32Mi
refused --in-flight 65
refused --sizes 1Mi --in-flight 64
refused --direction sideways
refused --direction read,
refused --order random,random,x
refused --region 0+2Mi
refused --region 100+4Ki
refused --region 0+100
refused --region 1Mi+512
refused --region 18446744073709551615+512
refused --region 512
refused --region +512
refused --region 0+
refused --passes 1 --passes 2
refused --no-such-option
refused extra-argument
run 2 "$BLKASSAY" sweep
says "TARGET"
run 2 "$BLKASSAY" sweep "$tmp/absent" --out "$tmp/x.assay"
says "$tmp/absent"
run 2 "$BLKASSAY" sweep "" --out "$tmp/x.assay"
run 2 "$BLKASSAY" sweep "$tmp" --out "$tmp/x.assay"
says "a directory"
run 2 "$BLKASSAY" sweep /dev/null --out "$tmp/x.assay"
says "a character device"
mkfifo "$tmp/pipe"
run 2 "$BLKASSAY" sweep "$tmp/pipe" --out "$tmp/x.assay"
says "a pipe"
: >"$tmp/empty.img"
run 2 "$BLKASSAY" sweep "$tmp/empty.img" --out "$tmp/x.assay"
run 2 "$BLKASSAY" sweep "$card" --out "$tmp/no/such/folder/x.assay" --passes 1 --seconds 0.01
says "$tmp/no/such/folder/x.assay"
# No file can be made there, not even by root.
run 2 "$BLKASSAY" sweep "$card" --out /sys/x.assay
says "cannot create record '/sys/x.assay'"
says "name a place that takes it with --out"
run 2 "$BLKASSAY" sweep "$card" --out "$card"
run 2 "$BLKASSAY" frobnicate
says "frobnicate"
run 2 "$BLKASSAY"
[ "$(sha256sum <"$card")" = "$before" ] || fail "the image was written to"

# A doubling range that misses its end is refused: the size that was asked for would be left out in silence.
run 2 "$BLKASSAY" sweep "model:$here/../../scripts/models/buoy-b.model" --sizes 512..1M --out "$tmp/range.assay"
says "doubling from 512 B never meets 1000000 bytes; end the range at 512 KiB or 1 MiB"
