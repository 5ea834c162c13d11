# A quick look finds a false capacity, touches only its places, and with --keep-data leaves the target as it was.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
head -c 16777216 /dev/urandom >a.img
cp a.img before.img
run 0 "$BLKASSAY" verify a.img --keep-data --spot 24 --sizes 4Ki --out a.run --quiet
says "24 places in"
says "All 192 blocks of 512 B judged"
cmp -s a.img before.img || fail "the target is not as it was"
[ -z "$(ls ./*.kept 2>/dev/null)" ] || fail "saved data was left behind"
run 0 "$BLKASSAY" verify a.img --erase a.img --spot 24 --sizes 4Ki --out b.run --quiet
changed=$(cmp -l a.img before.img | awk '{ blocks[int(($1 - 1) / 4096)] = 1 } END { for (b in blocks) n++; print n }')
[ "$changed" = 24 ] || fail "$changed requests changed, not 24"

run 1 "$BLKASSAY" verify model:"$here/../../scripts/models/sin-false-capacity.model" --spot 64 --out c.run --quiet
says "reach the same storage"
run 1 "$BLKASSAY" verify model:"$here/../../scripts/models/sin-false-capacity.model" --out d.run --quiet
says "addresses repeat after 12582912 bytes (12.6 MB)" # the model file says 12Mi
exit 0
