# A command cuts the target off at a random moment; it comes back, and its promises are checked.
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 16M "$tmp/card$$.img"
loop_device "$tmp/card$$.img"
token=$(token_of "$loop")
# Gone: the file behind the device has no byte left. Back: all that was there, or all of an earlier moment.
cat >"$tmp/cut.sh" <<END
cp "$tmp/card$$.img" "$tmp/early.img"
sleep 0.3
until [ "\$(cat /sys/block/$(basename "$loop")/size)" = 0 ]; do
	truncate -s 0 "$tmp/card$$.img"
	losetup -c "$loop"
done
END
cat >"$tmp/back.sh" <<END
cat "\$1" >"$tmp/card$$.img"
losetup -c "$loop"
END
run 0 "$BLKASSAY" cut "$loop" --erase "$token" --seed 4 --seconds 1 --cut-with "sh $tmp/cut.sh" --out "$tmp/j.assay"
tells "Plug it in again, then:"
says "blkassay recheck '$tmp/j.assay' '$loop'"
grep -q ' stop reason=gone ' "$tmp/j.assay" || fail "the journal does not say that the target went"
grep -q ' pull ' "$tmp/j.assay" || fail "the journal does not say when the command began"
# Nothing to read yet: no verdict, and no accusation.
run 2 "$BLKASSAY" recheck "$tmp/j.assay" "$loop"
run 0 "$BLKASSAY" report "$tmp/j.assay"
tells "the target stopped answering"
tells "the command of --cut-with began after"
tells "No verdict yet: 1 of 1 cut is not rechecked."
run 0 "$BLKASSAY" report "$tmp/j.assay" --page "$tmp/j.html"
grep -q "class=\"verdict look\".*No verdict yet" "$tmp/j.html" || fail "the page does not begin with the verdict"
run 0 sh "$tmp/back.sh" "$tmp/early.img"
# What was flushed in the last moments is not in the early copy.
run 1 "$BLKASSAY" recheck "$tmp/j.assay" "$loop" --json "$tmp/j.json" --csv "$tmp/j.csv" --page "$tmp/j.html"
tells "Not safe to ship: in 1 of 1 cut something is broken"
tells "Data that a flush or a write with FUA promised did not survive"
grep -q '"kind":"recheck"' "$tmp/j.json" && grep -q '"verdict":"broken"' "$tmp/j.json" || fail "the JSON says something else"
grep -q ',broken,' "$tmp/j.csv" || fail "the CSV says something else"
grep -q "class=\"verdict look\".*Not safe to ship" "$tmp/j.html" || fail "the page does not begin with the verdict"
# The verdict is in the journal, for whoever reads it later.
run 0 "$BLKASSAY" report "$tmp/j.assay"
tells "Not safe to ship: in 1 of 1 cut "

# A command that cuts nothing.
run 3 "$BLKASSAY" cut "$loop" --erase "$token" --seconds 0.2 --cut-with true --out "$tmp/k.assay"
says "nothing was cut"
# Nobody knows how long a cut takes, so from its start on all writes are of one kind.
awk '$2 == "pull" { after = 1 } after && $2 == "flush" { flushes++ } after && $2 == "done" { writes++; through += / stored=1 / }
	END { exit !(writes > 1 && (through == writes && !flushes || !through && (!flushes || flushes == writes))) }' "$tmp/k.assay" ||
	fail "writes of several kinds after the command that cuts had begun"
# What is announced from then on is short, so that the cut comes soon after an answer.
sed -n '/ pull /,$s/.* intend .* writes=\([^ ]*\) .*/\1/p' "$tmp/k.assay" | tr ',' '\n' >"$tmp/announced"
awk -F: '{ n++; longest = $2 > longest ? $2 : longest } END { exit !(n && longest == 512) }' "$tmp/announced" ||
	fail "long writes were announced after the command that cuts had begun"
run 2 "$BLKASSAY" cut "$loop" --erase "$token" --cycles 2 --seconds 1 --out "$tmp/l.assay"
says "--cut-with"
run 2 "$BLKASSAY" cut "$loop" --keep-data --cycles 2 --cut-with true --out "$tmp/l.assay"
says "--keep-data goes with one cut at a time"

# --keep-data: what was saved stays until the cut was rechecked.
head -c 16M /dev/urandom >"$tmp/card$$.img"
losetup -c "$loop"
cp "$tmp/card$$.img" "$tmp/own.img"
run 0 "$BLKASSAY" cut "$loop" --keep-data --seed 4 --seconds 0.5 --out "$tmp/m.assay"
says "but not what is kept; pull the plug"
says "blkassay restore "
# The test's card has no power to cut: that is seen, and no promise counts as tested.
run 4 "$BLKASSAY" recheck "$tmp/m.assay" "$loop"
tells "Not shown: nothing is broken, but no promise was tested by a cut."
tells "was not unplugged since, so nothing was cut"
let_go "$loop"
loop_device "$tmp/card$$.img"
# Unplugged, but after the writing had ended: it has had all the time to store everything, and nothing is shown.
run 4 "$BLKASSAY" recheck "$tmp/m.assay" "$loop" --json "$tmp/m.json"
tells "power was cut after writing had ended"
grep -q '"verdict":"not-shown"' "$tmp/m.json" || fail "the JSON says something else"
run 0 "$BLKASSAY" report "$tmp/m.assay"
tells "2 times; the last one counts"
tells "no promise was tested by a cut."
cmp -s "$tmp/card$$.img" "$tmp/own.img" && fail "nothing was written"
run 0 "$BLKASSAY" restore "$tmp"/m*.kept "$loop"
sync
cmp -s "$tmp/card$$.img" "$tmp/own.img" || fail "the region's own data is not back"
