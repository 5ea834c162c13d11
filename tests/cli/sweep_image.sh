# The main job on an image file: reads, writes, record, CSV, summary; and the same seed gives the same plan.
. "$(dirname "$0")/lib.sh"
card=$tmp/card.img
run 0 "$BLKASSAY" sweep "$card" --create 8Mi --direction read,write --sizes 512,4Ki,24Ki,1Mi --seconds 0.02 \
	--passes 3 --seed 7 --label "build 12" --out "$tmp/a.assay"
says "build 12"
says "24 KiB"
[ "$(stat -c %s "$card")" = 8388608 ] || fail "the image has the wrong size"
# 2 directions x 2 orders x 4 sizes x 3 passes
[ "$(planned "$tmp/a.assay" | wc -l)" = 48 ] || fail "not 48 passes in the record"
run 0 "$BLKASSAY" report "$tmp/a.assay" --csv "$tmp/a.csv"
[ "$(wc -l <"$tmp/a.csv")" = $(($(grep -c ' pass ' "$tmp/a.assay") + 1)) ] || fail "not a line of CSV for each pass"
head -n 1 "$tmp/a.csv" | grep -q '^run,label,target,direction,order,request_bytes,in_flight,pass,bytes,requests,device_requests,seconds,flush_seconds,acknowledged_bytes_per_second,stored_bytes_per_second,request_time_p50_seconds,request_time_p99_seconds,request_time_max_seconds,errors,flags' || fail "wrong CSV columns"
run 2 "$BLKASSAY" sweep "$card" --create 8Mi --direction write --out "$tmp/b.assay"
says "card.img"
# An existing image needs its token; the wrong one writes nothing.
before=$(sha256sum <"$card")
run 2 "$BLKASSAY" sweep "$card" --direction write --seconds 0.01 --passes 1 --out "$tmp/b.assay"
run 2 "$BLKASSAY" sweep "$card" --direction write --erase wrong --seconds 0.01 --passes 1 --out "$tmp/b.assay"
[ ! -e "$tmp/b.assay" ] || fail "a refused run left a record"
[ "$(sha256sum <"$card")" = "$before" ] || fail "a refused run wrote to the image"
run 0 "$BLKASSAY" sweep "$card" --seconds 0.01 --passes 1 --seed 9 --out "$tmp/c.assay"
[ "$(sha256sum <"$card")" = "$before" ] || fail "reading changed the image"
run 0 "$BLKASSAY" sweep "$card" --seconds 0.01 --passes 1 --seed 9 --out "$tmp/d.assay"
for f in c d; do
	planned "$tmp/$f.assay" >"$tmp/$f.order"
	[ -s "$tmp/$f.order" ] || fail "no passes in the record"
done
cmp -s "$tmp/c.order" "$tmp/d.order" || fail "the same seed gave another order of passes"
# Several requests in flight, and writes that need the token.
run 0 "$BLKASSAY" sweep "$card" --direction read,write --in-flight 4 --erase "$(image_token "$card")" --sizes 4Ki --seconds 0.05 \
	--passes 2 --out "$tmp/e.assay"
grep ' pass ' "$tmp/e.assay" | grep -q 'in_flight=4' || fail "in-flight is not in the record"
[ "$(sha256sum <"$card")" != "$before" ] || fail "a write run wrote nothing"
