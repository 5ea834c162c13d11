# kill -9 at random moments, then recheck: a target that lost nothing is never accused; a promise taken back by hand is.
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 16M "$tmp/card$$.img"
loop_device "$tmp/card$$.img"
token=$(token_of "$loop")
i=0 tested=0
while [ $i -lt 10 ]; do
	i=$((i + 1))
	rm -f "$tmp/j.assay"
	"$BLKASSAY" cut "$loop" --erase "$token" --seed $i --out "$tmp/j.assay" --quiet 2>"$err" &
	pid=$!
	# From before the baseline is there to well after it; every other one surely after it, however slow the machine.
	[ $((i % 2)) = 1 ] || await ' ready ' "$tmp/j.assay"
	sleep 0.$(((i * 37) % 60 / 10))$(((i * 37) % 10))
	kill -9 $pid 2>/dev/null
	wait $pid 2>/dev/null
	status=0
	"$BLKASSAY" recheck "$tmp/j.assay" "$loop" >"$out" 2>"$err" || status=$?
	case $status in
	# Nothing was cut, so nothing is shown; but every block is as it must be.
	4) tells "Not shown: nothing is broken"; tested=$((tested + 1)) ;;
	2) grep -qE 'before the baseline|cannot open record|not a record' "$err" || fail "refused for another reason" ;;
	*) fail "recheck exited with $status after kill $i" ;;
	esac
done
[ $tested -ge 5 ] || fail "only $tested kills left a journal to recheck"

# The first promised write, put back to what was there before: the baseline of the same run is kept for that.
rm -f "$tmp/j.assay"
"$BLKASSAY" cut "$loop" --erase "$token" --seed 5 --out "$tmp/j.assay" --quiet 2>"$err" &
pid=$!
await ' ready ' "$tmp/j.assay"
cp "$tmp/card$$.img" "$tmp/early.img"
# Until enough was promised, however slow the machine.
through=0 waited=0
while [ "$through" -le 100 ]; do
	[ $((waited += 1)) -le 600 ] || fail "only $through writes were flushed in a minute"
	sleep 0.1
	through=$(grep ' stored through=' "$tmp/j.assay" | tail -n 1 | sed 's/.*through=\([0-9]*\).*/\1/')
	through=${through:-0}
done
kill -9 $pid
wait $pid 2>/dev/null
run 4 "$BLKASSAY" recheck "$tmp/j.assay" "$loop"
tells "Not shown: nothing is broken, but no promise was tested by a cut."
tells "the target answered to the end and was not unplugged since"
run 0 "$BLKASSAY" report "$tmp/j.assay"
tells "the journal just ends"
tells "no promise was tested by a cut."
dd if="$tmp/early.img" of="$loop" bs=1M count=8 oflag=direct status=none
sync
run 1 "$BLKASSAY" recheck "$tmp/j.assay" "$loop"
tells "Not safe to ship: in 1 of 1 cut something is broken"
tells "Data that a flush or a write with FUA promised did not survive"
says "lost"
tells "before the last answer"

# Another target is refused, whatever it holds.
truncate -s 16M "$tmp/other.img"
run 2 "$BLKASSAY" recheck "$tmp/j.assay" "$tmp/other.img"
says "is not the target of this journal"
run 2 "$BLKASSAY" recheck "$tmp/other.img" "$loop"
says "is not a record"
