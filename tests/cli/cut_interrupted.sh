# A cut that is interrupted: with consent by token its journal can be rechecked; with kept data the region's own data is back,
# and a recheck says so instead of taking that for damage.
. "$(dirname "$0")/lib.sh"
head -c 1M /dev/urandom >"$tmp/card.img"
before=$(sha256sum <"$tmp/card.img")
interrupted() { # OPTION...
	rm -f "$tmp/j.assay"
	"$BLKASSAY" cut "$tmp/card.img" "$@" --region 0+256Ki --seconds 60 --out "$tmp/j.assay" >"$out" 2>"$err" &
	pid=$!
	cleanup "kill -9 $pid 2>/dev/null"
	await ' stored through=' "$tmp/j.assay"
	kill -INT $pid
	status=0
	wait $pid || status=$?
	[ $status = 130 ] || fail "exit status $status, not 130"
}
interrupted --keep-data
says "there is nothing to recheck"
[ "$(sha256sum <"$tmp/card.img")" = "$before" ] || fail "its own data is not back"
run 2 "$BLKASSAY" recheck "$tmp/j.assay" "$tmp/card.img"
says "put the region's own data back at its end"
interrupted --erase "$(image_token "$tmp/card.img")"
says "the journal can be rechecked"
# Whoever has no plug is not told to pull it.
says "card.img' has no plug to pull, so this run can test no promise"
run 4 "$BLKASSAY" recheck "$tmp/j.assay" "$tmp/card.img"
tells "nothing is broken"
says_not "cut its power"
