# --keep-data: after the run, however it ended, every byte of the target is as before, and no saved data is left behind.
. "$(dirname "$0")/lib.sh"
card=$tmp/card.img
dd if=/dev/urandom of="$card" bs=1M count=3 2>/dev/null
head -c 1536 /dev/urandom >>"$card" # the region ends in a chunk that is not full
before=$(sha256sum <"$card")
same() { [ "$(sha256sum <"$card")" = "$before" ] || fail "the target is not as before: $1"; }
gone() { [ ! -e "$tmp/$1.assay.kept" ] || fail "saved data is left behind: $1"; }
sweep() { # STATUS NAME OPTION...
	status_wanted=$1 name=$2
	shift 2
	run "$status_wanted" "$BLKASSAY" sweep "$card" --direction write --keep-data --sizes 4Ki,64Ki \
		--seconds 0.02 --passes 1 --out "$tmp/$name.assay" "$@"
	same "$name"
	gone "$name"
}
sweep 0 whole
says "kept data is back"
written=$(planned "$tmp/whole.assay" | wc -l)
[ "$written" = 4 ] || fail "$written passes instead of 4: nothing was tested"
sweep 0 part --region 512Ki+1Mi
sweep 0 end --region 2Mi+1050112
# Both consents at once: the token must still fit.
sweep 0 both --erase "$(image_token "$card")"
sweep 2 wrong --erase card2.img

# Interrupted: the data is put back before the end.
"$BLKASSAY" sweep "$card" --direction write --keep-data --sizes 4Ki --seconds 20 --passes 2 --out "$tmp/int.assay" \
	>"$out" 2>"$err" &
pid=$!
n=0
until [ -s "$tmp/int.assay.kept" ] && [ "$(sha256sum <"$card")" != "$before" ]; do
	n=$((n + 1))
	[ $n -lt 200 ] || fail "the run does not begin to write"
	sleep 0.05
done
kill -INT $pid
status=0
wait $pid || status=$?
[ $status = 130 ] || fail "exit status $status, not 130"
same interrupted
gone int

# The record's disk is full in the middle: exit 3, the data is put back all the same.
requires_root
truncate -s 8M "$tmp/small.fs"
mkfs.ext4 -q -m 0 -O ^has_journal "$tmp/small.fs" 2>/dev/null || skip "needs mkfs.ext4; the rest passed"
mkdir "$tmp/small"
mount -o loop "$tmp/small.fs" "$tmp/small" || skip "cannot mount; the rest passed"
cleanup "umount '$tmp/small' 2>/dev/null"
free() { echo $(($(stat -f -c '%a * %S' "$tmp/small"))); }
fallocate -l $(($(free) - 3200000 - 16384)) "$tmp/small/filler" || skip "no fallocate; the rest passed"
run 3 "$BLKASSAY" sweep "$card" --direction write --keep-data --sizes 4Ki --seconds 0.01 --passes 400 \
	--out "$tmp/small/full.assay"
says "No space left"
same "full record"
[ ! -e "$tmp/small/full.assay.kept" ] || fail "saved data is left behind"
[ -s "$tmp/small/full.assay" ] || fail "no record"
run 0 "$BLKASSAY" report "$tmp/small/full.assay"

# No room for the saved data, found out only while writing it: no fallocate on this kind of file, and its own
# bookkeeping takes more than the room that was free.
umount "$tmp/small"
mkfs.ext2 -q -m 0 -b 1024 "$tmp/small.fs" 4096 2>/dev/null || skip "needs mkfs.ext2; the rest passed"
mount -o loop "$tmp/small.fs" "$tmp/small" 2>/dev/null || skip "cannot mount ext2; the rest passed"
bytes=$((($(free) - 10240) / 4096 * 4096)) # the record takes some of it, and the index blocks of 3 MB more than what is left
card=$tmp/large.img
dd if=/dev/urandom of="$card" bs=1M count=4 2>/dev/null
before=$(sha256sum <"$card")
run 3 "$BLKASSAY" sweep "$card" --direction write --keep-data --sizes 4Ki --seconds 0.01 --passes 1 \
	--region 0+$bytes --out "$tmp/small/full.assay"
says "No space left"
same "full disk while saving"
[ ! -e "$tmp/small/full.assay.kept" ] || fail "half of the saved data is left behind"
