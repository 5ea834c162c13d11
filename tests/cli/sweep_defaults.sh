# What a sweep measures unless it is told otherwise: sizes up to the largest request that the kernel sends, and passes that go
# on until they hold 30 requests, for 10 s at most. With --seconds a pass is as long as that says.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
sed -e 's/^    rate = .*/    rate = 40 kB\/s/' "$here/../../scripts/models/buoy-a.model" >slow.model
run 0 "$BLKASSAY" sweep model:slow.model --order sequential --seed 1 --csv d.csv --out d.assay
run 0 "$BLKASSAY" sweep model:slow.model --order sequential --seed 1 --seconds 1 --csv s.csv --out s.assay
cat >check.py <<'END'
import csv, sys
usual, told = (list(csv.DictReader(open(name))) for name in sys.argv[1:])
sizes = sorted({int(row["request_bytes"]) for row in usual})
assert sizes == [512 << i for i in range(8)] + [122880], sizes
held = 0
for row in usual:
    requests, seconds = int(row["requests"]), float(row["seconds"])
    assert requests >= 30 or seconds >= 10, row
    # One request beyond either limit, and no more.
    each = seconds / requests
    assert seconds <= 1 + each or requests <= 30 or seconds <= 10 + each, row
    assert seconds <= 10 + each, row
    held += requests == 30 and seconds > 1 + each
assert held, "no pass was prolonged"
for row in told:
    assert float(row["seconds"]) <= 1 + float(row["seconds"]) / int(row["requests"]), row
END
python3 check.py d.csv s.csv 2>"$err" || fail "the defaults are other ones"
