# SIGINT and SIGTERM stop between requests: exit 130, the record is complete up to there and says so; kill -9 leaves a
# readable record too.
. "$(dirname "$0")/lib.sh"
dd if=/dev/zero of="$tmp/card.img" bs=1M count=4 2>/dev/null
for signal in INT TERM; do
	run 130 timeout --preserve-status -s $signal 1 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 0.2 \
		--passes 100 --out "$tmp/$signal.assay"
	says "interrupted"
	grep -q ' end status=interrupted' "$tmp/$signal.assay" || fail "the record does not say it was interrupted"
	run 0 "$BLKASSAY" report "$tmp/$signal.assay"
	says "interrupted"
done
# Interrupted before any pass was finished: there is nothing to draw, and no figure is made of nothing.
run 130 timeout --preserve-status -s INT 1 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 60 --out "$tmp/none.assay"
grep -q ' pass .*flags=[a-z+-]*cut' "$tmp/none.assay" || fail "the pass is not in the record as it was cut"
run 0 "$BLKASSAY" report "$tmp/none.assay" --page "$tmp/none.html"
! grep -qi '[^a-z]nan[^a-z]' "$tmp/none.html" || fail "the page holds what is no number"
run 0 "$BLKASSAY" report "$tmp/none.assay"
says "No pass was finished"
run 137 timeout --preserve-status -s KILL 1 "$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 0.2 --passes 100 \
	--out "$tmp/kill.assay"
run 0 "$BLKASSAY" report "$tmp/kill.assay"
# Of what there was until then a result is made; but not over a record that has come to its place meanwhile.
"$BLKASSAY" sweep "$tmp/card.img" --sizes 4Ki --seconds 0.2 --passes 1000 --out "$tmp/last.assay" --json "$tmp/last.json" \
	--csv "$tmp/last.csv" >"$out" 2>"$err" &
pid=$!
await ' pass ' "$tmp/last.assay"
kill -STOP $pid
cp "$tmp/kill.assay" "$tmp/last.json"
kill -INT $pid
kill -CONT $pid
status=0
wait $pid || status=$?
[ "$status" = 130 ] || fail "ended in $status"
says "has become a run record"
cmp "$tmp/last.json" "$tmp/kill.assay" || fail "a record was replaced"
grep -q ',sequential,\|,random,' "$tmp/last.csv" || fail "an interrupted sweep makes no CSV"
