# What lies beneath a target: a loop device on a block device, two loop devices on one file, an image that a loop device
# holds under another name or in another mount namespace, and an image that another run or program has in hand.
. "$(dirname "$0")/lib.sh"
write() { # STATUS TARGET OPTION...
	status_wanted=$1 target=$2
	shift 2
	run "$status_wanted" "$BLKASSAY" sweep "$target" --direction write --sizes 4Ki --order random --seconds 0.01 \
		--passes 1 --out "$tmp/x.assay" "$@"
	[ "$status_wanted" = 0 ] || [ "$(wc -l <"$err")" = 1 ] || fail "not one line"
	rm -f "$tmp/x.assay"
}
unchanged() { [ "$(sha256sum <"$1")" = "$before" ] || fail "$1 was written to"; }
image=$tmp/$unique.img
dd if=/dev/urandom of="$image" bs=1M count=2 2>/dev/null
before=$(sha256sum <"$image")

# Two runs on one image would keep each other's test data: only the first may write.
"$BLKASSAY" cut "$image" --erase "$(image_token "$image")" --region 0+1Mi --seconds 60 --out "$tmp/first.assay" 2>"$tmp/first.err" &
first=$!
cleanup "kill -9 $first 2>/dev/null"
await " cycle " "$tmp/first.assay"
for consent in "--erase $(image_token "$image")" --keep-data; do
	# shellcheck disable=SC2086
	write 2 "$image" $consent
	says "in use by another program"
done
run 2 "$BLKASSAY" sweep "$image" --seconds 0.01 --out "$tmp/x.assay"
says "in use by another program"
kill -INT $first
wait $first
write 0 "$image" --keep-data
# Any number may read at once, while nobody writes.
"$BLKASSAY" sweep "$image" --sizes 4Ki --order random --seconds 60 --passes 1 --out "$tmp/second.assay" 2>/dev/null >&2 &
first=$!
cleanup "kill -9 $first 2>/dev/null"
await " plan " "$tmp/second.assay"
run 0 "$BLKASSAY" sweep "$image" --sizes 4Ki --order random --seconds 0.01 --passes 1 --out "$tmp/third.assay"
write 2 "$image" --keep-data
says "in use by another program"
kill -INT $first
wait $first

requires_root
before=$(sha256sum <"$image")
ln "$image" "$tmp/other name.img"
mkdir "$tmp/away"
attach "$image"
lower=$device

# A loop device on a block device is that device; the token of the upper one says nothing about it.
attach "$lower"
upper=$device
for consent in "--erase $(token_of "$upper")" --keep-data "--keep-data --fixed-disk"; do
	# shellcheck disable=SC2086
	write 2 "$upper" $consent
	says "only another name for '$lower'"
done
run 0 "$BLKASSAY" targets --csv -
grep -q "^$upper,[a-z]*,[^,]*,[a-z]*,false,alias," "$out" || fail "targets does not know the alias"
let_go "$upper"

# A second loop device on the same file, of a part of it: tokens differ, and nothing shows in holders/.
attach --offset 1048576 "$image"
part=$device
for device in "$lower" "$part"; do
	for consent in "--erase $(token_of "$device")" --keep-data; do
		# shellcheck disable=SC2086
		write 2 "$device" $consent
		says "is built on the same file"
	done
done
let_go "$part"

# The file has another name, and the one the loop device was made with is gone.
mv "$image" "$tmp/away/first.img"
rm "$tmp/away/first.img"
write 2 "$tmp/other name.img" --erase "$(image_token "$tmp/other name.img")"
says "'$(basename "$lower")' is built on it"
unchanged "$tmp/other name.img"
let_go "$lower"
write 0 "$tmp/other name.img" --keep-data

# Attached where its path means another file, or none, here: in another mount namespace.
dd if=/dev/urandom of="$tmp/away/$unique.img" bs=1M count=1 2>/dev/null
before=$(sha256sum <"$tmp/away/$unique.img")
mkdir "$tmp/place"
hidden=$(unshare --mount sh -c "mount --bind '$tmp/away' '$tmp/place' && losetup --find --show '$tmp/place/$unique.img'") ||
	skip "cannot make a mount namespace here; the rest passed"
cleanup "losetup -d $hidden 2>/dev/null"
write 2 "$tmp/away/$unique.img" --erase "$(image_token "$tmp/away/$unique.img")"
says "'$(basename "$hidden")' is built on it"
unchanged "$tmp/away/$unique.img"
