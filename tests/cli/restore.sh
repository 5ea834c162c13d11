# restore: after kill -9 every byte comes back, to the target itself or to one with the same content under another name;
# another target and a file that is not whole are refused before a byte is written; it can be repeated.
. "$(dirname "$0")/lib.sh"
mkdir "$tmp/a" "$tmp/b"
card=$tmp/a/card.img
dd if=/dev/urandom of="$card" bs=1M count=3 2>/dev/null
before=$(sha256sum <"$card")
cp "$card" "$tmp/original"
killed_run() { # TARGET FILE-TO-WATCH OPTION...
	target=$1 watched=$2
	shift 2
	was=$(sha256sum <"$watched")
	rm -f "$tmp/k.assay" "$tmp/k.assay.kept"
	"$BLKASSAY" sweep "$target" --direction write --keep-data --sizes 64Ki --seconds 20 --passes 2 \
		--out "$tmp/k.assay" "$@" >"$out" 2>"$err" &
	pid=$!
	n=0
	until [ "$(sha256sum <"$watched")" != "$was" ]; do
		n=$((n + 1))
		[ $n -lt 200 ] || fail "the run does not begin to write"
		sleep 0.05
	done
	kill -9 $pid
	wait $pid 2>/dev/null
}
killed_run "$card" "$card"
kept=$tmp/k.assay.kept
[ "$(stat -c %a "$kept")" = 600 ] || fail "saved data can be read by others"
[ "$(sha256sum <"$card")" != "$before" ] || fail "nothing was written: nothing is tested"
hurt=$(sha256sum <"$card")
refused() { # STATUS TEXT SAVED TARGET
	run "$1" "$BLKASSAY" restore "$3" "$4"
	says "$2"
	[ "$(grep -c . "$err")" = 1 ] || fail "not one line"
	[ ! -s "$out" ] || fail "stdout is not empty"
	[ "$(sha256sum <"$card")" = "$hurt" ] || fail "the target was written to"
}

# Wrong targets: smaller or larger, whatever they hold, and whatever consent is given.
head -c 1M "$card" >"$tmp/b/card.img"
refused 2 "wrong target" "$kept" "$tmp/b/card.img"
head -c $((3 * 1048576 - 512)) "$card" >"$tmp/b/card.img"
refused 2 "wrong target" "$kept" "$tmp/b/card.img"
{ cat "$card"; head -c 512 /dev/zero; } >"$tmp/b/card.img"
large=$(sha256sum <"$tmp/b/card.img")
refused 2 "wrong target" "$kept" "$tmp/b/card.img"
says "one of 3145728 bytes, but"
says "has 3146240"
run 2 "$BLKASSAY" restore "$kept" "$tmp/b/card.img" --overwrite-changed "$(image_token "$tmp/b/card.img")"
says "wrong target"
[ "$(sha256sum <"$tmp/b/card.img")" = "$large" ] || fail "a larger target was written to"
refused 2 "a directory" "$kept" "$tmp"
refused 2 "a character device" "$kept" /dev/null
refused 2 "absent" "$kept" "$tmp/absent"
refused 2 "is a model" "$kept" model:x

# Saved data that is not whole, not intact, or something else.
size=$(stat -c %s "$kept")
head -c $((size - 1)) "$kept" >"$tmp/cut"
refused 2 "is not whole" "$tmp/cut" "$card"
head -c 1000000 "$kept" >"$tmp/cut"
refused 2 "is not whole" "$tmp/cut" "$card"
head -c 4095 "$kept" >"$tmp/cut"
refused 2 "not a saved-data file" "$tmp/cut" "$card"
: >"$tmp/cut"
refused 2 "not a saved-data file" "$tmp/cut" "$card"
{ cat "$kept"; echo; } >"$tmp/long"
refused 2 "is not whole" "$tmp/long" "$card"
refused 2 "not a saved-data file" "$tmp/k.assay" "$card"
refused 2 "not a regular file" "$tmp" "$card"
refused 2 "nothing-here" "$tmp/nothing-here" "$card"
damage() { # BYTE: flips bits of that byte in a copy
	cp "$kept" "$tmp/damaged"
	old=$(od -An -tu1 -j "$1" -N 1 "$kept" | tr -d ' ')
	# shellcheck disable=SC2059
	printf "\\$(printf %o $((old ^ 64)))" | dd of="$tmp/damaged" bs=1 seek="$1" conv=notrunc 2>/dev/null
}
damage 20 # header
refused 3 "header" "$tmp/damaged" "$card"
damage 3000 # header, where it is empty
refused 3 "header" "$tmp/damaged" "$card"
damage 4096 # head of the first chunk
refused 3 "chunk 1 of 3" "$tmp/damaged" "$card"
damage 4104 # its index
refused 3 "chunk 1 of 3" "$tmp/damaged" "$card"
damage 5000 # its data
refused 3 "chunk 1 of 3" "$tmp/damaged" "$card"
damage $((size - 17)) # the last byte of data: the chunks before it must not be written either
refused 3 "chunk 3 of 3" "$tmp/damaged" "$card"
damage $((size - 1)) # end mark
refused 2 "is not whole" "$tmp/damaged" "$card"

# What is whole of it, when asked for: the damaged chunk is left out and said, and nothing is called done.
damage 5000
part=$tmp/b/part.img
cp "$card" "$part"
refused 3 "put back what is whole: blkassay restore '$tmp/damaged' '$card' --skip-damaged" "$tmp/damaged" "$card"
for _ in once twice; do
	run 3 "$BLKASSAY" restore "$tmp/damaged" "$part" --skip-damaged
	says "restored 2 MiB from byte 0"
	says "1 MiB from byte 0: not put back"
	says "1 MiB of the 3 MiB saved are damaged"
	says_not "no longer needed"
	[ "$(tail -c 2M "$part" | sha256sum)" = "$(tail -c 2M "$tmp/original" | sha256sum)" ] || fail "what is whole is not back"
	cmp -n 1048576 "$part" "$card" || fail "a damaged chunk was put back"
done
# Damaged while its run still goes on: it does not call what it could not put back safe.
cp "$tmp/original" "$tmp/b/late.img"
"$BLKASSAY" verify "$tmp/b/late.img" --keep-data --generations 1000 --out "$tmp/late.assay" >"$out" 2>"$err" &
pid=$!
n=0
while cmp -s "$tmp/b/late.img" "$tmp/original"; do
	[ $((n += 1)) -lt 600 ] || fail "the run does not begin to write"
	sleep 0.05
done
printf x | dd of="$tmp/late.assay.kept" bs=1 seek=2000000 conv=notrunc status=none
printf y | dd of="$tmp/late.assay.kept" bs=1 seek=2000001 conv=notrunc status=none
kill -INT $pid
status=0
wait $pid || status=$?
[ $status = 130 ] || fail "exit status $status, not 130"
says "does NOT hold its own data; if there is no whole copy, put back what is whole: blkassay restore "
run 3 "$BLKASSAY" restore "$tmp/late.assay.kept" "$tmp/b/late.img" --skip-damaged
says "restored 2 MiB"
damage 4100 # the CRC32 in a head: what the end mark covers is not known any more
cp "$card" "$part"
run 3 "$BLKASSAY" restore "$tmp/damaged" "$part" --skip-damaged
says "the end mark"
cmp "$part" "$card" || fail "the target was written to"

# The same content under another name, or in another folder: an image that was moved is known by what it holds.
cp "$card" "$tmp/b/moved.img"
run 0 "$BLKASSAY" restore "$kept" "$tmp/b/moved.img"
says "its content decides"
[ "$(sha256sum <"$tmp/b/moved.img")" = "$before" ] || fail "the moved image is not as before"

run 0 "$BLKASSAY" restore "$kept" "$card"
says "restored 3 MiB from byte 0"
says "read twice alike"
[ "$(sha256sum <"$card")" = "$before" ] || fail "the target is not as before"
[ -e "$kept" ] || fail "restore took the saved data away"
run 0 "$BLKASSAY" restore "$kept" "$card"
says "0 B written"
[ "$(sha256sum <"$card")" = "$before" ] || fail "the target is not as before"
run 2 "$BLKASSAY" restore "$kept"
run 2 "$BLKASSAY" restore "$kept" "$card" x
run 2 "$BLKASSAY" restore "$kept" "$card" --erase x

# A device: by its serial or file and its size; refused while somebody uses it.
requires_root
dd if=/dev/urandom of="$tmp/$unique.img" bs=1M count=8 2>/dev/null
mkfs.ext4 -q -F "$tmp/$unique.img" 2>/dev/null || skip "needs mkfs.ext4; the rest passed"
before=$(sha256sum <"$tmp/$unique.img")
loop_device "$tmp/$unique.img"
killed_run "$loop" "$tmp/$unique.img" --region 4Mi+4Mi
mkdir "$tmp/mnt"
if mount -o ro,noload "$loop" "$tmp/mnt" 2>/dev/null; then
	cleanup "umount '$tmp/mnt' 2>/dev/null"
	run 2 "$BLKASSAY" restore "$kept" "$loop"
	says "is mounted on"
	umount "$tmp/mnt"
fi
# The device may come back under another name.
let_go "$loop"
loop_device "$tmp/$unique.img"
ln -s "$loop" "$tmp/by-id"
run 0 "$BLKASSAY" restore "$kept" "$tmp/by-id"
[ "$(sha256sum <"$tmp/$unique.img")" = "$before" ] || fail "the device is not as before"
