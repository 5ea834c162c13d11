# A model's card is swapped, its drive unplugged or reset in mid-run: every command that writes ends with exit 3 and the right
# words, and what came through a reset is said and counts for nothing.
. "$(dirname "$0")/lib.sh"
models=$here/../../scripts/models
cd "$tmp" || exit 1
# In mid-run: a sweep reads first, and looks how writes are stored.
at() { case $1 in sweep) echo 3000 ;; *) echo 300 ;; esac; }
happens() { { cat "$models/buoy-d.model"; printf 'events:\n'; printf '%s\n' "$@"; } >event.model; }
command() { # KIND...: in the background of what each kind needs
	rm -f ./*.assay
	case $1 in
	audit) echo "audit model:event.model --with-eject --seed 3 --out e.assay" ;;
	verify) echo "verify model:event.model --seed 3 --region 0+4Mi --sizes 4Ki --out e.assay" ;;
	sweep) echo "sweep model:event.model --seed 3 --direction read,write --sizes 4Ki,64Ki --passes 3 --out e.assay" ;;
	cut) echo "cut model:event.model --seed 3 --region 0+1Mi --seconds 5 --out e.assay" ;;
	esac
}
for kind in audit verify sweep cut; do
	for told in attention sequence reset; do
		happens "card swapped at = $(at $kind)" "swap told by = $told"
		run 3 "$BLKASSAY" $(command $kind)
		case $told in
		reset) says "does not show that it still holds the medium" ;;
		*) says "may hold another medium than before" ;;
		esac
		says "nothing more was written"
		run 0 "$BLKASSAY" report e.assay
		says_not "No damage"
	done
done
for kind in audit verify sweep; do
	happens "unplugged at = $(at $kind)"
	run 3 "$BLKASSAY" $(command $kind)
	says "is gone"
	says_not "No space left"
	run 0 "$BLKASSAY" report e.assay
	says_not "damaged"
done
# Gone is what a cut is waiting for; the model comes back by itself.
happens "unplugged at = 300"
run 4 "$BLKASSAY" $(command cut) # one cut says too little of FUA alone
tells "none of 88 promises in 1 cut is broken"

# A reset is no change of medium. It is said, with its number, and the pass it fell into counts for nothing.
happens "reset at = 300"
run 0 "$BLKASSAY" $(command sweep)
tells "1 pass is not counted: the kernel saw 1 error or reset of the device"
grep -q 'device_errors=1 flags=.*resets' e.assay || fail "the record does not flag the pass"
run 0 "$BLKASSAY" $(command verify)
tells "The kernel counted 1 error or reset of the device"
run 4 "$BLKASSAY" $(command cut)
says "the kernel counted 1 error or reset of the device"
grep -q ' stop .*device_errors=1 ' e.assay || fail "the journal does not have it"
"$BLKASSAY" $(command audit) >"$out" 2>"$err" || true # whatever it makes of the other lines
tells "the kernel counted 1 error or reset of the device meanwhile, so this counts for nothing"
[ "$(grep -c 'counts%20for%20nothing' e.assay)" = 1 ] || fail "not one line of the record is doubted"
