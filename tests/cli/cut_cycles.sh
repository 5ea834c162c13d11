# --cycles on a device: it waits for the target to come back, rechecks by itself, and adds up; by hand and by command.
. "$(dirname "$0")/lib.sh"
requires_root
limit=$(dirname "$BLKASSAY")/bench/loop_limit
[ -x "$limit" ] || fail "loop_limit is not built"
truncate -s 16M "$tmp/$unique.img"
loop_device "$tmp/$unique.img"
token=$(token_of "$loop")
cleanup "kill \$pid 2>/dev/null"
pid=

# By hand: twice gone and back, then interrupted while it waits for the third time.
"$BLKASSAY" cut "$loop" --erase "$token" --cycles 3 --seed 3 --region 8Mi+2Mi --out "$tmp/j.assay" >"$out" 2>"$err" &
pid=$!
for cut in 1 2 3; do
	await "cut $cut of 3" "$err"
	tries=0
	until [ "$(awk '/ cycle /{ n = 0 } / stored through=/{ n++ } END { print n + 0 }' "$tmp/j.assay")" -ge 5 ]; do
		[ $((tries += 1)) -le 1500 ] || fail "no promises in cut $cut"
		sleep 0.02
	done
	"$limit" "$loop" 4096 || fail "the loop device cannot be limited"
	tries=0
	until [ "$(grep -c 'plug it in again; Ctrl-C ends' "$err")" = $cut ]; do
		[ $((tries += 1)) -le 1500 ] || fail "no prompt after cut $cut"
		sleep 0.02
	done
	[ $cut = 3 ] || "$limit" "$loop" 0
	[ $cut = 3 ] || await "cut $cut: kept" "$err"
done
kill -INT $pid
status=0
wait $pid || status=$?
pid=
[ $status = 130 ] || fail "interrupted, it exited with $status"
tells "No verdict yet: 1 of 3 cuts is not rechecked."
says "interrupted while waiting for the target to come back"
"$limit" "$loop" 0
run 0 "$BLKASSAY" report "$tmp/j.assay"
tells "No verdict yet: 1 of 3 cuts is not rechecked."
# The third can still be judged. The loop device kept its place, but it was gone for a while.
# What is limited loses nothing, so that no cut shows what a flush is worth.
run 4 "$BLKASSAY" recheck "$tmp/j.assay" "$loop"
tells "promises in 1 cut is broken, but nothing was lost that was not promised either."
run 0 "$BLKASSAY" report "$tmp/j.assay"
tells "promises in 3 cuts is broken, but nothing was lost that was not promised either."

# By a command that also brings it back.
run 4 "$BLKASSAY" cut "$loop" --erase "$token" --cycles 2 --seconds 1 --seed 5 --region 8Mi+2Mi \
	--cut-with "$limit $loop 4096; sleep 0.7; $limit $loop 0" --out "$tmp/k.assay"
tells "promises in 2 cuts is broken, but nothing was lost that was not promised either."
grep -c ' pull ' "$tmp/k.assay" | grep -qx 2 || fail "the command did not run once a cut"
# Gone before there is anything to recheck.
"$limit" "$loop" 8192
run 2 "$BLKASSAY" cut "$loop" --erase "$token" --region 8Mi+2Mi --out "$tmp/l.assay"
