# Real file copies onto FAT and ext4: the bytes seen are those copied, no request is above the kernel's limit, and a
# sweep of the same stick predicts the copy's time from the observed mix.
stick
token "$stick"
run 0 blkassay sweep "$stick" --erase "$token" --direction read,write --order sequential \
	--sizes 512,4Ki,16Ki,64Ki,120Ki --seconds 0.5 --passes 3 --seed 3 --out sweep.run --quiet
limit=$(($(cat /sys/block/${stick#/dev/}/queue/max_sectors_kb) * 1024))
mkdir -p /mnt/stick
dd if=/dev/urandom of=file bs=1M count=2 2>/dev/null
copied=2097152

# One observed copy; the error of the prediction goes to $fs.off.
copy() {
	start blkassay observe "$stick" --out "$fs$1.run" --label "$fs"
	wait_for 10 grep -q ' second ' "$fs$1.run" || fail "observe does not observe"
	mount -t "$fs" "$stick" /mnt/stick || fail "cannot mount $fs"
	cp file "/mnt/stick/copy$1" && sync
	umount /mnt/stick
	kill -INT $child
	finish 0
	grep -q ' total traced=1 ' "$fs$1.run" || fail "not traced: $(grep ' total ' "$fs$1.run")"
	written=$(sed -n 's/.* seen .* written_bytes=\([0-9]*\) sequential_writes.*/\1/p' "$fs$1.run")
	counted=$(sed -n 's/.* total .* written_bytes=\([0-9]*\) .*/\1/p' "$fs$1.run")
	# The file, and what the filesystem notes about it.
	between "bytes written to $fs" "$written" $copied $((copied + 600000))
	is "bytes by trace and by counters" "$written" "$counted"
	sed -n 's/.* mix direction=[a-z]* sizes=\([^ ]*\) .*/\1/p' "$fs$1.run" | tr , '\n' | while IFS=: read -r size rest; do
		[ "$size" -le "$limit" ] || fail "a request of $size bytes, above the limit of $limit"
	done || exit 1
	run 0 blkassay explain sweep.run --as "$fs$1.run"
	note "$fs: $written bytes for a file of $copied; $(grep -o 'the prediction is .*' $out)"
	sed -n 's/.*the prediction is \([0-9]*\) % .*/\1/p' $out >>"$fs.off"
}
copy_onto() { # FILESYSTEM FORMAT...
	fs=$1
	shift
	"$@" >$out 2>$err || fail "cannot make a $fs filesystem"
	# The middle one of three: an emulated machine is sometimes held up.
	copy 1
	copy 2
	copy 3
	between "error of the prediction for $fs, in %" "$(sort -n "$fs.off" | sed -n 2p)" 0 20
}
copy_onto vfat mkdosfs "$stick"
# The filesystem that busybox makes has no journal; the driver is that of ext4.
copy_onto ext4 mke2fs -F "$stick"
