# Nonsense is refused in one line that says what would have been right.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
run 0 "$make_record" a.assay 2 6 500 1e6 0.01 1 read
for rate in fast 0 -1 10 1.0 1216000 1.0.0MB 1MB/h "" 1e6 nan; do
	run 2 "$BLKASSAY" explain a.assay --link "$rate"
	[ "$(wc -l <"$err")" = 1 ] || fail "more than one line for --link '$rate'"
	[ ! -s "$out" ] || fail "output beside an error"
done
run 2 "$BLKASSAY" explain a.assay --card-read 1.7MB/h
says "write it like 1.7MB/s"
run 2 "$BLKASSAY" explain a.assay --card-bus i2c:400kHz
says "spi:20MHz"
run 2 "$BLKASSAY" explain a.assay --copy lots
run 2 "$BLKASSAY" explain a.assay --request 100
run 2 "$BLKASSAY" explain
run 2 "$BLKASSAY" explain missing.assay
says "missing.assay"
echo "not a record" >text
run 2 "$BLKASSAY" explain text
run 0 "$make_record" v.assay 2 6 500 1e6 0.01 1 read runkind=verify
run 2 "$BLKASSAY" explain v.assay
says "only a sweep can be explained"
# A run that was cut is explained as far as it got, and says so.
head -n 12 a.assay >cut.assay
run 0 "$BLKASSAY" explain cut.assay
tells "has no end"
head -n 4 a.assay >empty.assay
run 0 "$BLKASSAY" explain empty.assay
says "no usable pass"
# Results that cannot be written are an error.
if [ -c /dev/full ]; then
	status=0
	"$BLKASSAY" explain a.assay >/dev/full 2>"$err" || status=$?
	[ $status = 3 ] || fail "a full disk gave $status"
fi
exit 0
