# SIGINT and SIGTERM stop between requests: exit 130, the record is complete up to there and says so; kill -9 leaves a
# readable record too.
. "$(dirname "$0")/lib.sh"
dd if=/dev/zero of="$tmp/card.img" bs=1M count=4 2>/dev/null
for signal in INT TERM; do
	run 130 timeout --preserve-status -s $signal 1 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 0.2 \
		--passes 100 --out "$tmp/$signal.run"
	says "interrupted"
	grep -q ' end status=interrupted' "$tmp/$signal.run" || fail "the record does not say it was interrupted"
	run 0 "$BLKASSAY" report "$tmp/$signal.run"
	says "interrupted"
done
run 137 timeout --preserve-status -s KILL 1 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 0.2 --passes 100 \
	--out "$tmp/kill.run"
run 0 "$BLKASSAY" report "$tmp/kill.run"
