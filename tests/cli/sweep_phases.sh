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

# What the bus shows of a flush: 64 KiB ahead of a card of 0.4 MB/s, 164 ms to store.
behind() { # NAME FIRMWARE-LINE FAULTS
	{
		printf 'gadget-model 1\ndevice:\nname = t\ncapacity = 64Mi\njitter = 1 %%\nlink:\nspeed = full\nrate = 1 MB/s\nrequest cost = 0.2 ms\n'
		printf 'card:\nread rate = 2 MB/s\nwrite rate = 0.4 MB/s\nwrite command cost = 0.4 ms\n'
		printf 'firmware:\nunit = request\nwrite behind = 64Ki\n%s\nclaims:\nwrite cache = yes\n%b' "$2" "$3"
	} >"$1.model"
	run 0 "$BLKASSAY" sweep "model:$1.model" --erase t --direction write --order sequential --sizes 4Ki,32Ki --passes 3 --seconds 0.5 \
		--seed 1 --out "$1.assay" --json "$1.json"
	run 0 "$BLKASSAY" report "$1.assay"
}
code() { grep -q "\"code\":\"$2\"" "$1.json" || fail "$1: no finding $2"; }
no_code() { ! grep -q "\"code\":\"$2\"" "$1.json" || fail "$1: finding $2"; }
behind honest "" ""
tells "On the bus, SYNCHRONIZE CACHE after 1.31 MB written in one go was answered in 16"
code honest flush-on-bus
no_code honest flush-too-early
no_code honest busy-after-flush
# It answers at once, and the read after that waits; or nothing waits; or it leaves a third.
behind ignores "" "faults:\nignore flush = yes\n"
tells "too soon for a flush that stored them."
tells "The read after that flush waited 16"
code ignores busy-after-flush
behind hides "reads = from-buffer" "faults:\nignore flush = yes\n"
tells "too soon for a flush that stored them, unless it is the card that is fast at first"
no_code hides busy-after-flush
behind leaves "" "faults:\nflush leaves = 20Ki\n"
code leaves flush-too-early
code leaves busy-after-flush
no_code leaves flush-on-bus
# It takes no command before all is stored: answered at once, but taken late.
behind before "drain = before-next" "faults:\nignore flush = yes\n"
tells "its status at once)"
code before flush-on-bus
no_code before flush-too-early
# As quick as its link: nothing is left, and an early answer is none.
sed 's/write rate = 0.4 MB/write rate = 40 MB/' ignores.model >quick.model
run 0 "$BLKASSAY" sweep model:quick.model --erase t --direction write --order sequential --sizes 4Ki,32Ki --passes 3 --seconds 0.5 \
	--seed 1 --out quick.assay --json quick.json
no_code quick flush-too-early
# Not watched, nothing is said.
run 0 "$BLKASSAY" sweep model:ignores.model --no-phases --erase t --direction write --order sequential --sizes 4Ki,32Ki --passes 3 \
	--seconds 0.5 --seed 1 --out blind.assay --json blind.json
no_code blind flush-too-early
grep -q '^.* storing .*flush_status_seconds' blind.assay && fail "a flush that nobody watched is in the record"

# The audit judges flushes by the same.
run 1 "$BLKASSAY" audit model:ignores.model --erase t --only flush,fsync --seed 1 --out au1.assay
tells "flush: broken"
tells "on the bus (taken after 20"
run 1 "$BLKASSAY" audit model:leaves.model --erase t --only flush --seed 1 --out au2.assay
tells "a burst right after it takes"
run 0 "$BLKASSAY" audit model:honest.model --erase t --only flush --seed 1 --out au3.assay
tells "a burst right after it runs as from idle"
run 0 "$BLKASSAY" audit model:honest.model --erase t --only flush --seed 1 --no-phases --out au4.assay
says_not "on the bus"
run 2 "$BLKASSAY" audit model:honest.model --erase t --phases --no-phases --out au5.assay
says "exclude each other"
[ ! -e au5.assay ] || fail "a record of nothing"
