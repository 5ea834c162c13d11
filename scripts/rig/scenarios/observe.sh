# A real file copy onto FAT on the full-speed stick: what was copied is what was seen, nothing above the kernel's limit.
stick
mkdir -p /mnt/stick
mkdosfs $stick
mount -t vfat $stick /mnt/stick || fail "cannot mount it"
head -c 600000 /dev/urandom >photo
start blkassay observe "$stick" --seconds 6 --out seen.run
sleep 1
cp photo /mnt/stick/photo
sync
umount /mnt/stick
finish 0
run 0 blkassay report seen.run
cat $out
run 0 blkassay report seen.run --csv seen.csv
cat seen.csv
