# targets: every line fits, CSV is RFC 4180 with one row a target, and what is shown is what the kernel says.
. "$(dirname "$0")/lib.sh"
run 0 "$BLKASSAY" targets
# But for commands to be pasted, which are one line however long.
[ "$(grep -v '^    blkassay restore ' "$out" | awk 'length > 80' | wc -l)" = 0 ] || fail "a line is longer than 80 columns"
run 0 "$BLKASSAY" targets --csv -
head -n 1 "$out" | grep -q '^path,kind,token,may_read,may_write,why_not,size_bytes,.*,used_by,advice,holds.$' || fail "no heading"
[ "$(grep -c "$(printf '\r')\$" "$out")" = "$(wc -l <"$out")" ] || fail "a line does not end in CRLF"
run 2 "$BLKASSAY" targets extra
run 2 "$BLKASSAY" targets --csv
says "--csv"
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
run 0 "$BLKASSAY" targets --csv -
row=$(grep "^$loop," "$out")
[ -n "$row" ] || fail "the loop device is missing"
[ "$(token_of "$loop")" = "$(image_token "$tmp/$name")-12345344" ] || fail "token: $row"
# field KEY WANTED: read by somebody else's CSV and JSON; the comma must not shift anything.
"$BLKASSAY" targets --json "$tmp/j" || fail "no JSON"
field() {
	python3 - "$loop" "$1" "$out" "$tmp/j" >"$tmp/fields" <<'EOF'
import csv, json, sys
path, key, rows, view = sys.argv[1:]
for r in [*csv.DictReader(open(rows, newline="")), *json.load(open(view))["targets"]]:
    if r["path"] == path:
        print(r[key])
EOF
	printf '%s\n' "$2" "$2" | cmp -s - "$tmp/fields" || fail "$1 is not $2 but $(cat "$tmp/fields")"
}
if command -v python3 >/dev/null; then
	field size_bytes "$(blockdev --getsize64 "$loop")"
	field logical_block_bytes "$(blockdev --getss "$loop")"
	field physical_block_bytes "$(blockdev --getpbsz "$loop")"
	field request_limit_bytes "$(($(cat "/sys/block/$(basename "$loop")/queue/max_sectors_kb") * 1024))"
	field backing_file "$tmp/$name"
fi
run 0 "$BLKASSAY" targets
says "$loop"
says "$(image_token "$tmp/$name")-12345344"
says "yes, with --erase TOKEN or --keep-data"
# Without root it works as far as it can, and says what it cannot.
if command -v setpriv >/dev/null && cp "$BLKASSAY" "$tmp/tool" && chmod 755 "$tmp" "$tmp/tool"; then
	if setpriv --reuid 65534 --regid 65534 --clear-groups "$tmp/tool" --version >/dev/null 2>&1; then
		run 0 setpriv --reuid 65534 --regid 65534 --clear-groups "$tmp/tool" targets
		says "$loop"
		says "cannot be opened by this user"
	fi
fi
