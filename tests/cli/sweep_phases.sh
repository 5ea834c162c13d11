# Where the time of a request goes: shown of a model by default, in text, page, JSON and record, with values that follow from
# the model; not with --no-phases, not of a file, not with several requests in flight, and then one sentence says why.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1

cat >gadget.model <<'END'
gadget-model 1
device:
    name = t
    capacity = 1Mi
link:
    speed = full
    rate = 1 MB/s
    request cost = 0.2 ms
    host gap = 0.3 ms
card:
    read rate = 2 MB/s
    write rate = 1 MB/s
    read command cost = 0.1 ms
    write command cost = 0.4 ms
firmware:
    unit = request
    request cost = 0.5 ms
END
plan="--order sequential --sizes 4Ki,8Ki --passes 5 --seconds 0.5 --seed 1"
run 0 "$BLKASSAY" sweep model:gadget.model --direction read,write $plan --out a.assay --json a.json --page a.html --csv a.csv
run 0 "$BLKASSAY" report a.assay
says "Where the time of a request goes: sequential reads"
# 0.5 + 0.1 + 2.048 + 4.096 ms before the last of a read's data has passed; 0.4 + 4.096 ms of work after that of a write.
says "4 KiB   200 us  6.74 ms    3.37 ms      0 s   300 us  7.24 ms"
says "4 KiB   200 us  4.60 ms    3.37 ms  4.50 ms   300 us  9.59 ms"
tells "Of the 17.8 ms of a sequential write of 8 KiB, the command takes 200 us, its data 8.69 ms (the link alone needs 6.74 ms), its status 8.59 ms, and the host 300 us"
grep -q '"phases":{"command_seconds":0.0002,"data_seconds":0.006744,"status_seconds":0,"host_seconds":0.0003}' a.json || fail "no phases at the points"
grep -q '"code":"phases"' a.json || fail "no finding"
grep -q 'Shares of the time of a request: sequential writes' a.html || fail "no chart"
grep -q ' phase-times .* phase=status ' a.assay || fail "no histograms"

run 0 "$BLKASSAY" sweep model:gadget.model --no-phases $plan --out b.assay --json b.json
tells "Where the time of a request goes is not shown: --no-phases was given"
grep -q '"phases":null' b.json || fail "phases of nothing"
grep -q 'phase-times\|phases=seen' b.assay && fail "watched all the same"

run 0 "$BLKASSAY" sweep model:gadget.model --in-flight 2 $plan --out c.assay
tells "not shown: with several requests in flight"
run 0 "$BLKASSAY" sweep model:gadget.model --in-flight 2 --phases $plan --out d.assay --quiet
says "where the time of requests goes is not shown: with several requests in flight"
run 0 "$BLKASSAY" sweep image --create 1Mi $plan --out e.assay
tells "not shown: the target is a file"
run 2 "$BLKASSAY" sweep model:gadget.model --phases --no-phases $plan --out f.assay
says "exclude each other"
[ ! -e f.assay ] || fail "a record of nothing"

# Which phase changed: the same gadget, storing while data comes in.
sed 's/unit = request/&\n    transfer = overlapped\n    chunk = 1Ki/' gadget.model >new.model
run 0 "$BLKASSAY" sweep model:new.model --direction read,write $plan --out new.assay
run 0 "$BLKASSAY" compare a.assay --against new.assay --json compare.json
run 0 "$BLKASSAY" compare a.assay --against new.assay
# 0.4 + 8.192 ms of storing before, and the last chunk of it now.
tells "What speeds up sequential writes of 8 KiB is their status phase: from 8.59 ms to 1.02 ms a request."
# Two buffers: the card fetches ahead, 2.048 ms for 4 KiB all in all, but for the first chunk.
tells "What speeds up sequential reads of 8 KiB is their data phase"
grep -q '"changed":"status"' compare.json || fail "no phase changed for programs"
# Equal builds: no phase is named.
run 0 "$BLKASSAY" sweep model:gadget.model --direction read,write $plan --out again.assay
run 0 "$BLKASSAY" compare a.assay --against again.assay
says_not "What speeds up"
says_not "What slows down"
