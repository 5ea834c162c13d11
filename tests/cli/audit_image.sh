# An image has no SCSI: the audit does what plain I/O can show, says what it could not ask, and puts kept data back.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
promises=$("$BLKASSAY" help --keys | grep -c "^word[[:space:]]audit[[:space:]]name[[:space:]]")
head -c 1048576 /dev/urandom >a.img
sum=$(sha256sum <a.img)
# Much that was asked about could not be shown: that is no success.
run 4 "$BLKASSAY" audit a.img --keep-data --seed 2 --out a.assay --quiet --json a.json
says "stored: kept"
# What takes SCSI commands is named once, not in a block each.
tells "It takes no SCSI commands, so its claims, flushes and errors could not be examined: inquiry, capacity, cache-page, kernel-view, flush, fua, past-end, sense, steady, answered, vital-pages."
tells "and 11 that need SCSI commands: not shown (CSV and JSON have them)"
says_not "flush: not shown"
[ "$(grep -c "no SCSI command path" "$out")" = 1 ] || fail "the want of a command path is said more than once"
# What was left to an option or to cut was not asked about, and does not count.
for left in eject ejected power-cut background-error; do says "$left: not asked"; done
for nonsense in --provoke --with-eject "see 'blkassay cut'"; do says_not "$nonsense"; done
tells "No broken promise found, but not everything asked about could be shown"
[ "$(sha256sum <a.img)" = "$sum" ] || fail "the kept data did not come back"
python3 - a.json <<'END' || fail "the JSON says something else"
import json, sys
view = json.load(open(sys.argv[1]))
lines = {p["name"]: p for p in view["promises"]}
assert view["kind"] == "audit" and view["verdict"] == "not-shown", view["verdict"]
assert lines["stored"]["verdict"] == "kept" and lines["stored"]["tested"] > 1000, lines["stored"]
assert lines["flush"]["verdict"] == "not-shown" and lines["flush"]["tested"] == 0
assert lines["eject"]["verdict"] == "not-asked"
tally = view["findings"][0]
assert tally["promises"] == len(lines) == sum(tally[k + "_promises"] for k in ("kept", "broken", "not_shown", "not_asked"))
assert all(p["tested"] for p in lines.values() if p["verdict"] == "kept")
END
run 0 "$BLKASSAY" report a.assay
tells "No broken promise found, but not everything"
# A record cut anywhere is shown as far as it goes, and never as a pass.
head -c "$(($(wc -c <a.assay) * 2 / 3))" a.assay >cut.assay
run 0 "$BLKASSAY" report cut.assay
says "the audit did not finish"
# Only what matters: then an image has all of it, and the rest says that it was left out.
run 0 "$BLKASSAY" audit a.img --keep-data --seed 3 --only stored,overlap --out b.assay --quiet
tells "No broken promise found, and everything asked about was shown: 2 kept, 0 broken, 0 not shown, $((promises - 2)) not asked."
says "and $((promises - 2)) left out by --only"
[ "$(sha256sum <a.img)" = "$sum" ] || fail "the kept data did not come back"
