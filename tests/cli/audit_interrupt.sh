# SIGINT: exit status 130, the lines so far in the record, kept data back in place.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
head -c 4194304 /dev/urandom >a.img
sum=$(sha256sum <a.img)
# A background job of a script ignores SIGINT; SIGTERM is handled the same way.
"$BLKASSAY" audit a.img --keep-data --seed 2 --out a.assay >"$out" 2>"$err" &
child=$!
i=0
while ! grep -q ' promise ' a.assay 2>/dev/null; do
	i=$((i + 1))
	[ $i -lt 200 ] || fail "no line in 20 seconds"
	sleep 0.1
done
kill -TERM $child
status=0
wait $child || status=$?
[ "$status" = 130 ] || fail "exit status $status"
says "interrupted"
tells "the audit did not finish"
[ "$(sha256sum <a.img)" = "$sum" ] || fail "the kept data did not come back"
grep -q ' end .*status=interrupted' a.assay || fail "the record does not say so"
