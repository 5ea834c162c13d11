# Where things lie: no direct I/O, no room for kept data, outputs on the target itself, odd sizes and alignment.
. "$(dirname "$0")/lib.sh"
sweep() { # STATUS OPTION...
	status_wanted=$1
	shift
	run "$status_wanted" "$BLKASSAY" sweep "$@" --sizes 4Ki --order random --seconds 0.01 --passes 1
	[ "$status_wanted" = 0 ] || [ "$(grep -c '^blkassay: ' "$err")" = 1 ] || fail "not one error line"
}
dd if=/dev/urandom of="$tmp/card.img" bs=1M count=2 2>/dev/null
before=$(sha256sum <"$tmp/card.img")

# A memory filesystem has no direct I/O, and keeps nothing through a power cut.
if [ -d /dev/shm ] && [ -w /dev/shm ] && [ "$(stat -f -c %T /dev/shm)" = tmpfs ]; then
	shm=$(mktemp -d /dev/shm/blkassay.XXXXXX)
	cleanup "rm -rf $shm"
	cp "$tmp/card.img" "$shm/card.img"
	sweep 2 "$shm/card.img" --out "$tmp/x.assay"
	says "O_DIRECT"
	sweep 2 "$tmp/card.img" --direction write --keep-data --out "$shm/x.assay"
	says "lost with the power"
	[ ! -e "$shm/x.assay.kept" ] || fail "left kept data"
else
	echo "no tmpfs at /dev/shm: not tested"
fi

# The output is the target.
sweep 2 "$tmp/card.img" --out "$tmp/card.img"
says "is the target itself"
ln "$tmp/card.img" "$tmp/hard"
ln -s card.img "$tmp/soft"
sweep 2 "$tmp/card.img" --out "$tmp/hard"
says "is the target itself"
sweep 2 "$tmp/soft" --out "$tmp/card.img"
says "is the target itself"
sweep 2 "$tmp/card.img" --out "$tmp"
says "is a folder"
sweep 2 "$tmp/card.img" --out "$tmp/none/x.assay"
# Kept data of an interrupted run is never written over.
echo precious >"$tmp/old.assay.kept"
sweep 2 "$tmp/card.img" --direction write --keep-data --out "$tmp/old.assay"
says "restore"
[ "$(cat "$tmp/old.assay.kept")" = precious ] || fail "kept data was overwritten"

# Sizes: an image of less than a block, one with an odd end.
printf 'x' >"$tmp/tiny.img"
sweep 2 "$tmp/tiny.img" --out "$tmp/x.assay"
says "too small"
head -c 100000 "$tmp/card.img" >"$tmp/odd.img"
sweep 0 "$tmp/odd.img" --direction write --erase "$(image_token "$tmp/odd.img")" --out "$tmp/odd.assay"
[ "$(stat -c %s "$tmp/odd.img")" = 100000 ] || fail "the size of the image changed"
[ "$(tail -c 160 "$tmp/odd.img" | sha256sum)" = "$(head -c 100000 "$tmp/card.img" | tail -c 160 | sha256sum)" ] ||
	fail "bytes after the last block were written"
for region in 0+4Mi 2Mi+4Ki 1Mi+1100Ki 1+4Ki 0+4097 512+513; do
	sweep 2 "$tmp/card.img" --region $region --direction write --erase "$(image_token "$tmp/card.img")" --out "$tmp/x.assay"
	says "--region"
done
[ "$(sha256sum <"$tmp/card.img")" = "$before" ] || fail "the image was written to"
# A region keeps everything outside it untouched, and is itself written.
cp "$tmp/card.img" "$tmp/original"
sweep 0 "$tmp/card.img" --region 1Mi+64Ki --direction write --erase "$(image_token "$tmp/card.img")" --out "$tmp/r.assay"
cmp -n 1048576 "$tmp/original" "$tmp/card.img" || fail "bytes before the region were written"
cmp -i 1114112 "$tmp/original" "$tmp/card.img" || fail "bytes after the region were written"
cmp -s -i 1048576 -n 65536 "$tmp/original" "$tmp/card.img" && fail "the region was not written"
# A place where no file can be made.
if [ -d /sys/kernel ]; then
	sweep 2 "$tmp/card.img" --out /sys/kernel/x.assay
	says "/sys/kernel/x.assay"
fi
requires_root

# 4096-byte blocks: what is fine for 512 is refused here.
truncate -s 1M "$tmp/$unique.img"
loop_device "$tmp/$unique.img" 4096
run 2 "$BLKASSAY" sweep "$loop" --sizes 512 --out "$tmp/x.assay"
says "4096"
sweep 2 "$loop" --region 512+4Ki --out "$tmp/x.assay"
sweep 2 "$loop" --out "$loop"
says "is the target itself"
ln -s "$loop" "$tmp/dev"
sweep 2 "$tmp/dev" --out "$loop"
says "is the target itself"

# A small disk: no room for kept data, said before anything is written; and outputs that lie in the target's filesystem.
truncate -s 8M "$tmp/small-$unique.img"
mkfs.ext4 -q "$tmp/small-$unique.img" 2>/dev/null || skip "needs mkfs.ext4; the rest passed"
mkdir "$tmp/small"
mount -o loop "$tmp/small-$unique.img" "$tmp/small" || skip "cannot mount; the rest passed"
cleanup "umount '$tmp/small' 2>/dev/null"
dd if=/dev/urandom of="$tmp/big.img" bs=1M count=16 2>/dev/null
before=$(sha256sum <"$tmp/big.img")
for command in "sweep --direction write" verify "audit --region 0+15Mi" cut; do
	# shellcheck disable=SC2086
	run 2 "$BLKASSAY" ${command%% *} "$tmp/big.img" ${command#"${command%% *}"} --keep-data --out "$tmp/small/x.assay"
	says "not enough room"
	says "nothing was written to '$tmp/big.img'"
	[ ! -s "$out" ] || fail "$command shows results of a run that was refused"
	[ -z "$(ls "$tmp/small" | grep -v lost+found)" ] || fail "$command left $(ls "$tmp/small")"
	[ "$(sha256sum <"$tmp/big.img")" = "$before" ] || fail "the image was written to"
done
# Making an image there fails clean.
sweep 3 "$tmp/small/new.img" --create 16Mi --out "$tmp/x.assay"
says "No space left"
[ ! -e "$tmp/small/new.img" ] || fail "left part of an image"
# Reading an image while its own filesystem takes the record.
sweep 2 "$tmp/small-$unique.img" --out "$tmp/small/x.assay"
says "would lie on the target"
[ ! -e "$tmp/small/x.assay" ] || fail "left a record on the target"
