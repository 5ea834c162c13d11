# The target goes away while it holds test data: exit 3, the message says where the kept data is and which command puts
# it back, and that very command does, when what comes back is what went away. Emptied in between it is not: then it takes
# one more word.
. "$(dirname "$0")/lib.sh"
requires_root
image=$tmp/$unique.img
head -c 4M /dev/urandom >"$image"
before=$(sha256sum <"$image")
loop_device "$image"
(
	n=0
	until [ "$(sha256sum <"$image")" != "$before" ] || [ $n -gt 200 ]; do
		n=$((n + 1))
		sleep 0.05
	done
	empty_loop "$image"
) &
run 3 "$BLKASSAY" sweep "$loop" --direction write --keep-data --sizes 4Ki --seconds 20 --passes 2 \
	--out "$tmp/it's.assay"
wait
says "does NOT hold its own data"
[ -s "$tmp/it's.assay.kept" ] || fail "the kept data is gone"
command=$(sed -n 's/.* run: blkassay //p' "$err")
[ -n "$command" ] || fail "no command to restore"
# While the target is away: refused, nothing lost.
run 2 sh -c "'$BLKASSAY' $command"
[ -s "$tmp/it's.assay.kept" ] || fail "the kept data is gone"
truncate -s 0 "$image" # what was still on its way when the device lost it
truncate -s 4M "$image"
losetup -c "$loop"
run 2 sh -c "'$BLKASSAY' $command"
says "8192 of the 8192 blocks"
says "one byte all over"
[ "$(sha256sum <"$image")" = "$(head -c 4194304 /dev/zero | sha256sum)" ] || fail "written without a word"
command=$(sed -n 's/.* wanted: blkassay //p' "$err")
[ -n "$command" ] || fail "no command that overwrites"
run 0 sh -c "'$BLKASSAY' $command"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"

# Gone and back with all that was on it. The run stands still while that is copied.
"$BLKASSAY" verify "$loop" --keep-data --sizes 4Ki --generations 1000 \
	--out "$tmp/a \$(b).assay" >"$out" 2>"$err" </dev/null &
pid=$!
n=0
until [ "$(sha256sum <"$image")" != "$before" ]; do
	n=$((n + 1))
	[ $n -lt 600 ] || fail "the run does not begin to write"
	sleep 0.05
done
kill -STOP $pid
until grep -q '^State:.T' /proc/$pid/status; do sleep 0.02; done
cp "$image" "$tmp/away"
empty_loop "$image"
kill -CONT $pid
status=0
wait $pid || status=$?
[ $status = 3 ] || fail "exit status $status, not 3"
says_not "--resume" # its own data comes first
command=$(sed -n 's/.* run: blkassay //p' "$err")
cat "$tmp/away" >"$image"
losetup -c "$loop"
run 0 sh -c "'$BLKASSAY' $command"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"
