# A target in use is never written, with the reason: mounted, a mounted partition, swap, held by a loop device, the
# system's own disk. No option overrules it.
. "$(dirname "$0")/lib.sh"
requires_root
refused() { # DEVICE WORD-OF-THE-REASON TEXT
	before=$(head -c 65536 "$1" | sha256sum)
	for consent in "--erase $(token_of "$1")" --keep-data "--keep-data --fixed-disk"; do
		# shellcheck disable=SC2086 # two words on purpose
		run 2 "$BLKASSAY" sweep "$1" --direction write --sizes 4Ki --seconds 0.01 --passes 1 \
			--out "$tmp/x.assay" $consent
		says "$3"
		[ "$(wc -l <"$err")" = 1 ] || fail "not one line"
		[ ! -e "$tmp/x.assay" ] && [ ! -e "$tmp/x.assay.kept" ] || fail "left files"
	done
	[ "$(head -c 65536 "$1" | sha256sum)" = "$before" ] || fail "$1 was written to"
	run 0 "$BLKASSAY" targets --csv -
	grep -q "^$1,[a-z]*,[^,]*,[a-z]*,false,$2," "$out" || fail "targets does not say that $1 is $2"
}
unused() {
	run 0 "$BLKASSAY" targets --csv -
	grep -q "^$1,[a-z]*,[^,]*,[a-z]*,true,," "$out" || fail "$1 is not fine"
}

truncate -s 8M "$tmp/$unique.img"
loop_device "$tmp/$unique.img"
unused "$loop"

# A filesystem on the whole device.
mkfs.ext4 -q "$loop" 2>/dev/null || skip "needs mkfs.ext4"
mkdir "$tmp/mnt point"
mount "$loop" "$tmp/mnt point" || skip "cannot mount a loop device"
cleanup "umount '$tmp/mnt point' 2>/dev/null"
refused "$loop" mounted "is mounted on '$tmp/mnt point'"
# Even reading is exclusive, so a mounted device is not disturbed or mismeasured.
run 2 "$BLKASSAY" sweep "$loop" --out "$tmp/x.assay"
says "it is in use"
umount "$tmp/mnt point"
unused "$loop"

# Another loop device on it: nothing of that shows in holders/.
attach "$loop"
upper=$device
refused "$loop" held "'$(basename "$upper")' is built on it"
mount "$upper" "$tmp/mnt point"
refused "$loop" mounted "$(basename "$upper") is mounted"
umount "$tmp/mnt point"
let_go "$upper"
unused "$loop"

# The image file below a loop device.
run 2 "$BLKASSAY" sweep "$tmp/$unique.img" --direction write --erase "$(image_token "$tmp/$unique.img")" --out "$tmp/x.assay"
says "'$(basename "$loop")' is built on it"

if mkswap "$loop" >/dev/null 2>&1 && swapon "$loop" 2>/dev/null; then
	cleanup "swapoff $loop 2>/dev/null"
	refused "$loop" swap "in use as swap"
	swapoff "$loop"
else
	echo "swap: cannot be turned on here, not tested"
fi
unused "$loop"
let_go "$loop"

# A partition that is mounted keeps the whole disk and its sister partition from being written.
truncate -s 16M "$tmp/p$unique.img"
attach "$tmp/p$unique.img"
disk=$device
cleanup "partx --delete $disk 2>/dev/null"
# A table of two: type 83, from block 2048 and from block 12288, 8192 blocks each.
{
	printf '\0\376\377\377\203\376\377\377\0\010\0\0\0\040\0\0'
	printf '\0\376\377\377\203\376\377\377\0\060\0\0\0\040\0\0'
	dd if=/dev/zero bs=32 count=1 2>/dev/null
	printf '\125\252'
} | dd of="$disk" bs=1 seek=446 conv=notrunc 2>/dev/null
partx --add "$disk" 2>/dev/null
if [ -b "${disk}p1" ] && [ -b "${disk}p2" ]; then
	unused "$disk"
	unused "${disk}p2"
	mkfs.ext4 -q "${disk}p1" 2>/dev/null
	mount "${disk}p1" "$tmp/mnt point"
	refused "$disk" mounted "$(basename "$disk")p1 is mounted on"
	refused "${disk}p2" mounted "$(basename "$disk")p1 is mounted on"
	umount "$tmp/mnt point"
	# Alone and not in use, a partition may be written; its token names it.
	run 0 "$BLKASSAY" targets --csv -
	[ "$(token_of "${disk}p2")" = "$(image_token "$tmp/p$unique.img")-4194304-part2" ] || fail "token of a partition"
	first=$(dd if="$disk" bs=1M count=5 2>/dev/null | sha256sum)
	run 0 "$BLKASSAY" sweep "${disk}p2" --direction write --sizes 4Ki --seconds 0.01 --passes 1 \
		--out "$tmp/p.assay" --erase "$(token_of "${disk}p2")"
	[ "$(dd if="$disk" bs=1M count=5 2>/dev/null | sha256sum)" = "$first" ] ||
		fail "writing to partition 2 changed what is before it"
else
	echo "partitions: no device nodes for them here, not tested"
fi

# The disk that holds / (where it is a disk at all).
number=$(awk '$5 == "/" { n = $3 } END { print n }' /proc/self/mountinfo)
dir=$(readlink -f "/sys/dev/block/$number" 2>/dev/null)
[ -n "$dir" ] && [ -e "$dir/dev" ] || skip "/ is not on a block device here; the rest passed"
[ ! -e "$dir/partition" ] || dir=$(dirname "$dir")
system=/dev/$(basename "$dir")
[ -b "$system" ] || skip "$system has no node here; the rest passed"
for consent in "--erase $(token_of "$system")" --keep-data; do
	# shellcheck disable=SC2086
	run 2 "$BLKASSAY" sweep "$system" --direction write --fixed-disk --out "$tmp/x.assay" $consent
	says "never written to, whatever the options"
done
run 0 "$BLKASSAY" targets --csv -
grep -q "^$system,[a-z]*,[^,]*,[a-z]*,false,system," "$out" || fail "targets does not know the system disk"
