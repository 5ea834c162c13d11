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
modprobe usbmon || fail "no usbmon"
usb_of "$gadget"
bus=$(cat "$usb/busnum")
wait_for 60 test -c "/dev/usbmon$bus" || fail "no monitor of bus $bus"
record_bus "$bus" $work/bus.usbmon &
recorder=$!
run 3 blkassay cut "$gadget" --erase "$token" --region 0+1Mi --seed 9 --seconds 3 --cycles 2 --cut-with "sh $work/swap.sh" --out cycles.assay
kill $recorder
wait $recorder 2>/dev/null
says "does not show that it still holds the medium this run wrote to"
says_not "Not safe to ship"

# writes_on_bus FILE: each WRITE (10) that was sent, "first block, blocks, 1 if its status came", of what record_bus left.
writes_on_bus() {
	od -An -v -tx1 "$1" | awk '
		BEGIN { for (i = 0; i < 256; i++) value[sprintf("%02x", i)] = i }
		function text(from, n,  t) { while (n--) t = t byte[from++]; return t }
		function big_endian(from, n,  v) { while (n--) v = v * 256 + value[byte[from++]]; return v + 0 }
		function event() {
			if (byte[9] != "03") return # bulk
			if (byte[8] == "53" && captured == 31 && text(64, 4) == "55534243" && byte[79] == "2a") {
				sent[++n] = big_endian(81, 4) " " big_endian(86, 2)
				with_tag[text(68, 4)] = n
			}
			if (byte[8] == "43" && captured == 13 && text(64, 4) == "55534253" && text(68, 4) in with_tag)
				answered[with_tag[text(68, 4)]] = 1
		}
		{
			for (i = 1; i <= NF; i++) {
				byte[have++] = $i
				if (have < 64) continue
				captured = value[byte[36]]
				if (have == 64 + captured) { event(); have = 0 }
			}
		}
		END { for (i = 1; i <= n; i++) print sent[i], answered[i] + 0 }'
}
# Plugged in again so quickly that the kernel takes it for a reset, without an attention or another sequence of the disk, one
# request can reach the card that came back: the one in flight, which the kernel sends again, or the next one; or both, one after
# the other. The USB monitor tells which, and that they are the last writes of all.
strays=$(cmp -l other.img /dev/zero 2>/dev/null | wc -l)
note "bytes that reached the card that came back: $strays"
if [ "$strays" -gt 0 ]; then
	writes_on_bus bus.usbmon >sent
	cp sent bus.usbmon "$results/"
	set -- $(tail -n 1 sent)
	if [ "$(tail -n 2 sent | head -n 1)" = "$1 $2 0" ]; then
		note "the request in flight, $2 blocks at block $1, which the kernel sent again: the first time it got no answer"
	else
		note "a request sent once, when the drive was back: $2 blocks at block $1"
	fi
	cmp -l other.img /dev/zero 2>/dev/null | awk '{ print int(($1 - 1) / 512) }' >stray-blocks
	tail -n 2 sent >last-two
	outside=$(awk 'NR == FNR { first[NR] = $1; end[NR] = $1 + $2; next }
		!($1 >= first[1] && $1 < end[1]) && !($1 >= first[2] && $1 < end[2])' last-two stray-blocks | wc -l)
	[ "$outside" = 0 ] || fail "$outside bytes reached that card outside the last two requests"
fi
