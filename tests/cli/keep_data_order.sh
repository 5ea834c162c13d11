# The order of things in a run with --keep-data: the saved file is on the disk, then its name, then the record says where, and
# only then the target is written. Any of these syncs that fails ends the run before that, and is said; any one read that
# lies loses nothing.
. "$(dirname "$0")/lib.sh"
[ -z "${SANITIZED:-}" ] || skip "a preloaded library and the sanitizers do not go together"
fault=$(dirname "$BLKASSAY")/tests/fault.so
[ -e "$fault" ] || fail "no $fault: run it by 'make check-cli'"
cd "$tmp" || exit 1
head -c 1536K /dev/urandom >card.img # two chunks of saved data
before=$(sha256sum <card.img)
verify() { # CALL NTH ERROR
	rm -f k.assay k.assay.kept trace hit
	env LD_PRELOAD="$fault" FAULT_TRACE=trace FAULT_LOG=hit FAULT_CALL="$1" FAULT_NTH="$2" FAULT_ERROR="$3" \
		"$BLKASSAY" verify card.img --keep-data --sizes 256Ki --out k.assay >"$out" 2>"$err" </dev/null
}
back_or_restored() { # WHAT
	[ "$(sha256sum <card.img)" = "$before" ] && return
	[ $status = 3 ] || fail "$1: the card is not as before, and exit status $status does not say so"
	"$BLKASSAY" restore k.assay.kept card.img >/dev/null 2>&1
	[ "$(sha256sum <card.img)" = "$before" ] || fail "$1: data is lost"
}
# The line of the trace that matches $1 first after line $2.
after() { awk -v after="$2" -v what="$1" 'NR > after && $0 ~ what { print NR; exit }' trace; }

verify close 0 5 || fail "a run without a fault ended with $?"
says "read twice alike"
saved=$(grep -n '^write k[.]assay[.]kept' trace | tail -n 1 | cut -d: -f1)
synced=$(after '^sync k[.]assay[.]kept' "$saved")
named=$(after "^sync $(basename "$PWD")" "${synced:-999999}")
told=$(after '^write k[.]assay kept' "${named:-999999}")
sure=$(after '^sync k[.]assay ' "${told:-999999}")
written=$(after '^put card[.]img' 0)
order="saved $saved, synced $synced, its name $named, told $told, that too $sure, written $written"
echo "$order"
[ -n "$sure" ] && [ -n "$written" ] && [ "$sure" -lt "$written" ] || fail "not in this order: $order"
grep '^sync' trace >syncs
early=$(head -n "$written" trace | grep -c '^sync')

# Each sync of the run in turn; `early` of them come before the first write.
n=1
while status=0; verify sync $n 5 || status=$?; [ -e hit ]; do
	what="sync $n of $(sed -n "${n}s/^sync //p" syncs)"
	case "$status $what" in
	3*) ;;
	"1 sync $n of card.img"*) [ $n -gt "$early" ] || fail "$what failed: exit status $status" ;; # the card's own failure
	*) fail "$what failed: exit status $status, not 3" ;;
	esac
	says "Input/output error"
	if [ $n -le "$early" ]; then
		! grep -q '^put card[.]img' trace || fail "$what failed, and the target was written"
		[ ! -e k.assay.kept ] || fail "$what failed: a saved file is left that nobody needs"
	fi
	back_or_restored "$what failed"
	n=$((n + 1))
done
[ $status = 0 ] && [ "$early" -ge 5 ] && [ $n -gt "$early" ] || fail "only $n syncs, $early early; $status at the end"
verify sync "$(grep -n '^sync k[.]assay[.]kept' syncs | tail -n 1 | cut -d: -f1)" 5
says "nothing was written to 'card.img'"

# Each read from the card in turn gives one flipped bit. (The first 60 or so only look what kind of data is there.)
n=60 caught=0
while status=0; verify pread $n lie || status=$?; [ -e hit ]; do
	case $status in
	0 | 3) ;;
	1) tells "bit error" ;; # one of the readings that are judged
	*) fail "read $n lies: exit status $status" ;;
	esac
	back_or_restored "read $n lies"
	if grep -q "reads differently the second time" "$err"; then
		caught=$((caught + 1))
		says "nothing was written to 'card.img'"
		! grep -q '^put card[.]img' trace || fail "read $n lies, which is said, and the target was written"
	fi
	n=$((n + 1))
done
echo "$n reads, $caught lies caught while saving"
# two chunks of 1 MiB and half of that the first time, 11 and 6 requests of 96 KiB the second
[ $caught = 19 ] || fail "$caught lies while saving are caught, not 19"

# A device that the run found at fault may answer from its memory what it has not stored: what was saved of it stays, though it
# reads back right, until it was without power. One read that lies (a counter or a look of the kernel's takes some of the calls).
requires_root
truncate -s 256K dev.img
loop_device "$tmp/dev.img"
cp dev.img was.img
status=0
nth=60
until [ $status = 1 ]; do
	nth=$((nth + 1))
	[ $nth -lt 140 ] || fail "no read that could lie to the judge"
	rm -f d.assay d.assay.kept
	status=0
	env LD_PRELOAD="$fault" FAULT_CALL=pread FAULT_NTH=$nth FAULT_ERROR=lie \
		"$BLKASSAY" verify "$loop" --keep-data --fixed-disk --sizes 64Ki --seed 4 --out d.assay >"$out" 2>"$err" </dev/null || status=$?
done
says "this run found the target at fault, so what was saved stays in"
cmp -s dev.img was.img || fail "the data is not back"
run 0 "$BLKASSAY" restore d.assay.kept "$loop"
says "0 B written"
says "is no longer needed"
# Put back by hand: what is read then may come from its memory as well.
printf x | dd of="$loop" conv=notrunc bs=1 2>/dev/null
run 0 "$BLKASSAY" restore d.assay.kept "$loop" --overwrite-changed "$(token_of "$loop")"
says "read back under power: keep "
