# Clean on both drives; a layer that drops writes under the gadget is found once the gadget's own cache is out of the
# way; unplugged in mid-run: exit 3, record readable, no verdict of "fine".
stick
token "$stick"
run 0 blkassay verify "$stick" --erase "$token" --region 0+512Ki --seed 4 --out stick.run
run 0 blkassay report stick.run

truncate -s 4M card.img
modprobe loop
losetup /dev/loop0 card.img || fail "no loop device"
dm create card --table "0 8192 linear /dev/loop0 0"
dmsetup mknodes
gadget_plug /dev/mapper/card
token "$gadget"
clean="--erase $token --region 0+1Mi --seed 5"
run 0 blkassay verify "$gadget" $clean --out clean.run

# From 512 KiB on, writes are acknowledged and dropped.
dm_table card "0 1024 linear /dev/loop0 0
1024 7168 flakey /dev/loop0 1024 0 3600 1 drop_writes"
run 0 blkassay verify "$gadget" --erase "$token" --region 0+1Mi --seed 6 --only write --out write.run
gadget_unplug
# The gadget's cache: its storage is a block device, so throwing its pages away is a matter of one call.
blockdev --flushbufs /dev/mapper/card
echo 3 >/proc/sys/vm/drop_caches
gadget_replug
run 1 blkassay verify "$gadget" --region 0+1Mi --seed 6 --only read --damage damage.csv --out read.run
says "stale"
damaged=$(awk -F, 'NR > 1 { sum += $3; if (!first || $2 < first) first = $2 } END { print first "+" sum }' damage.csv)
is "the damaged range" "$damaged" 524288+524288
run 0 blkassay report read.run
says "stale"

dm_table card "0 8192 linear /dev/loop0 0"
start blkassay verify "$gadget" --erase "$token" --region 0+4Mi --generations 200 --seed 7 --out pulled.run
sleep 2
gadget_unplug
finish 3
note "unplugged: $(grep '^blkassay: ' $err | head -n 1)"
run 0 blkassay report pulled.run
says_not "No damage"
