# The target goes away while it holds test data: exit 3, the message says where the kept data is and which command puts
# it back, and that very command does.
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
truncate -s 4M "$image"
losetup -c "$loop"
run 0 sh -c "'$BLKASSAY' $command"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"
