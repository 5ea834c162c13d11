# A real file copy onto FAT on the full-speed stick: what was copied is what was seen, nothing above the kernel's limit.
stick
mkdir -p /mnt/stick
mkdosfs $stick
mount -t vfat $stick /mnt/stick || fail "cannot mount it"
head -c 600000 /dev/urandom >photo
start blkassay observe "$stick" --out seen.assay
wait_for 60 grep -q ' second ' seen.assay || fail "observe does not observe"
cp photo /mnt/stick/photo
sync
umount /mnt/stick
kill -INT $child
finish 0
run 0 blkassay report seen.assay
says "a write of" # the longest stall comes from the kernel's trace, not from its counters
run 0 blkassay report seen.assay --csv seen.csv
# Bytes of the "size" rows of writes: the file, and the few blocks of FAT that go with it.
bytes=$(awk -F, '$3 == "size" && $4 == "write" { sum += $9 } END { print sum + 0 }' seen.csv)
counted=$(awk -F, '$3 == "second" && $4 == "write" { sum += $9 } END { print sum + 0 }' seen.csv)
largest=$(awk -F, '$3 == "size" && $7 > most { most = $7 } END { print most + 0 }' seen.csv)
between "bytes written, of 600000 copied" "$bytes" 600000 660000
is "bytes by the kernel's counters" "$counted" "$bytes"
between "the largest request" "$largest" 65536 122880
