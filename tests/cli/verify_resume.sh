# Stopped by a signal or killed, a run goes on where it was, and the sum is that of one run.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
truncate -s 8M a.img

# stopped SIGNAL STATUS COUNTER VERIFY-OPTION...: starts verify on a.img and sends it the signal once it has moved half a
# megabyte; wchar: written, rchar: read. A busy machine may let it reach its end before the signal comes: then once more.
stopped() {
	signal=$1 wanted=$2 counter=$3
	shift 3
	for attempt in 1 2 3 4 5; do
		rm -f stopped.assay
		"$BLKASSAY" verify a.img "$@" --sizes 512 --out stopped.assay >"$out" 2>"$err" &
		pid=$!
		until [ "$(sed -n "s/^$counter: //p" /proc/$pid/io 2>/dev/null || echo 0)" -ge 500000 ] 2>/dev/null; do
			kill -0 $pid 2>/dev/null || break
		done
		kill "-$signal" $pid 2>/dev/null
		status=0
		wait $pid 2>/dev/null || status=$?
		[ $status = "$wanted" ] && return
		[ $status -gt 1 ] && break
	done
	fail "stopped in attempt $attempt with status $status, not $wanted"
}

# SIGINT in the middle of writing.
stopped INT 130 wchar --erase "$(image_token a.img)" --seed 3
says "Interrupted while writing: nothing has been judged."
tells "The run can be resumed from there: blkassay verify 'a.img' --resume 'stopped.assay' --erase "
[ "$(od -An -tx1 -N8 a.img | tr -d ' ')" = 9e626b6173736179 ] || fail "nothing was written: blkassay-stamp(5)"
[ "$(tail -c 512 a.img | od -An -tx1 -N8 | tr -d ' ')" = 0000000000000000 ] || fail "all was written"
mv stopped.assay a.assay
run 0 "$BLKASSAY" report a.assay
says "Interrupted while"
run 0 "$BLKASSAY" verify a.img --erase "$(image_token a.img)" --resume a.assay
says "All 16384 blocks of 512 B judged"
run 0 "$BLKASSAY" report a.assay
says "All 16384 blocks of 512 B judged"

# SIGINT in the middle of reading, with damage on both sides of it: counted once, all of it.
hurt() { dd if=/dev/zero of=a.img bs=512 seek="$1" count="$2" conv=notrunc status=none; }
run 0 "$BLKASSAY" verify a.img --erase "$(image_token a.img)" --only write --seed 4 --out w.assay --quiet
hurt 10 1
hurt 16000 2
stopped INT 130 rchar --only read --seed 4
tells "Interrupted while reading. The rest was not judged."
says "1 of "
mv stopped.assay i.assay
run 1 "$BLKASSAY" verify a.img --resume i.assay --csv d.csv
says "3 of 16384 blocks of 512 B judged are damaged: 3 blank"
[ "$(wc -l <d.csv)" = 3 ] || fail "d.csv: $(cat d.csv)"

# kill -9 in the middle of reading: it goes on from what the record knows.
stopped KILL 137 rchar --only read --seed 4
mv stopped.assay r.assay
run 0 "$BLKASSAY" report r.assay
rm d.csv
run 1 "$BLKASSAY" verify a.img --resume r.assay --csv d.csv
says "3 of 16384 blocks of 512 B judged are damaged: 3 blank"
[ "$(wc -l <d.csv)" = 3 ] || fail "d.csv: $(cat d.csv)"

# Another target is not the one to go on with.
truncate -s 8M b.img
run 2 "$BLKASSAY" verify b.img --erase "$(image_token b.img)" --resume i.assay
says "complete" # a finished one has nothing to go on with, wherever
stopped INT 130 wchar --erase "$(image_token a.img)" --seed 6
run 2 "$BLKASSAY" verify b.img --erase "$(image_token b.img)" --resume stopped.assay
says "another target"
exit 0
