# Nonsense is refused with one clear line and status 2, and nothing is written.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
truncate -s 1M a.img
sum=$(cksum <a.img)
refused() {
	words=$1
	shift
	run 2 "$BLKASSAY" verify a.img "$@"
	says "$words"
	[ "$(wc -l <"$err")" = 1 ] || fail "more than one line for '$*'"
}
refused "needs consent"
refused "does not name" --erase other.img
refused "--only takes write or read" --only both --erase "$(image_token a.img)"
refused "needs the --seed" --only read
refused "would put the old data back" --only write --keep-data
refused "not a multiple" --erase "$(image_token a.img)" --sizes 700
refused "larger than" --erase "$(image_token a.img)" --sizes 2Mi
refused "out of range" --erase "$(image_token a.img)" --generations 0
refused "out of range" --erase "$(image_token a.img)" --spot 3
refused "takes one size" --erase "$(image_token a.img)" --spot 8 --sizes 4Ki,8Ki
refused "is not a record" --resume a.img
refused "leave out --seed" --resume a.img --seed 4
refused "cannot open record" --resume none.assay
[ "$(cksum <a.img)" = "$sum" ] || fail "a refused run wrote"
[ -z "$(ls ./*.assay 2>/dev/null)" ] || fail "a refused run left a record"

run 0 "$BLKASSAY" verify a.img --erase "$(image_token a.img)" --out whole.assay --quiet
refused "is complete" --resume whole.assay
refused "cannot write" --erase "$(image_token a.img)" --csv none/x.csv
exit 0
