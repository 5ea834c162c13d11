# Another card of the same size is forced into the gadget in the middle of every command that writes: exit 3, not a byte
# on the new card when the drive raises its attention, at most one request when the host's poll was there first; kept
# data stays where it was saved, and the line that puts it back does so once the right card is in again.
# Time limit: 900 s
head -c 4194304 /dev/urandom >card.img
truncate -s 4M other.img
gadget_plug $work/card.img
token "$gadget"
blank=$(sha256sum <other.img)

# swapped COUNT COMMAND...: swaps the card once the drive has answered COUNT commands. Then it must have ended so.
swapped() {
	count=$1
	shift
	start "$@"
	moved "$gadget" "$count"
	gadget_swap $work/other.img
	finish 3
	grep -qE "may hold another medium than before|is gone: not ready" $err || fail "it does not say why it ended"

	note "$(grep "^blkassay: " $err | cut -c1-160)"
}
untouched() { is "the other card" "$(sha256sum <other.img)" "$blank"; }
right_card() {
	gadget_swap $work/card.img
	wait_for 60 dd if="$gadget" of=/dev/null bs=4096 count=1 || fail "the right card cannot be read"
}

for kind in audit verify sweep cut; do
	case $kind in
	audit) set -- 300 blkassay audit "$gadget" --erase "$token" --region 1Mi+2Mi ;;
	verify) set -- 100 blkassay verify "$gadget" --erase "$token" --generations 200 ;;
	sweep) set -- 100 blkassay sweep "$gadget" --erase "$token" --direction write --sizes 4Ki,64Ki --seconds 1 --passes 40 ;;
	cut) set -- 100 blkassay cut "$gadget" --erase "$token" --region 1Mi+1Mi ;;
	esac
	swapped "$@" --seed 5 --out $kind.assay
	untouched
	run 0 blkassay report $kind.assay
	says_not "No damage"
	right_card
done

# The user's own data was saved first. It is not put on the other card.
head -c 4194304 /dev/urandom >card.img
own=$(sha256sum <card.img)
right_card
swapped 300 blkassay audit "$gadget" --keep-data --region 1Mi+2Mi --seed 6 --out $disk/kept.assay
untouched
says "nothing is put back"
[ -s $disk/kept.assay.kept ] || fail "the saved data is gone"
line=$(sed -n 's/.*run: blkassay //p' $err | tail -n 1)
[ -n "$line" ] || fail "no line says how to put it back"
right_card
[ "$(sha256sum <card.img)" != "$own" ] || fail "the audit wrote nothing, so nothing was shown"
run 0 sh -c "blkassay $line"
is "the card's own data" "$(sha256sum <card.img)" "$own"

# A host that polls: the attention is gone before the next command, only the disk sequence has moved.
gadget_poll 100
rm $disk/kept.assay.kept
swapped 300 blkassay audit "$gadget" --erase "$token" --region 1Mi+2Mi --seed 7 --out polled.assay
strays=$(cmp -l other.img /dev/zero 2>/dev/null | wc -l)
note "bytes that reached the other card: $strays"
between "bytes that reached the other card" "$strays" 0 131072
gadget_poll 0
right_card

# A cut by the plug, and another card in the reader that comes back: the serial number is the reader's.
truncate -s 0 other.img
truncate -s 4M other.img
cat >swap.sh <<'END'
echo "" >/sys/kernel/config/usb_gadget/rig/UDC
echo /tmp/work/other.img >/sys/kernel/config/usb_gadget/rig/functions/mass_storage.0/lun.0/file
echo dummy_udc.0 >/sys/kernel/config/usb_gadget/rig/UDC
END
run 3 blkassay cut "$gadget" --erase "$token" --region 0+1Mi --seed 9 --seconds 3 --cycles 2 --cut-with "sh $work/swap.sh" --out cycles.assay
says "does not show that it still holds the medium this run wrote to"
says_not "Not safe to ship"
# Plugged in again so quickly that the kernel takes it for a reset, the drive gets the request in flight once more, from the
# kernel: that one nobody can hold back.
strays=$(cmp -l other.img /dev/zero 2>/dev/null | wc -l)
note "bytes that reached the card that came back: $strays"
between "bytes that reached the card that came back" "$strays" 0 131072
