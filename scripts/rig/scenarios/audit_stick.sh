# The whole audit over real SCSI, on a stick whose bus is quick enough for its thousands of commands: an honest stick
# keeps every promise, and what lies outside the region is not touched.
# Time limit: 600 s
fast_stick
run 0 dd if=/dev/urandom of="$stick" bs=1M count=3 conv=fsync
run 0 dd if="$stick" of=beside bs=1M skip=2 count=1
token "$stick"
# Not those that a timer decides: whether this bus shows a backlog depends on the machine.
lines="inquiry capacity cache-page kernel-view read-after-write interleaved overlap partial-overlap straddle odd-length stored \
	past-end write-behind transfer-length"
run 0 blkassay audit "$stick" --erase "$token" --seed 6 --region 0+2Mi --out stick.assay --quiet --only "$(echo $lines | tr ' ' ,)"
for line in $lines; do says "$line: kept"; done
says "device: write back, FUA yes; kernel: write back, FUA yes"
says "No broken promise found"
grep -q "id=past-end.*reads%20only" stick.assay || fail "a write past the end was tried outside the region"
note "$(grep 'No broken promise' $out)"
run 0 blkassay report stick.assay
says "stored: kept"
run 0 dd if="$stick" of=beside.after bs=1M skip=2 count=1 iflag=direct
cmp -s beside beside.after || fail "the audit wrote outside its region"
