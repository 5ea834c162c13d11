# The audit on real SCSI: the kernel's own mass storage gadget, and a stick on a full-speed bus. Claims are read as
# configfs and sysfs have them, and nothing honest is called broken. What the audit finds on the gadget is true: its
# driver cuts a write that crosses the end of the drive short and answers GOOD, which SBC-3 does not allow.
truncate -s 1M card.img
gadget_plug $work/card.img
token "$gadget"
is "the kernel's view" "$(cat /sys/block/${gadget#/dev/}/queue/write_cache)" "write back"
run 1 blkassay audit "$gadget" --erase "$token" --seed 5 --out gadget.run --with-eject --quiet
for line in inquiry capacity cache-page kernel-view read-after-write interleaved overlap partial-overlap straddle \
	odd-length stored write-behind; do
	says "kept       $line:"
done
says "device: write back, FUA no; kernel: write back, FUA no"
says "a write across the end: accepted"
says "1 of 20 promises broken (past-end)"
# Loading again is the work of the gadget's user space, which does nothing here.
says "did not come back after an eject"
note "$(tail -n 1 $out)"
gadget_remove

stick
token "$stick"
run 0 blkassay audit "$stick" --erase "$token" --seed 6 --region 0+1Mi --out stick.run --quiet
for line in inquiry capacity cache-page kernel-view read-after-write stored past-end; do
	says "kept       $line:"
done
grep -q "id=past-end.*reads%20only" stick.run || fail "a write past the end was tried outside the region"
note "$(tail -n 1 $out)"
