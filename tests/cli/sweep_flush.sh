# The kernel counts a flush as a write of nothing: that is no second request for the data. A request above the kernel's
# limit does go down as several.
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 64M "$tmp/$unique.img"
loop_device "$tmp/$unique.img"
limit=$(($(cat "/sys/block/$(basename "$loop")/queue/max_sectors_kb") * 1024))
[ $limit -ge 16384 ] && [ $((2 * limit)) -le 67108864 ] || skip "the kernel's request limit here is $limit"
for size in 8192 $((2 * limit)); do
	run 0 "$BLKASSAY" sweep "$loop" --direction write --order sequential --sizes $size --seconds 0.02 --passes 2 \
		--erase "$(token_of "$loop")" --out "$tmp/$size.assay"
done
run 0 "$BLKASSAY" report "$tmp/8192.assay"
says_not "reach the device as"
run 0 "$BLKASSAY" report "$tmp/$((2 * limit)).assay"
tells " requests each: the kernel splits above"
