# The whole audit on the kernel's own mass storage gadget: nothing honest is called broken. What the audit finds on the
# gadget is true: its driver cuts a write that crosses the end of the drive short and answers GOOD, which SBC-3 does not
# allow.
# By hand, six minutes: each of the six thousand commands takes 12 ms and more, because dummy_hcd serves its queue from
# a timer of 4 ms (HZ is 250 in Debian's kernel) and a command has three phases.
# Time limit: 900 s
truncate -s 1M card.img
gadget_plug $work/card.img
token "$gadget"
is "the kernel's view" "$(cat /sys/block/${gadget#/dev/}/queue/write_cache)" "write back"
run 1 blkassay audit "$gadget" --erase "$token" --seed 5 --out gadget.assay --with-eject --quiet
for line in inquiry capacity cache-page kernel-view read-after-write interleaved overlap partial-overlap straddle \
	odd-length stored write-behind; do
	says "$line: kept"
done
says "device: write back, FUA no; kernel: write back, FUA no"
says "a write across the end: accepted"
says "past-end: broken"
is "the broken promises" "$(grep -c "^[a-z-]*: broken" $out)" 1
# Loading again is the work of the gadget's user space, which does nothing here.
says "did not come back after an eject"
note "$(head -n 1 $out)"
gadget_remove
