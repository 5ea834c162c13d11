# The disk that holds records, side files and CSV fills up: exit 3 or a refusal, one clear line, nothing lost.
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 4M "$tmp/small.img"
mkfs.ext4 -q -F -O ^has_journal -m 0 "$tmp/small.img" || fail "mkfs.ext4"
loop_device "$tmp/small.img"
small=$tmp/small
mkdir "$small"
mount "$loop" "$small" || skip "cannot mount here"
cleanup "umount '$small'"
fill() { # leaves BYTES free
	rm -f "$small/filler"
	free=$(df -B1 --output=avail "$small" | tail -n 1)
	fallocate -l $((free - $1)) "$small/filler" || fail "cannot fill the disk"
}
head -c 2M /dev/urandom >"$tmp/card.img"
sum=$(sha256sum <"$tmp/card.img")

# No room for kept data: refused before anything is written.
fill 262144
run 2 "$BLKASSAY" sweep "$tmp/card.img" --direction write --keep-data --sizes 64Ki --seconds 0.01 --passes 1 \
	--out "$small/a.assay"
says "room"
[ "$(sha256sum <"$tmp/card.img")" = "$sum" ] || fail "the card was written without its data being safe"
[ "$(grep -c '^blkassay: ' "$err")" = 1 ] || fail "not one line about it"
rm -f "$small"/a.assay*

# The record fills the disk in mid-run: what was kept before can be read, and says that it is not whole.
fill 16384
run 3 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki..64Ki --seconds 0.01 --passes 30 --out "$small/b.assay"
says "No space left on device"
run 0 "$BLKASSAY" report "$small/b.assay"
says "Sequential reads"
passes=$(grep -c ' pass ' "$small/b.assay")
[ "$passes" -ge 3 ] || fail "only $passes passes were kept"
! grep -q ' end status=complete' "$small/b.assay" || fail "the record calls itself complete"

# CSV and stdout: exit 3, the old file untouched, no half file left.
rm -f "$small/filler"
run 0 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki..64Ki --seconds 0.005 --passes 30 --out "$tmp/c.assay" --quiet
echo "an older table" >"$small/c.csv"
fill 4096
run 3 "$BLKASSAY" report "$tmp/c.assay" --csv "$small/c.csv"
says "No space left on device"
[ "$(cat "$small/c.csv")" = "an older table" ] || fail "the older table is gone"
[ "$(ls "$small" | grep -c part)" = 0 ] || fail "half a table was left"
status=0
"$BLKASSAY" report "$tmp/c.assay" >/dev/full 2>"$err" || status=$?
[ "$status" = 3 ] || fail "a report on a full disk exited with $status"
# Without room for even a first line there is no record, and no file that looks like one.
fill 0
run 3 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 0.01 --passes 1 --out "$small/d.assay"
[ ! -e "$small/d.assay" ] || run 0 "$BLKASSAY" report "$small/d.assay"
[ "$(sha256sum <"$tmp/card.img")" = "$sum" ] || fail "a reading run changed the card"

one_line() { [ "$(grep -c '^blkassay: ' "$err")" = 1 ] || fail "not one line about it"; }
# The record fills the disk while data is kept: the card gets it back, and nothing is left over.
rm -f "$small/filler" "$small"/*.assay
fill 540000
run 3 "$BLKASSAY" sweep "$tmp/card.img" --direction write --keep-data --region 0+512Ki --sizes 4Ki..64Ki --seconds 0.005 \
	--passes 30 --out "$small/k.assay"
says "No space left on device"
says "kept data is back"
one_line
[ "$(sha256sum <"$tmp/card.img")" = "$sum" ] || fail "the card did not get its data back"
[ ! -e "$small/k.assay.kept" ] || fail "left saved data that nobody needs"
run 0 "$BLKASSAY" report "$small/k.assay"
# verify: the record, and the list of damage.
fill 1024
run 3 "$BLKASSAY" verify "$tmp/card.img" --only read --sizes 512 --seed 1 --out "$small/v.assay"
says "No space left on device"
one_line
[ ! -e "$small/v.assay" ] || run 0 "$BLKASSAY" report "$small/v.assay"
rm -f "$small"/*.assay
fill 0
run 3 "$BLKASSAY" verify "$tmp/card.img" --only read --sizes 512 --seed 1 --csv "$small/d.csv" --out "$tmp/v.assay"
says "$small/d.csv"
one_line
[ -z "$(ls "$small" | grep -v -e filler -e lost+found -e c.csv)" ] || fail "left half a file: $(ls "$small")"
# Pages and comparisons.
run 0 "$make_record" "$tmp/one.assay" 6 8 500 1.00e6 0.01 1 read
run 0 "$make_record" "$tmp/two.assay" 6 8 500 1.00e6 0.01 2 read
echo "an older page" >"$tmp/old"
for words in "report $tmp/c.assay --page" "compare $tmp/one.assay --against $tmp/two.assay --page" \
	"compare $tmp/one.assay --against $tmp/two.assay --csv"; do
	fill 8192
	cp "$tmp/old" "$small/p"
	fill 0
	# shellcheck disable=SC2086 # words on purpose
	run 3 "$BLKASSAY" $words "$small/p"
	says "$small/p"
	one_line
	cmp -s "$small/p" "$tmp/old" || fail "the older file is gone after $words"
	rm "$small/p"
	[ "$(ls "$small" | grep -c part)" = 0 ] || fail "half a file was left by $words"
done
# The last block of a full disk may have room left for a verdict: then it must be in its journal, and another journal is
# made, until one has none.
until_no_room() { # MAKE JOURNAL: in $status what recheck says of the first that MAKE makes without room
	tries=0 status=0
	: >"$err"
	until grep -q "the verdict is not in the journal" "$err" || [ $status = 2 ]; do
		tries=$((tries + 1))
		[ $tries -le 20 ] || fail "20 verdicts fitted on a full disk"
		"$1"
		status=0 # making it has set it
		"$BLKASSAY" recheck "$2" "$tmp/cut.img" >"$out" 2>"$err" || status=$?
		grep -q "the verdict is not in the journal" "$err" || [ $status = 2 ] || grep -q ' recheck ' "$2" ||
			fail "no verdict in a journal said to be kept"
		# An image is never unplugged: where there is room for its verdict, that is "not shown".
		[ $status != 4 ] || status=0
	done
}
# A journal that fills the disk: recheck takes it or refuses it, and accuses nobody.
head -c 2M /dev/urandom >"$tmp/cut.img"
fill_with_journal() {
	rm -f "$small/j.assay"
	fill 16384
	run 3 "$BLKASSAY" cut "$tmp/cut.img" --erase "$(image_token "$tmp/cut.img")" --seconds 30 --out "$small/j.assay"
	says "No space left on device"
	one_line
}
until_no_room fill_with_journal "$small/j.assay"
[ "$status" = 3 ] || [ "$status" = 2 ] || fail "recheck of a journal cut off by a full disk exited with $status"
one_line
# A verdict that does not fit into its journal is shown all the same.
crowd_journal() {
	rm -f "$tmp/j.assay" "$small/full.assay"
	run 0 "$BLKASSAY" cut "$tmp/cut.img" --erase "$(image_token "$tmp/cut.img")" --seconds 0.2 --out "$tmp/j.assay"
	fill 1048576
	cp "$tmp/j.assay" "$small/full.assay"
	fill 0
	tail -c +1 /dev/zero | head -c 65536 >>"$small/filler" 2>/dev/null
}
until_no_room crowd_journal "$small/full.assay"
[ "$status" = 3 ] || fail "recheck on a full disk exited with $status"
tells "not promised"
one_line
