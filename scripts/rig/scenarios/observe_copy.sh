# Real file copies onto FAT and ext4: the bytes seen are those copied, no request is above the kernel's limit, and a
# sweep of the same stick predicts the copy's time from the observed mix.
#
# An emulated machine is held up now and then, and a busy host makes a sweep or a copy slower than its neighbour. So each
# copy has its own sweep just before it, and the middle error of three pairs counts; while that is too much, up to nine
# pairs. A prediction that is wrong by itself stays wrong in all of them.
# Time limit: 900 s
stick
copied=2097152
dd if=/dev/urandom of=file bs=1M count=2 2>/dev/null
mkdir -p /mnt/stick
limit=$(($(cat /sys/block/${stick#/dev/}/queue/max_sectors_kb) * 1024))

# One pair; the error of the prediction goes to $fs.off.
pair() { # FILESYSTEM NUMBER FORMAT...
	fs=$1 seen=$1$2.assay swept=$1$2-sweep.assay
	token "$stick"
	run 0 blkassay sweep "$stick" --erase "$token" --direction read,write --order sequential \
		--sizes 512,4Ki,16Ki,64Ki,120Ki --seconds 0.3 --passes 2 --seed "$2" --out "$swept" --quiet
	shift 2
	"$@" >$out 2>$err || fail "cannot make a $fs filesystem"
	start blkassay observe "$stick" --out "$seen" --label "$fs"
	wait_for 60 grep -q ' second ' "$seen" || fail "observe does not observe"
	mount -t "$fs" "$stick" /mnt/stick || fail "cannot mount $fs"
	cp file /mnt/stick/copy && sync
	umount /mnt/stick
	kill -INT $child
	finish 0
	grep -q ' total traced=1 ' "$seen" || fail "not traced: $(grep ' total ' "$seen")"
	written=$(sed -n 's/.* seen .* written_bytes=\([0-9]*\) sequential_writes.*/\1/p' "$seen")
	counted=$(sed -n 's/.* total .* written_bytes=\([0-9]*\) .*/\1/p' "$seen")
	# The file, and what the filesystem notes about it.
	between "bytes written to $fs" "$written" $copied $((copied + 600000))
	is "bytes by trace and by counters" "$written" "$counted"
	sed -n 's/.* mix direction=[a-z]* requests=\([^ ]*\) .*/\1/p' "$seen" | tr , '\n' | while IFS=: read -r size rest; do
		[ "$size" -le "$limit" ] || fail "a request of $size bytes, above the limit of $limit"
	done || exit 1
	run 0 blkassay explain "$swept" --as "$seen"
	tr '\n' ' ' <$out | tr -s ' ' | sed -n 's/.*\(Requests were in flight for .*\)/\1/p' | sed 's/ + .*//; s/ ! .*//' >said
	note "$fs: $written bytes for a file of $copied; $(cut -c1-100 said)"
	sed -n 's/.*these costs give [^,]*, \([0-9]*\) % .*/\1/p' said >>"$fs.off"
}
middle() { sort -n "$1" | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'; }
copy_onto() { # FILESYSTEM FORMAT...
	onto=$1 number=1
	shift
	while :; do
		pair "$onto" $number "$@"
		[ $number -lt 3 ] || [ $((number % 2)) = 0 ] || [ "$(middle "$onto.off")" -gt 20 ] || break
		[ $number -lt 9 ] || break
		number=$((number + 1))
	done
	note "$onto: error of the prediction, in %: $(middle "$onto.off") in the middle of $(sort -n "$onto.off" | tr '\n' ' ')"
	between "error of the prediction for $onto, in %" "$(middle "$onto.off")" 0 20
}
copy_onto vfat mkdosfs "$stick"
# The filesystem that busybox makes has no journal; the driver is that of ext4.
copy_onto ext4 mke2fs -F "$stick"
