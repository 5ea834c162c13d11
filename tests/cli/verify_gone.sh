# A target that goes away, or becomes another one, in the middle of a verify that only reads: exit 3, nothing counted as
# damage, what was judged before stays, and the run goes on to a clean end once it is back.
. "$(dirname "$0")/lib.sh"
[ -z "${SANITIZED:-}" ] || skip "a preloaded library and the sanitizers do not go together"
requires_root
change=$(dirname "$BLKASSAY")/bench/loop_change
slow=$(dirname "$BLKASSAY")/tests/slow.so
image=$tmp/$unique.img
truncate -s 4M "$image"
loop_device "$image"
run 0 "$BLKASSAY" verify "$loop" --erase "$(token_of "$loop")" --only write --sizes 4Ki --seed 4 --out "$tmp/w.assay"
cp "$image" "$tmp/good.img"

# reading NAME: in the background, slow enough, once it has judged something.
reading() {
	start=$(awk '{ print $1 }' "/sys/block/$(basename "$loop")/stat")
	SLOW_FIXED_US=1000 SLOW_RATE=1e9 LD_PRELOAD=$slow "$BLKASSAY" verify "$loop" --only read --sizes 4Ki --seed 4 \
		--out "$tmp/$1.assay" >"$out" 2>"$err" &
	pid=$!
	tries=0
	until [ "$(awk '{ print $1 }' "/sys/block/$(basename "$loop")/stat")" -ge $((start + 100)) ]; do
		[ $((tries += 1)) -le 1500 ] || fail "nothing was read"
		sleep 0.02
	done
}
ended() { # NAME WORDS
	status=0
	wait $pid || status=$?
	[ $status = 3 ] || fail "it exited with $status"
	says "$2"
	says "then go on with --resume"
	says_not "are damaged:"
	run 0 "$BLKASSAY" report "$tmp/$1.assay"
	tells "$2"
	says_not "are damaged:"
	tells "judged hold what was written"
}
reading empty
truncate -s 0 "$image" # for a moment reads are refused, and the kernel does not know yet that it is gone
sleep 0.3
empty_loop "$image"
ended empty "is gone"
cp "$tmp/good.img" "$image"
losetup -c "$loop"
run 0 "$BLKASSAY" verify "$loop" --resume "$tmp/empty.assay"
says "All 8192 blocks of 512 B"
# Two seconds of refusing everything, which nobody but the reader notices: the requests have failed, and no block.
reading away
truncate -s 0 "$image"
sleep 2
cat "$tmp/good.img" >"$image"
status=0
wait $pid || status=$?
[ $status = 1 ] || fail "it exited with $status"
tells "Requests failed, but no block is damaged: all 8192 blocks of 512 B judged hold what was written."
says_not "unreadable"
let_go "$loop"

# Another file under a read-only loop device: only the disk sequence tells.
attach --read-only "$image"
loop=$device
truncate -s 4M "$tmp/other.img"
reading other
"$change" "$loop" "$tmp/other.img" || fail "the file under the loop device cannot be changed"
ended other "may hold another medium than before"
