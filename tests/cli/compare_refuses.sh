# What was not measured alike is not compared, unless told to; a run is never compared with itself.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
make() { run 0 "$make_record" "$1" 5 6 500 1e6 0.01 "$2" read ${3-}; }
make base.assay 1
n=1
for change in link=480e6 kind=image transport=file limit=524288 in_flight=4 seconds=2 region=32000000 modelled=1; do
	n=$((n + 1))
	make other$n.assay $n $change
	run 2 "$BLKASSAY" compare base.assay --against other$n.assay
	says "were measured under different conditions"
	says "--anyway"
	[ "$(wc -l <"$err")" = 1 ] || fail "more than one line for $change"
	[ ! -s "$out" ] || fail "output beside a refusal"
	[ $change = in_flight=4 ] && continue # no point in common
	run 0 "$BLKASSAY" compare base.assay --against other$n.assay --anyway
	tells "Conditions differ in"
done
# The same among the runs of one side.
make twin.assay 20
run 2 "$BLKASSAY" compare base.assay other2.assay --against twin.assay
says "12 Mb/s against 480 Mb/s"
# Requests in flight differ: there is no common point to compare, even anyway.
run 2 "$BLKASSAY" compare base.assay --against other6.assay --anyway
says "no point in common"

run 2 "$BLKASSAY" compare base.assay --against base.assay
says "is given twice"
run 2 "$BLKASSAY" compare base.assay base.assay --against twin.assay
says "is given twice"
run 2 "$BLKASSAY" compare base.assay twin.assay
says "--against"
run 2 "$BLKASSAY" compare --against twin.assay
says "no run of the base"
run 2 "$BLKASSAY" compare base.assay --against
says "no run of the new build"
run 2 "$BLKASSAY" compare base.assay --against twin.assay --against twin.assay
says "twice"
for percent in -1 100 x "" 1e1; do
	run 2 "$BLKASSAY" compare base.assay --against twin.assay --allow-slower "$percent"
done
run 2 "$BLKASSAY" compare base.assay --against missing.assay
run 0 "$make_record" v.assay 2 6 500 1e6 0.01 30 read runkind=verify
run 2 "$BLKASSAY" compare base.assay --against v.assay
says "only sweeps can be compared"
run 2 "$BLKASSAY" compare base.assay --against twin.assay --csv /nonexistent/x.csv
says "/nonexistent/x.csv"
# A result goes to a file, never to a device, and never over a record.
run 2 "$BLKASSAY" compare base.assay --against twin.assay --csv /dev/null
says "is not a regular file"
cp base.assay before.assay
run 2 "$BLKASSAY" compare base.assay --against twin.assay --page base.assay
says "is a run record"
cmp -s base.assay before.assay || fail "a record was written over"
if [ -c /dev/full ]; then
	run 3 sh -c '"$1" compare base.assay --against twin.assay --csv - >/dev/full' sh "$BLKASSAY"
fi
# An unfinished run is compared as far as it got, and told.
head -n 20 base.assay >cut.assay
run 0 "$BLKASSAY" compare cut.assay --against twin.assay
says "did not finish"
