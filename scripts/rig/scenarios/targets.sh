# The stick and the gadget are told from the disks of the machine, and a mounted one is not written.
truncate -s 4M card.img
gadget_plug $work/card.img
stick
run 0 blkassay targets
says "STICK-0001"
says "GADGET-0002"
says "12 Mb/s"
token "$gadget"
is "the gadget's transport" "$(field $gadget transport)" usb
is "the gadget's link" "$(field $gadget link_bits_per_second)" 12000000
is "the gadget may be written" "$(field $gadget may_write)" true
is "the gadget's serial" "$(field $gadget serial)" GADGET-0002
is "the stick's removable mark" "$(field $stick removable)" true
is "the stick's serial" "$(field $stick serial)" STICK-0001
is "the stick's request limit" "$(field $stick request_limit_bytes)" 122880
is "the disk may be written" "$(field /dev/vdb may_write)" false
is "the card reader's disk is removable" "$(field /dev/vdc removable)" false
is "its link" "$(field /dev/vdc link_bits_per_second)" ""

run 2 blkassay sweep /dev/vdb --direction write --erase "$(field /dev/vdb token)" --fixed-disk
says "mounted"
run 2 blkassay sweep /dev/vdc --direction write --erase rig-card-100663296
says "removable"

mkdir -p /mnt/stick
mkdosfs $stick
mount -t vfat $stick /mnt/stick || fail "cannot mount it"
echo "field notes" >/mnt/stick/notes
token "$stick"
is "the mounted stick may be written" "$(field $stick may_write)" false
run 2 blkassay sweep "$stick" --direction write --sizes 4Ki --seconds 0.1 --passes 1 --erase "$token"
says "/mnt/stick"
run 2 blkassay sweep "$stick" --direction write --sizes 4Ki --seconds 0.1 --passes 1 --keep-data
is "the note on it" "$(cat /mnt/stick/notes)" "field notes"
umount /mnt/stick
# Unmounted it may, with its own token only.
run 2 blkassay sweep "$stick" --direction write --sizes 4Ki --seconds 0.1 --passes 1 --erase GADGET-0002-4194304
run 0 blkassay sweep "$stick" --direction write --sizes 4Ki --seconds 0.1 --passes 1 --region 0+64Ki --keep-data --out $disk/notes.assay
mount -t vfat $stick /mnt/stick || fail "cannot mount it"
is "the note after a run with --keep-data" "$(cat /mnt/stick/notes)" "field notes"
