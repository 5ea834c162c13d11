# A device that another program has open is not written without a word: who it is is said, for the disk and its partitions.
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 8M "$tmp/$unique.img"
loop_device "$tmp/$unique.img"
closed() { kill $opener; wait $opener 2>/dev/null || true; }
sweep() { run 0 "$BLKASSAY" sweep "$1" --erase "$(token_of "$1")" --direction write --sizes 4Ki --seconds 0.01 --passes 1 --out "$tmp/s.assay"; rm "$tmp/s.assay"; }
sweep "$loop"
says_not "is open"
opened '<>' "$loop"
sweep "$loop"
says "'$loop' is open for writing in process $opener (sleep)"
closed
opened '<' "$loop"
sweep "$loop"
says "'$loop' is open in process $opener (sleep)"
says_not "for writing"
closed
# Of a partition, when its disk or its neighbour is written to.
cleanup "partx --delete $loop 2>/dev/null"
# A table of two: type 83, from block 2048 and from block 8192, 4096 blocks each.
{
	printf '\0\376\377\377\203\376\377\377\0\010\0\0\0\020\0\0'
	printf '\0\376\377\377\203\376\377\377\0\040\0\0\0\020\0\0'
	dd if=/dev/zero bs=32 count=1 2>/dev/null
	printf '\125\252'
} | dd of="$loop" bs=1 seek=446 conv=notrunc 2>/dev/null
partx --add "$loop" 2>/dev/null
if [ -b "${loop}p1" ] && [ -b "${loop}p2" ]; then
	opened '<>' "${loop}p2"
	sweep "${loop}p1"
	says "'${loop}p2' is open for writing in process $opener (sleep)"
	closed
else
	echo "partitions: no device nodes for them here, not tested"
fi
