# report shows a journal of cuts: its counts are those of the journal's own lines, its verdicts those of recheck.
. "$(dirname "$0")/lib.sh"
models=$here/../../scripts/models
bad=model:$models/fault-forgets-flushed.model good=model:good.model
cd "$tmp" || exit 1
# Three cuts say enough of flushes, not of FUA.
sed "s/fua = yes/fua = no/" "$models/buoy-d.model" >good.model
run 1 "$BLKASSAY" cut "$bad" --cycles 3 --seconds 1 --seed 1 --label '=1,"x"' --out bad.assay
run 0 "$BLKASSAY" cut "$good" --cycles 3 --seconds 1 --seed 3 --out good.assay
run 0 "$BLKASSAY" report bad.assay
tells "Not safe to ship: in 3 of 3 cuts "
tells "(95 % sure: in 29 to 100 % of such cuts)"
tells "Data that a flush or a write with FUA promised did not survive"
tells "what a flush or a write with FUA covered"
fits 80 "$out"
run 0 "$BLKASSAY" report good.assay
tells "No broken promise found: none of "
tells "at most 63 % of such cuts break one."
says_not "broken: "

# A row a cut, RFC 4180, two journals in one file.
run 0 "$BLKASSAY" report bad.assay good.assay --csv cuts.csv
[ "$(tr -cd '\r' <cuts.csv | wc -c)" = 7 ] || fail "not 7 rows"
grep -qF "\"'=1,\"\"x\"\"\"," cuts.csv || fail "the label is not quoted and guarded"
sed 's/"[^"]*""x""",/label,/; s/\r$//' cuts.csv | awk -F, -v done="$(grep -c ' done write=' bad.assay)" \
	-v flushes="$(grep -c ' stored through=' bad.assay)" -v fua="$(grep -c ' stored=1 ' bad.assay)" '
	NF != 31 { print "fields: " NF; bad = 1 }
	NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
	NR <= 4 { w += $at["writes"]; f += $at["flushes"]; t += $at["fua_writes"]; b += $at["verdict"] == "broken" }
	NR > 4 { k += $at["verdict"] == "kept" && $at["promises_broken"] == 0 && $at["promises"] > 0 }
	END { print w, done, f, flushes, t, fua, b, k
		exit bad || w != done || f != flushes || t != fua || b != 3 || k != 3 }' >"$out" ||
	fail "the rows do not add up"
run 0 "$BLKASSAY" report bad.assay good.assay --page cuts.html
grep -q 'Not safe to ship: in 3 of 3 cuts ' cuts.html || fail "no verdict on the page"
[ "$(grep -o '<td class="word">broken</td>' cuts.html | wc -l)" = 3 ] || fail "not three broken cuts on the page"
[ "$(grep -o '<td class="word">kept</td>' cuts.html | wc -l)" = 3 ] || fail "not three kept cuts on the page"
# The verdict stands first, before what was modelled and what was tested.
awk '/class="verdict look".*Not safe to ship/ && !v { v = NR } /modelled, not measured/ && !m { m = NR }
	END { exit !(v && m > v) }' cuts.html || fail "the page does not begin with its verdict"
grep -qi '<script\|http://\|url(' cuts.html && fail "the page fetches or runs something"

# Cut at any byte, or with a damaged line: a report without a good verdict that is not there, or a refusal.
size=$(wc -c <good.assay)
at=1
while [ "$at" -lt "$size" ]; do
	head -c "$at" good.assay >part.assay
	status=0
	"$BLKASSAY" report part.assay >"$out" 2>"$err" || status=$?
	case $status in
	0) says "no end" ;;
	2) [ "$(wc -l <"$err")" = 1 ] || fail "not one line for a journal cut at $at" ;;
	*) fail "a journal cut at byte $at ended in $status" ;;
	esac
	at=$((at + 1 + size / 30))
done
awk '/^[0-9]+ done / && !x { sub(/stored=/, "storex="); x = 1 } { print }' good.assay >flipped.assay
run 0 "$BLKASSAY" report flipped.assay
tells "Not shown: nothing is broken, but the journal is damaged."
