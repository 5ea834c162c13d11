# Ctrl-C while a target's own data is put back: it goes on, and says why; the data is back afterwards. Requests are slowed down,
# so that there is time for a second signal however fast the disk is.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
slow=$(dirname "$BLKASSAY")/tests/slow.so
[ -f "$slow" ] || skip "needs tests/slow.so"
[ -z "${SANITIZED:-}" ] || skip "a preloaded library and ASan do not go together"
head -c 8388608 /dev/urandom >card.img
before=$(sha256sum <card.img)
LD_PRELOAD=$slow SLOW_FIXED_US=40000 SLOW_RATE=1e9 "$BLKASSAY" sweep card.img --keep-data --direction write --order sequential \
	--sizes 64Ki --seconds 30 --passes 1 --out k.assay >"$out" 2>"$err" &
pid=$!
# Once data is saved the sweep runs, and the first signal ends it; those that follow meet the putting back.
await "state=saved" k.assay
for i in $(seq 600); do
	kill -INT $pid 2>/dev/null || break
	sleep 0.05
done
status=0
wait $pid || status=$?
[ $status = 130 ] || fail "exit $status, not 130"
says "is being put back, and that goes on"
says "kept data is back"
[ "$(sha256sum <card.img)" = "$before" ] || fail "the data is not back"
[ ! -e k.assay.kept ] || fail "the saved file is still there"

# A record that cannot be made leaves no image behind.
run 2 "$BLKASSAY" sweep new.img --create 4Mi --out no/such/x.assay
says "no record can be written to 'no/such'"
[ ! -e new.img ] || fail "an image was left"
