# explain --as: a sweep weighed by an observed mix; the prediction is checked where target and observation are the same.
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 16M "$tmp/card$$.img"
loop_device "$tmp/card$$.img"
run 0 "$BLKASSAY" sweep "$loop" --erase "$(token_of "$loop")" --direction read,write --sizes 4Ki..64Ki --seconds 0.05 --passes 3 --out "$tmp/s.assay"
"$BLKASSAY" observe "$loop" --seconds 2 --out "$tmp/o.assay" >"$out" 2>"$err" &
pid=$!
await ' target ' "$tmp/o.assay"
sleep 0.3
# Enough for the kernel's clock of requests in flight, which ticks every few milliseconds.
for _ in 1 2 3 4 5 6 7 8; do
	dd if=/dev/zero of="$loop" bs=16k count=400 oflag=direct status=none
done
wait $pid || fail "observe exited with $?"
grep -q ' total traced=1 ' "$tmp/o.assay" || skip "needs tracefs"
run 0 "$BLKASSAY" explain "$tmp/s.assay" --as "$tmp/o.assay"
says "As observed in $(printf %.50s "$tmp/o.assay"):"
says "writes of 16 KiB take "
says "% of that time: they deserve the work first."
says "the prediction is "
says "needs the link's"
run 0 "$BLKASSAY" explain "$tmp/s.assay" --as "$tmp/o.assay" --link 8.0MB/s --card-write 8.0MB/s
says_not "needs the link's"
# 52.4 MB at 8 MB/s and 8 MB/s: 13.1 s one after the other, 6.55 s overlapped, and a fixed cost of next to nothing.
grep -qE '^  write +[0-9.]+ [um]?s +13\.[0-9]+ s +6\.[0-9]+ s$' "$out" || fail "not the times that follow from the rates"
run 2 "$BLKASSAY" explain "$tmp/s.assay" --as "$tmp/s.assay"
says "not of observe"
run 2 "$BLKASSAY" explain "$tmp/s.assay" --as "$tmp/none.assay"
