# A pass that the host lost is none of the target's doing: a process that was stopped, a clock that was moved. Such a pass is
# flagged, in no figure, and made again.
. "$(dirname "$0")/lib.sh"
[ -z "${SANITIZED:-}" ] || skip "a preloaded library and the sanitizers do not go together"
truncate -s 8M "$tmp/card.img"
counted() { # RUN: passes that count, and passes that are flagged as lost by the host
	good=$(grep ' pass ' "$1" | grep -cv 'flags=[a-z+-]*host')
	lost=$(grep ' pass ' "$1" | grep -c 'flags=[a-z+-]*host')
}
# The 3 s are in no figure of a pass that counts.
none_took_seconds() {
	grep ' pass ' "$1" | grep -v 'flags=[a-z+-]*host' | grep -o 'request_time_max_seconds=[0-9.]*' | cut -d= -f2 |
		awk '$1 > 2.5 { late = 1 } END { exit late }' || fail "the host's absence is taken for a slow request"
}

"$BLKASSAY" sweep "$tmp/card.img" --sizes 64Ki --order sequential --seconds 2 --passes 2 --out "$tmp/stopped.assay" >"$out" 2>"$err" &
pid=$!
await ' pass ' "$tmp/stopped.assay"
kill -STOP $pid
sleep 3
kill -CONT $pid
wait $pid || fail "the sweep ended in $?"
counted "$tmp/stopped.assay"
[ "$lost" -ge 1 ] || fail "no pass is flagged, though the process was stopped for 3 s"
[ "$good" = 2 ] || [ "$lost" -ge 3 ] || fail "the lost pass was not made again"
run 0 "$BLKASSAY" report "$tmp/stopped.assay"
tells "lost by this computer"
none_took_seconds "$tmp/stopped.assay"

# A clock that jumps, either way, moves no rate by much: without the flag it would be less than half, or no number at all.
for step in 3000 -3000; do
	rm -f "$tmp/step.assay"
	run 0 env LD_PRELOAD="$(dirname "$BLKASSAY")/tests/step.so" STEP_AFTER_MS=1500 STEP_MS=$step "$BLKASSAY" sweep "$tmp/card.img" \
		--sizes 64Ki --order sequential --seconds 1 --passes 2 --out "$tmp/step.assay"
	counted "$tmp/step.assay"
	[ "$lost" -ge 1 ] || fail "no pass is flagged, though the clock was moved by $step ms"
	run 0 "$BLKASSAY" report "$tmp/step.assay"
	tells "lost by this computer"
	none_took_seconds "$tmp/step.assay"
	# Nor is any figure what a difference below 0 would make of it, in the flagged pass as little as elsewhere.
	if grep -qE '_seconds=[0-9]{6,}' "$tmp/step.assay" || grep -qE '[0-9]{4,} h' "$err"; then fail "a time below 0 became centuries"; fi
	run 0 "$BLKASSAY" report "$tmp/step.assay" --csv -
	grep -qE '(^|,)-?(nan|inf)(,|$)' "$out" && fail "a rate of no time at all"
done
exit 0
