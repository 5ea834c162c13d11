# A load of known requests is reported exactly by the trace, and within a second's grain by the counters.
# alone
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 64M "$tmp/card.img"
loop_device "$tmp/card.img"
instances() { unshare -m sh -c 'mount -t tracefs none /mnt && ls /mnt/instances'; }
instances >"$tmp/before" 2>/dev/null || skip "needs tracefs and mount namespaces"

watch() { # SECONDS RECORD [COMMAND...]: starts observe in the background and waits until it watches
	"$BLKASSAY" observe "$loop" --seconds "$1" --out "$2" >"$tmp/seen" 2>"$err" &
	pid=$!
	await ' target ' "$2"
	sleep 0.3
}
load() {
	dd if=/dev/zero of="$loop" bs=4k count=100 oflag=direct status=none
	dd if=/dev/zero of="$loop" bs=64k count=50 seek=10 oflag=direct status=none conv=fsync
	for at in 9 3 7 1 5; do
		dd if="$loop" of=/dev/null bs=8k count=1 skip=$at iflag=direct status=none
	done
	dd if="$loop" of=/dev/null bs=12k count=20 iflag=direct status=none
}
watch 1.5 "$tmp/o.assay"
load
wait $pid || fail "observe exited with $?"
grep -q ' mix direction=write requests=4096:100:[0-9.]*,65536:50:[0-9.]* ' "$tmp/o.assay" || fail "writes: $(grep ' mix direction=write' "$tmp/o.assay")"
grep -q ' mix direction=read requests=8192:5:[0-9.]*,12288:20:[0-9.]* ' "$tmp/o.assay" || fail "reads: $(grep ' mix direction=read' "$tmp/o.assay")"
# One write after the first of each run of dd begins where the one before it ended, as do 19 of the last 20 reads.
grep -q ' seen reads=25 read_bytes=286720 sequential_reads=19 .* writes=150 written_bytes=3686400 sequential_writes=148 .* flushes=1 ' "$tmp/o.assay" ||
	fail "seen: $(grep ' seen ' "$tmp/o.assay")"
grep -q ' total traced=1 .* reads=25 read_bytes=286720 .* written_bytes=3686400 .* flushes=1 ' "$tmp/o.assay" || fail "total: $(grep ' total ' "$tmp/o.assay")"
run 0 "$BLKASSAY" report "$tmp/o.assay"
cmp -s "$out" "$tmp/seen" || fail "report shows something else than observe"
says "longest stall: a "
run 0 "$BLKASSAY" report "$tmp/o.assay" --csv -
says ",size,write,,,65536,50,3276800,"
run 0 "$BLKASSAY" report "$tmp/o.assay" --page "$tmp/o.html"
grep -q '<td>64 KiB</td><td>50</td>' "$tmp/o.html" || fail "the page does not have the mix"

# Without the rights for a trace: the counters, and why.
cp "$BLKASSAY" "$tmp/blkassay"
chmod 755 "$tmp" "$tmp/blkassay"
mkdir -m 777 "$tmp/open"
setpriv --reuid 65534 --regid 65534 --clear-groups "$tmp/blkassay" observe "$loop" --seconds 1.5 --out "$tmp/open/n.assay" >"$tmp/seen" 2>"$err" &
pid=$!
await ' target ' "$tmp/open/n.assay"
sleep 0.3
load
wait $pid || fail "observe without rights exited with $?"
cp "$tmp/seen" "$out"
says "only the kernel's counters are read"
says "Only the kernel's counters were read"
grep -q ' total traced=0 .* reads=25 read_bytes=286720 .* written_bytes=3686400 ' "$tmp/open/n.assay" || fail "total: $(grep ' total ' "$tmp/open/n.assay")"

# Nothing is left behind in tracefs, whether it ends by itself, by a signal, or is killed (then by the next run).
instances >"$tmp/after"
cmp -s "$tmp/before" "$tmp/after" || fail "a trace instance was left: $(cat "$tmp/after")"
"$BLKASSAY" observe "$loop" --out "$tmp/i.assay" >"$out" 2>"$err" &
pid=$!
await ' second ' "$tmp/i.assay"
instances | grep -qx "blkassay-$pid" || fail "no trace instance while it runs"
kill -INT $pid
wait $pid || fail "Ctrl-C without --seconds ended it with $?"
grep -q ' end status=complete exit_status=0 ' "$tmp/i.assay" || fail "the record has no end"
instances >"$tmp/after"
cmp -s "$tmp/before" "$tmp/after" || fail "SIGINT left a trace instance"
watch 20 "$tmp/k.assay"
kill -9 $pid
wait $pid 2>/dev/null
run 0 "$BLKASSAY" observe "$loop" --seconds 0.1 --out "$tmp/k2.assay"
instances >"$tmp/after"
cmp -s "$tmp/before" "$tmp/after" || fail "a killed run's trace instance stayed"
run 0 "$BLKASSAY" report "$tmp/k.assay"
says "The record has no end"

# With --seconds a signal means that it was not as hoped.
watch 20 "$tmp/s.assay"
kill -TERM $pid
status=0
wait $pid || status=$?
[ $status = 130 ] || fail "SIGTERM before --seconds were over: exit status $status"

# The target goes away: exit 3, and what was seen is kept.
watch 20 "$tmp/g.assay"
load
sleep 1
let_go "$loop"
status=0
wait $pid || status=$?
[ $status = 3 ] || fail "the target went away: exit status $status"
says "went away"
run 0 "$BLKASSAY" report "$tmp/g.assay"
says "64 KiB"
