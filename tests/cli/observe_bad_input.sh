# What cannot be observed, and where a record must not go.
. "$(dirname "$0")/lib.sh"
run 2 "$BLKASSAY" observe "$tmp/none"
says "cannot find target"
: >"$tmp/file"
run 2 "$BLKASSAY" observe "$tmp/file"
says "is not a block device"
run 2 "$BLKASSAY" observe model:"$here/../../scripts/models/buoy-b.model"
run 2 "$BLKASSAY" observe
run 2 "$BLKASSAY" observe "$tmp" --erase x
requires_root
truncate -s 64M "$tmp/card.img"
mkfs.ext4 -q "$tmp/card.img" 2>/dev/null || skip "needs mkfs.ext4"
loop_device "$tmp/card.img"
mkdir "$tmp/mnt"
mount "$loop" "$tmp/mnt" || skip "cannot mount here"
cleanup "umount '$tmp/mnt' 2>/dev/null"
# Writing the record would be seen as the user's own requests.
run 2 "$BLKASSAY" observe "$loop" --seconds 0.1 --out "$tmp/mnt/o.assay"
[ ! -e "$tmp/mnt/o.assay" ] || fail "a record was made on the target"
# Mounted and in use is what it is for: a copy is seen whole.
"$BLKASSAY" observe "$loop" --seconds 2 --out "$tmp/o.assay" >"$out" 2>"$err" &
pid=$!
await ' target ' "$tmp/o.assay"
sleep 0.2
head -c 8M /dev/urandom >"$tmp/mnt/copy"
sync "$tmp/mnt/copy"
wait $pid || fail "observe exited with $?"
written=$(sed -n 's/.* seen .* written_bytes=\([0-9]*\) .*/\1/p' "$tmp/o.assay")
[ -n "$written" ] || written=$(sed -n 's/.* total .* written_bytes=\([0-9]*\) .*/\1/p' "$tmp/o.assay")
[ "$written" -ge 8388608 ] && [ "$written" -le 10000000 ] || fail "8 MiB were copied, $written bytes were seen"
limit=$(($(cat /sys/block/"${loop#/dev/}"/queue/max_sectors_kb) * 1024))
for size in $(sed -n 's/.* mix direction=write sizes=\([^ ]*\) .*/\1/p' "$tmp/o.assay" | tr , ' '); do
	[ "${size%%:*}" -le "$limit" ] || fail "a request of ${size%%:*} bytes, above the kernel's limit of $limit"
done
