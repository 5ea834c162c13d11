# Clean on both drives; a layer that drops writes under the gadget is found once the gadget's own cache is out of the
# way; unplugged in mid-run: exit 3, record readable, no verdict of "fine".
stick
token "$stick"
run 0 blkassay verify "$stick" --erase "$token" --region 0+512Ki --seed 4 --out stick.assay
run 0 blkassay report stick.assay

truncate -s 4M card.img
modprobe loop
losetup /dev/loop0 card.img || fail "no loop device"
dm create card --table "0 8192 linear /dev/loop0 0"
dmsetup mknodes
gadget_plug /dev/mapper/card
token "$gadget"
clean="--erase $token --region 0+1Mi --seed 5"
run 0 blkassay verify "$gadget" $clean --out clean.assay

# From 512 KiB on, writes are acknowledged and dropped.
dm_table card "0 1024 linear /dev/loop0 0
1024 7168 flakey /dev/loop0 1024 0 3600 1 drop_writes"
read_back() { # STATUS NAME SEED: what --only write wrote, judged anew
	run "$1" blkassay verify "$gadget" --region 0+1Mi --seed "$3" --only read --csv "$2.csv" --out "$2.assay"
}
loss_found() { # NAME SEED
	read_back 1 "$1" "$2"
	says "stale"
	damaged=$(awk -F, 'NR > 1 { sum += $5; if (!first || $4 < first) first = $4 } END { print first "+" sum }' "$1.csv")
	is "the damaged range" "$damaged" 524288+524288
	run 0 blkassay report "$1.assay"
	says "stale"
}
run 0 blkassay verify "$gadget" --erase "$token" --region 0+1Mi --seed 6 --only write --out write.assay
# The gadget's cache still has what its card lost; so a read back at once proves nothing.
read_back 0 cached 6
# The cache dropped, the gadget left plugged in. Its storage is a block device, so its pages go with two calls.
drop_gadget_cache() {
	blockdev --flushbufs /dev/mapper/card
	echo 3 >/proc/sys/vm/drop_caches
}
drop_gadget_cache
loss_found dropped 6
# Written once more, then plugged out and in: closing its storage empties the gadget's cache too.
run 0 blkassay verify "$gadget" --erase "$token" --region 0+1Mi --seed 7 --only write --out again.assay
gadget_remove
gadget_plug /dev/mapper/card
loss_found replugged 7

dm_table card "0 8192 linear /dev/loop0 0"
# Far longer than the test; pulled out once the gadget has served some of it.
before=$(awk '{ print $7 }' /sys/block/${gadget#/dev/}/stat)
start blkassay verify "$gadget" --erase "$token" --region 0+4Mi --generations 200 --seed 8 --out pulled.assay
wait_for 120 sh -c "[ \$(awk '{ print \$7 }' /sys/block/${gadget#/dev/}/stat) -gt $((before + 512)) ]" || fail "nothing was written in two minutes"
gadget_unplug
finish 3
note "unplugged: $(grep '^blkassay: ' $err | head -n 1)"
run 0 blkassay report pulled.assay
says_not "No damage"
grep -q ' end .*status=failed' pulled.assay || fail "the record does not say how the run ended"
