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
	--out "$small/a.run"
says "room"
[ "$(sha256sum <"$tmp/card.img")" = "$sum" ] || fail "the card was written without its data being safe"
[ "$(grep -c '^blkassay: ' "$err")" = 1 ] || fail "not one line about it"
rm -f "$small"/a.run*

# The record fills the disk in mid-run: what was kept before can be read, and says that it is not whole.
fill 16384
run 3 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki..64Ki --seconds 0.01 --passes 30 --out "$small/b.run"
says "No space left on device"
run 0 "$BLKASSAY" report "$small/b.run"
says "READS, sequential"
passes=$(grep -c ' pass ' "$small/b.run")
[ "$passes" -ge 3 ] || fail "only $passes passes were kept"
! grep -q ' end status=complete' "$small/b.run" || fail "the record calls itself complete"

# CSV and stdout: exit 3, the old file untouched, no half file left.
rm -f "$small/filler"
run 0 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki..64Ki --seconds 0.005 --passes 30 --out "$tmp/c.run" --quiet
echo "an older table" >"$small/c.csv"
fill 4096
run 3 "$BLKASSAY" report "$tmp/c.run" --csv "$small/c.csv"
says "No space left on device"
[ "$(cat "$small/c.csv")" = "an older table" ] || fail "the older table is gone"
[ "$(ls "$small" | grep -c part)" = 0 ] || fail "half a table was left"
status=0
"$BLKASSAY" report "$tmp/c.run" >/dev/full 2>"$err" || status=$?
[ "$status" = 3 ] || fail "a report on a full disk exited with $status"
# Without room for even a first line there is no record, and no file that looks like one.
fill 0
run 3 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 0.01 --passes 1 --out "$small/d.run"
[ ! -e "$small/d.run" ] || run 0 "$BLKASSAY" report "$small/d.run"
[ "$(sha256sum <"$tmp/card.img")" = "$sum" ] || fail "a reading run changed the card"
