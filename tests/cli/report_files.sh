#!/bin/sh
# report: CSV, page and summary of whole, cut, damaged and foreign records; outputs that must not be written to.
. "$(dirname "$0")/lib.sh"
model=model:$here/../../scripts/models/buoy-e.model
run 0 "$BLKASSAY" sweep "$model" --direction read,write --sizes 512,4Ki,256Ki --seconds 1 --passes 3 --seed 1 \
	--label '=cmd|x,"y"' --out "$tmp/a.assay"
run 0 "$BLKASSAY" report "$tmp/a.assay"
says "Random writes"
says "modelled, not measured"
says "=cmd|x,"
fits 80 "$out"
LC_ALL=C grep -q "$(printf '\033')" "$out" && fail "colour in a pipe"

# RFC 4180: every line ends in CR LF and has 27 fields; 3 sizes, 2 orders, 2 directions, 3 passes.
run 0 "$BLKASSAY" report "$tmp/a.assay" --csv "$tmp/a.csv"
[ ! -s "$out" ] || fail "the summary came although a file was asked for"
[ "$(tr -cd '\r' <"$tmp/a.csv" | wc -c)" = 37 ] || fail "not 37 carriage returns"
grep -qF "\"'=cmd|x,\"\"y\"\"\"," "$tmp/a.csv" || fail "the label is not quoted and guarded"
sed '1d; s/,"[^"]*""y""",/,label,/; s/\r$//' "$tmp/a.csv" | awk -F, '
	NF != 27 { print "fields: " NF; bad = 1 }
	($9 != $6 * $10) { print "bytes are not requests times size"; bad = 1 }
	($14 < $9 / $12 - 1 || $14 > $9 / $12 + 1) { print "rate " $14 " is not bytes over seconds"; bad = 1 }
	$4 == "read" && $15 != $14 { print "stored rate of a read " $15; bad = 1 }
	$4 == "write" && $21 == "" && $15 != "" { print "stored rate without evidence " $15; bad = 1 }
	$21 != "" && ($15 < $9 / $22 - 1 || $15 > $9 / $22 + 1) { print "stored rate " $15; bad = 1 }
	{ rows++ } END { exit bad || rows != 36 }' >"$out" || fail "rows do not add up"
run 0 "$BLKASSAY" report "$tmp/a.assay" "$tmp/a.assay" --csv -
[ "$(wc -l <"$out")" = 73 ] || fail "two records do not make one header and 72 rows"

run 0 "$BLKASSAY" report "$tmp/a.assay" --page "$tmp/a.html" --csv "$tmp/a.csv"
grep -q '<svg' "$tmp/a.html" || fail "no chart in the page"
grep -q '=cmd|x,&quot;y&quot;' "$tmp/a.html" || fail "the label is not escaped in the page"
grep -qi '<script\|<img\|http://\|https://\|url(' "$tmp/a.html" && fail "the page fetches or runs something"

# JSON: one line a record; it and the others each have a file of their own.
run 0 "$BLKASSAY" report "$tmp/a.assay" "$tmp/a.assay" --json -
[ "$(wc -l <"$out")" = 2 ] || fail "two records do not make two lines of JSON"
grep -cq '^{"kind":"sweep","run":{"id":' "$out" || fail "a line of JSON begins otherwise"
run 0 "$BLKASSAY" report "$tmp/a.assay" --json "$tmp/a.json" --csv "$tmp/a.csv"
[ ! -s "$out" ] || fail "the summary came although files were asked for"
[ -s "$tmp/a.json" ] || fail "no JSON"
run 2 "$BLKASSAY" report "$tmp/a.assay" --json "$tmp/x" --csv "$tmp/x"
says "give each its own"
[ ! -e "$tmp/x" ] || fail "a refused file was made"

# Places that must stay as they are.
cp "$tmp/a.assay" "$tmp/before"
run 2 "$BLKASSAY" report "$tmp/a.assay" --csv "$tmp/a.assay"
says "is a run record"
cmp "$tmp/a.assay" "$tmp/before" || fail "the record was changed"
run 2 "$BLKASSAY" report "$tmp/a.assay" --json "$tmp/a.assay"
says "is a run record"
run 2 "$BLKASSAY" report "$tmp/a.assay" --page /dev/null
says "is not a regular file"
run 2 "$BLKASSAY" report "$tmp/a.assay" --csv "$tmp"
run 2 "$BLKASSAY" report "$tmp/a.assay" --csv "$tmp/none/a.csv"
run 2 "$BLKASSAY" report "$tmp/a.assay" --csv ""
run 2 "$BLKASSAY" report "$tmp/a.assay" --csv "$tmp/x" --page "$tmp/x"
says "give each its own"
run 2 "$BLKASSAY" report
echo old >"$tmp/old.csv"
run 2 "$BLKASSAY" report "$tmp/a.assay" "$tmp/missing.assay" --csv "$tmp/old.csv"
[ "$(cat "$tmp/old.csv")" = old ] || fail "a failed report replaced the earlier file"
ls "$tmp"/*.part >/dev/null 2>&1 && fail "a part file was left"
run 2 "$BLKASSAY" report "$here/lib.sh"
says "is not a record of blkassay"

# A full disk: nothing half-written, and it says so.
if [ -e /dev/full ]; then
	status=0
	"$BLKASSAY" report "$tmp/a.assay" >/dev/full 2>"$err" || status=$?
	[ "$status" = 3 ] || fail "a full standard output ended in $status"
fi

# Cut at any byte: a report or a clear refusal, never a crash, and never taken for whole.
size=$(wc -c <"$tmp/a.assay")
at=1
while [ "$at" -lt "$size" ]; do
	head -c "$at" "$tmp/a.assay" >"$tmp/cut.assay"
	status=0
	"$BLKASSAY" report "$tmp/cut.assay" >"$out" 2>"$err" || status=$?
	case $status in
	0) says "has no end" ;;
	2) [ "$(wc -l <"$err")" = 1 ] || fail "not one line for a record cut at $at" ;;
	*) fail "a record cut at byte $at ended in $status" ;;
	esac
	at=$((at + 1 + size / 60))
done
# A flipped byte: the line is left out, and said to be.
awk '/^[0-9]+ pass / && !done { sub(/requests=/, "requestz="); done = 1 } { print }' "$tmp/a.assay" >"$tmp/flipped.assay"
run 0 "$BLKASSAY" report "$tmp/flipped.assay" --page "$tmp/flipped.html"
grep -q "damaged" "$tmp/flipped.html" || fail "the page keeps quiet about damage"
run 0 "$BLKASSAY" report "$tmp/flipped.assay"
says "1 line of the record is damaged"
# Sweeps of two builds on one page are set against each other; of one build they are not.
for build in a e; do
	run 0 "$BLKASSAY" sweep "model:$here/../../scripts/models/buoy-$build.model" --sizes 512,4Ki,64Ki --seconds 1 \
		--passes 4 --seed 1 --label "build $build" --out "$tmp/build-$build.assay"
done
run 0 "$BLKASSAY" report "$tmp/build-a.assay" "$tmp/build-e.assay" --page "$tmp/two.html"
grep -q '<h1>build e against build a</h1>' "$tmp/two.html" || fail "two builds are not compared on the page"
grep -q '>faster</td>' "$tmp/two.html" || fail "the comparison has no verdict"
run 0 "$BLKASSAY" report "$tmp/build-a.assay" --page "$tmp/one.html"
grep -q ' against ' "$tmp/one.html" && fail "one build is compared with something"
exit 0
