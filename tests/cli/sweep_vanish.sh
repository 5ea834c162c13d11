# A target that goes away in the middle: exit 3, the finished passes kept, the failed request named.
. "$(dirname "$0")/lib.sh"
requires_root
for size in 512 4096; do
	truncate -s 16M "$tmp/card.img"
	loop_device "$tmp/card.img" $size
	(until [ "$(grep -cs ' pass ' "$tmp/gone$size.assay")" -ge 2 ]; do sleep 0.05; done; empty_loop "$tmp/card.img") &
	run 3 "$BLKASSAY" sweep "$loop" --sizes 4Ki..64Ki --seconds 0.2 --passes 20 --out "$tmp/gone$size.assay"
	wait
	says "read " # it failed, or came short: the file goes a moment before the device knows
	says " at byte "
	[ "$(wc -l <"$err")" -le 4 ] || fail "more than a few lines"
	run 0 "$BLKASSAY" report "$tmp/gone$size.assay"
	says "failed"
	passes=$(grep -c ' pass ' "$tmp/gone$size.assay")
	[ "$passes" -ge 2 ] || fail "only $passes passes were kept"
	let_go "$loop"
done
