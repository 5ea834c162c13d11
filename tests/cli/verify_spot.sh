# A quick look finds any false capacity, touches only its places, and with --keep-data saves only these and leaves the
# target as it was, whatever happens to the run.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
head -c 16777216 /dev/urandom >a.img
cp a.img before.img
run 0 "$BLKASSAY" verify a.img --keep-data --spot 24 --sizes 4Ki --out a.assay --quiet
says "24 places in"
says "All 192 blocks of 512 B judged"
tells "A false capacity could hide"
tells "--spot 105 names every one" # two thirds of 16 MiB are 2731 distances of 4 KiB, and 53 x 52 = 2756
cmp -s a.img before.img || fail "the target is not as it was"
[ -z "$(ls ./*.kept 2>/dev/null)" ] || fail "saved data was left behind"
run 0 "$BLKASSAY" verify a.img --erase "$(image_token a.img)" --spot 24 --sizes 4Ki --out b.assay --quiet
changed=$(cmp -l a.img before.img | awk '{ blocks[int(($1 - 1) / 4096)] = 1 } END { for (b in blocks) n++; print n }')
[ "$changed" = 24 ] || fail "$changed requests changed, not 24"

# kill -9 in the middle: the saved file holds the places alone, fits this target alone, and puts every byte back.
cp before.img a.img
"$BLKASSAY" verify a.img --keep-data --spot 40 --sizes 4Ki --generations 1000 --out k.assay >"$out" 2>"$err" &
pid=$!
tries=0
while cmp -s a.img before.img; do
	tries=$((tries + 1))
	[ $tries -lt 600 ] || fail "the run does not begin to write"
	sleep 0.05
done
kill -KILL $pid
wait $pid 2>/dev/null
cmp -s a.img before.img && fail "the run has put its data back: nothing is tested"
# header, table, each place with its head, end mark: blkassay-kept(5)
[ "$(stat -c %s k.assay.kept)" = $((4096 + 40 * 16 + 40 * (16 + 4096) + 16)) ] || fail "not the places alone were saved"
head -c 16777216 /dev/urandom >other.img
sum=$(sha256sum <other.img)
run 2 "$BLKASSAY" restore k.assay.kept other.img
says "320 of the 320 blocks"
[ "$(sha256sum <other.img)" = "$sum" ] || fail "the wrong target was written to"
run 0 "$BLKASSAY" restore k.assay.kept a.img
says "restored 160 KiB at 40 places"
cmp -s a.img before.img || fail "the target is not as it was after restore"
run 0 "$BLKASSAY" restore k.assay.kept a.img
says "0 B written"

# More places than a line of options would list; the record holds all of them.
run 0 "$BLKASSAY" verify a.img --keep-data --spot 3000 --sizes 512 --out m.assay --quiet
says "All 3000 blocks of 512 B judged"
tells "no such capacity hides in these 16.8 MB"
cmp -s a.img before.img || fail "the target is not as it was"
run 0 "$BLKASSAY" report m.assay
says "3000 places in"
# Two halves of a quick look find each other's places.
run 0 "$BLKASSAY" verify a.img --erase "$(image_token a.img)" --only write --spot 300 --sizes 4Ki --seed 5 --out w.assay --quiet
run 0 "$BLKASSAY" verify a.img --only read --spot 300 --sizes 4Ki --seed 5 --out r.assay --quiet
says "All 2400 blocks of 512 B judged"

# Odd capacities, below and above a third and a half of what is claimed, named to the byte.
model=$here/../../scripts/models/fault-false-capacity.model
for blocks in 65535 65529 44444 32769 32767 24577 21845 12289 1234 77; do
	sed "s/real capacity = .*/real capacity = $((blocks * 512))/" "$model" >"$tmp/odd.model"
	rm -f c.assay
	run 1 "$BLKASSAY" verify model:"$tmp/odd.model" --spot 40 --out c.assay --quiet
	tells "The stated capacity is wrong: addresses repeat after $((blocks * 512)) bytes"
done
sed "s/beyond = wraps/beyond = drops/; s/real capacity = .*/real capacity = $((65535 * 512))/" "$model" >"$tmp/odd.model"
rm -f c.assay
run 1 "$BLKASSAY" verify model:"$tmp/odd.model" --spot 40 --out c.assay --quiet
says "1 of"
tells "Nothing from byte 33553920 on was kept" # 65535 blocks
tells "READ CAPACITY has to answer with the address of the last block"
run 1 "$BLKASSAY" verify model:"$model" --out d.assay --quiet
tells "addresses repeat after 12582912 bytes (12.6 MB)" # the model file says 12Mi
exit 0
