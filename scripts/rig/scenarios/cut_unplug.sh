# The plug is pulled while cut writes: a gadget that keeps its word is not accused, nor praised for what the plug does not test; one whose card lost a flushed write is.
truncate -s 8M card.img
gadget_plug $work/card.img
token "$gadget"

start blkassay cut "$gadget" --erase "$token" --region 0+1Mi --seed 5 --out j.assay
wait_for 120 sh -c "[ \$(grep -c ' stored through=' j.assay) -ge 4 ]" || fail "nothing was flushed in two minutes"
cp card.img early.img
wait_for 120 sh -c "[ \$(grep -c ' stored through=' j.assay) -ge 12 ]" || fail "nothing more was flushed"
gadget_unplug
finish 0
says "Plug it in again, then:"
grep -q ' stop reason=gone ' j.assay || fail "the journal does not say that the target went: $(tail -n 2 j.assay)"
gadget_replug
# The plug takes no power from what this gadget holds, which is in the memory of the same machine.
run 4 blkassay recheck j.assay "$gadget"
says "Not shown: none of"
says "Every acknowledged write was there after the cut"
says_not "was not unplugged"
note "$(head -n 1 $out)"

# Its card goes back to what it was before the last flushes.
gadget_unplug
cp early.img card.img
gadget_replug
run 1 blkassay recheck j.assay "$gadget"
says "Data that a flush or a write with FUA promised did not survive"
note "$(head -n 1 $out)"

# Three cuts by a command; the drive comes back by itself.
cat >cut.sh <<'END'
echo "" >/sys/kernel/config/usb_gadget/rig/UDC
sleep 1
echo dummy_udc.0 >/sys/kernel/config/usb_gadget/rig/UDC
END
run 4 blkassay cut "$gadget" --erase "$token" --region 0+1Mi --seed 9 --seconds 3 --cycles 3 --cut-with "sh $work/cut.sh" --out k.assay
says "Not shown: none of"
says "Every acknowledged write was there after the cuts"
note "$(head -n 1 $out)"
