# targets: every line fits, CSV is RFC 4180 with one row a target, and what is shown is what the kernel says.
. "$(dirname "$0")/lib.sh"
run 0 "$BLKASSAY" targets
[ "$(awk 'length > 80' "$out" | wc -l)" = 0 ] || fail "a line is longer than 80 columns"
run 0 "$BLKASSAY" targets --csv
head -n 1 "$out" | grep -q '^device,kind,size_bytes,.*,token,may_write,reason.$' || fail "no heading"
[ "$(grep -c "$(printf '\r')\$" "$out")" = "$(wc -l <"$out")" ] || fail "a line does not end in CRLF"
run 2 "$BLKASSAY" targets extra
run 2 "$BLKASSAY" targets --csv=x
run 2 "$BLKASSAY" targets --erase x
if [ -e /dev/full ]; then
	status=0
	"$BLKASSAY" targets >/dev/full 2>"$err" || status=$?
	[ $status = 3 ] || fail "exit $status with a full disk for the result"
fi
requires_root
# A comma and a quote in the name of the file must not shift columns.
name="a,\"b\" $unique.img"
truncate -s 12345344 "$tmp/$name"
loop_device "$tmp/$name" 4096
run 0 "$BLKASSAY" targets --csv
row=$(grep "^$loop," "$out")
[ -n "$row" ] || fail "the loop device is missing"
[ "$(echo "$row" | cut -d, -f3)" = "$(blockdev --getsize64 "$loop")" ] || fail "size"
[ "$(echo "$row" | cut -d, -f10)" = "$(blockdev --getss "$loop")" ] || fail "logical block"
[ "$(echo "$row" | cut -d, -f11)" = "$(blockdev --getpbsz "$loop")" ] || fail "physical block"
[ "$(echo "$row" | cut -d, -f12)" = "$(($(cat "/sys/block/$(basename "$loop")/queue/max_sectors_kb") * 1024))" ] ||
	fail "request limit"
[ "$(echo "$row" | cut -d, -f15)" = "a-b-$unique.img-12345344" ] || fail "token: $row"
run 0 "$BLKASSAY" targets
says "$loop"
says "a-b-$unique.img-12345344"
says "yes, with --erase TOKEN or --keep-data"
# Without root it works as far as it can, and says what it cannot.
if command -v setpriv >/dev/null && cp "$BLKASSAY" "$tmp/tool" && chmod 755 "$tmp" "$tmp/tool"; then
	if setpriv --reuid 65534 --regid 65534 --clear-groups "$tmp/tool" --version >/dev/null 2>&1; then
		run 0 setpriv --reuid 65534 --regid 65534 --clear-groups "$tmp/tool" targets
		says "$loop"
		says "cannot be opened by this user"
	fi
fi
