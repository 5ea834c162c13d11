# restore and what came later: a target refilled since, another card of the same size under the same name, one byte that
# somebody wrote: nothing of it is overwritten, it is counted and listed, until it is said by the target's token that it may
# go. Two saved files joined are found. What the end of the run itself finds there, it leaves alone as well.
. "$(dirname "$0")/lib.sh"
requires_root
cd "$tmp" || exit 1
image=$unique.img
head -c 3M /dev/urandom >"$image"
before=$(sha256sum <"$image")
loop_device "$tmp/$image"
token=$(token_of "$loop")
killed() { # RECORD COMMAND OPTION...
	record=$1 was=$(sha256sum <"$image") n=0
	shift
	"$BLKASSAY" "$@" --keep-data --out "$record" >"$out" 2>"$err" </dev/null &
	pid=$!
	until [ "$(sha256sum <"$image")" != "$was" ] && [ -s "$record.kept" ]; do
		n=$((n + 1))
		[ $n -lt 600 ] || fail "the run does not begin to write"
		sleep 0.05
	done
	kill -9 $pid
	wait $pid 2>/dev/null
}
fresh() { # so that direct I/O meets what was just put into the file
	sync "$image"
	blockdev --flushbufs "$loop"
}
untouched() { # OPTION...
	now=$(sha256sum <"$image")
	run 2 "$BLKASSAY" restore k.assay.kept "$loop" "$@"
	[ "$(sha256sum <"$image")" = "$now" ] || fail "the target was written to"
	[ ! -s "$out" ] || fail "stdout is not empty"
}
for run in "verify $loop --generations 1000" "sweep $loop --direction write --sizes 4Ki,64Ki --seconds 20 --in-flight 3"; do
	rm -f k.assay k.assay.kept
	# shellcheck disable=SC2086
	killed k.assay $run
	cp "$image" hurt.img

	# One byte, at the beginning of a block, in the middle, in one that still holds its own data.
	for at in 0 4096 1000001 3145727; do
		printf '\125' | dd of="$image" bs=1 seek=$at conv=notrunc 2>/dev/null
		fresh
		cmp -s "$image" hurt.img && continue # it was that already
		untouched
		says "1 of the 6144 blocks of '$loop'"
		says "the first at byte $((at / 512 * 512))"
		says "512 B from byte $((at / 512 * 512)): "
		says "--overwrite-changed $token"
		cat hurt.img >"$image"
	done
	# A file was put on it since: a megabyte, and a bit of zeros.
	head -c 1M /dev/urandom | dd of="$image" bs=1M seek=1 conv=notrunc 2>/dev/null
	head -c 1024 /dev/zero | dd of="$image" bs=1024 seek=2500 conv=notrunc 2>/dev/null
	fresh
	untouched
	says "2050 of the 6144 blocks"
	says "the first at byte 1048576 (data of unknown origin); nothing was written"
	says "1 MiB from byte 1048576: data of unknown origin"
	says "1 KiB from byte 2560000: one byte all over"
	untouched --quiet
	says "2050 of the 6144 blocks"
	# The consent is for one target.
	untouched --overwrite-changed "$image"
	says "does not name"
	untouched --overwrite-changed x
	refilled=$(sha256sum <"$image")

	# Another card of the same size in the same place: full, or new.
	head -c 3M /dev/urandom >"$image"
	fresh
	untouched
	says "6144 of the 6144 blocks"
	head -c 3M /dev/zero >"$image"
	fresh
	untouched
	says "3 MiB from byte 0: one byte all over"

	# What was refilled may go now. Interrupted and repeated, with the same words, it comes to the same.
	cat hurt.img >"$image"
	head -c 1M /dev/urandom | dd of="$image" bs=1M seek=1 conv=notrunc 2>/dev/null
	fresh
	[ "$(sha256sum <"$image")" != "$refilled" ] || fail "the same again"
	line=$("$BLKASSAY" restore k.assay.kept "$loop" 2>&1 >/dev/null | sed -n 's/.* wanted: blkassay //p')
	[ -n "$line" ] || fail "no command that overwrites"
	run 0 sh -c "'$BLKASSAY' $line"
	tells "overwritten as asked: 2048 blocks of 512 bytes"
	[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"
	run 0 "$BLKASSAY" restore k.assay.kept "$loop"
	says "0 B written"
done

# Two saved files of the same target joined with each other: neither is put back.
mv k.assay.kept one.kept
head -c 3M /dev/urandom >"$image"
fresh
rm -f k.assay
killed k.assay verify "$loop" --generations 1000
now=$(sha256sum <"$image")
size=$(stat -c %s one.kept)
for at in 4096 5000 1052688 $((size - 16)); do
	{ head -c $at one.kept; tail -c +$((at + 1)) k.assay.kept; } >joined.kept
	run 3 "$BLKASSAY" restore joined.kept "$loop"
	says "joined.kept"
	run 3 "$BLKASSAY" restore joined.kept "$loop" --overwrite-changed "$token"
	run 3 "$BLKASSAY" restore joined.kept "$loop" --overwrite-changed "$token" --skip-damaged
	[ "$(sha256sum <"$image")" = "$now" ] || fail "joined at $at, and written"
done
run 0 "$BLKASSAY" restore k.assay.kept "$loop"
rm -f k.assay k.assay.kept

# At the end of a run: what somebody else wrote while it had the target is not written over. The command that was to cut does
# that, in a part of the region that `cut` writes but once; nothing is cut then, so the run puts back. (On a device: who opens an
# image for writing ends the run.)
rm -f one.kept joined.kept
head -c 3M /dev/urandom >"$image"
head -c 1024 /dev/urandom >theirs
before=$(sha256sum <"$image")
run 3 "$BLKASSAY" cut "$loop" --keep-data --region 0+1Mi --seconds 0.1 --out c.assay \
	--cut-with "dd if=theirs of='$loop' oflag=direct bs=1024 seek=117 conv=notrunc,fsync 2>/dev/null"
says "nothing was cut"
says "2 of the 2048 blocks of '$loop'"
says "the first at byte 119808"
says "does NOT hold its own data"
dd if="$image" bs=1024 skip=117 count=1 2>/dev/null | cmp -s - theirs || fail "written over"
[ -s c.assay.kept ] || fail "the saved data is gone"
! grep -q ' kept state=back ' c.assay || fail "the record says that the data is back"
line=$(sed -n 's/.* run: blkassay //p' "$err")
run 2 sh -c "'$BLKASSAY' $line"
line=$(sed -n 's/.* wanted: blkassay //p' "$err")
run 0 sh -c "'$BLKASSAY' $line"
[ "$(sha256sum <"$image")" = "$before" ] || fail "the target is not as before"
