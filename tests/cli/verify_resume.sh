# Stopped by a signal or killed, a run goes on where it was, and the sum is that of one run.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
truncate -s 16M a.img

# SIGINT in the middle, again and again until it is through: status 130 each time, then 0.
"$BLKASSAY" verify a.img --erase a.img --sizes 512 --seed 3 --out a.run >"$out" 2>"$err" &
pid=$!
sleep 0.2
kill -INT $pid
status=0
wait $pid || status=$?
[ $status = 130 ] || fail "interrupted run ended in $status"
says "Interrupted while"
says "The rest was not judged"
run 0 "$BLKASSAY" report a.run
says "Interrupted while"
run 0 "$BLKASSAY" verify a.img --erase a.img --resume a.run
says "All 32768 blocks of 512 B judged"
run 0 "$BLKASSAY" report a.run
says "All 32768 blocks of 512 B judged"

# kill -9 while reading: what was damaged before and after is counted once.
"$BLKASSAY" verify a.img --erase a.img --only write --seed 4 --out w.run --quiet >"$out" 2>"$err" || fail "write failed"
dd if=/dev/zero of=a.img bs=512 seek=10 count=1 conv=notrunc status=none
dd if=/dev/zero of=a.img bs=512 seek=32000 count=2 conv=notrunc status=none
"$BLKASSAY" verify a.img --only read --sizes 512 --seed 4 --out r.run >"$out" 2>"$err" &
pid=$!
sleep 0.2
kill -KILL $pid
wait $pid 2>/dev/null
run 0 "$BLKASSAY" report r.run
run 1 "$BLKASSAY" verify a.img --resume r.run --damage d.csv
says "3 of 32768 blocks of 512 B judged are damaged: 3 blank"
[ "$(wc -l <d.csv)" = 3 ] || fail "d.csv: $(cat d.csv)"
# Another target is not the one to go on with.
run 130 sh -c '"$1" verify a.img --erase a.img --sizes 512 --seed 6 --out b.run & sleep 0.2; kill -INT $!; wait $!' sh "$BLKASSAY"
truncate -s 16M b.img
run 2 "$BLKASSAY" verify b.img --erase b.img --resume b.run
says "another target"
exit 0
