# The gadget that does what a model file says is on the bus what the file says: named, sized, believed to have the cache it
# claims; sweep's time of a request is the gadget's own by its truth log plus what bus and host take; verify is clean; what
# waits in its buffer is stored while the host is idle. What a bus cannot carry is refused with the reason, and without an
# emulated controller the gadget does not start.

# truth_ms OPCODE BYTES: the median time from a command's arrival to its status, by the gadget's clock.
truth_ms() {
	sed -n "s/^command .* opcode=$1 .* length=$2 .* received=\([0-9]*\) .* sent=\([0-9]*\) .*/\1 \2/p" $truth |
		awk '{ print ($2 - $1) / 1e6 }' | sort -n | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'
}
# sweep_ms DIRECTION BYTES: of a request, by the medians of sweep.
sweep_ms() {
	awk -F, -v wanted="$1 $2" '
		NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
		$at["direction"] " " $at["request_bytes"] == wanted && $at["order"] == "sequential" { print $at["request_bytes"] / $at["acknowledged_bytes_per_second"] * 1000 }' sweep.csv |
		sort -n | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'
}

for name in buoy-b buoy-d; do
	model_plug $name
	token "$gadget"
	cache="write through"
	[ $name = buoy-b ] || cache="write back"
	is "the drive's blocks" "$(cat /sys/block/${gadget#/dev/}/size)" 65536
	is "the kernel's view of the cache" "$(cat /sys/block/${gadget#/dev/}/queue/write_cache)" "$cache"
	is "its serial" "$(field "$gadget" serial)" BUOY-0001
	is "its link" "$(field "$gadget" link_bits_per_second)" 12000000
	run 0 blkassay sweep "$gadget" --erase "$token" --region 0+2Mi --direction read,write --order sequential --sizes 4Ki,32Ki \
		--seconds 0.5 --passes 3 --out $name.assay
	run 0 blkassay report $name.assay --csv sweep.csv
	for pair in "read 28" "write 2A"; do
		for size in 4096 32768; do
			set -- $pair
			gadgets=$(truth_ms "$2" $size)
			tools=$(sweep_ms "$1" $size)
			note "$name, ${1}s of $size B: $gadgets ms by the gadget's clock, $tools ms by sweep"
			between "sweep's time of a request" "$tools" "$gadgets" "$(awk "BEGIN { print $gadgets + 2 }")"
		done
	done
	run 0 blkassay verify "$gadget" --erase "$token" --region 0+256Ki --seed 4 --out verify-$name.assay
	says "hold what"
	model_remove
done

# A card that takes 16 KiB in a third of a second: the buffer is full when the write is over, and empty later without a word
# from the host.
sed 's/write rate = 1.0 MB/write rate = 0.05 MB/' /rig/models/buoy-d.model >slow.model
model_plug slow.model
dd if=/dev/urandom of="$gadget" bs=16k count=1 oflag=direct 2>/dev/null || fail "cannot write"
model_tell state
note "just written: $answer"
! echo "$answer" | grep -q "waiting_blocks=0" || fail "nothing waits in the buffer: $answer"
sleep 1
model_tell state
echo "$answer" | grep -q "waiting_blocks=0" || fail "nothing is stored while the host is idle: $answer"
model_remove

refused() { # WORDS, model on stdin
	cat >no.model
	run 2 bus_gadget check no.model
	says "$1"
}
sed 's/speed = full/speed = none/' /rig/models/buoy-b.model | refused "its link has no USB speed"
sed 's/rate = 1.0 MB.s  *#/rate = 1.3 MB\/s #/' /rig/models/buoy-b.model | refused "faster than bulk transfers at that speed, 1.22 MB/s"
sed 's/rate = 1.0 MB.s  *#/rate = unlimited #/' /rig/models/buoy-b.model | refused "its link of unlimited rate is faster"
sed 's/rate = 1.0 MB.s  *#/request limit = 64Ki\nrate = 1.0 MB\/s #/' /rig/models/buoy-b.model | refused "request limit of 64 KiB"
{ cat /rig/models/buoy-b.model; printf 'events:\n    reset at = 9\n'; } | refused "its events are counted in commands"
run 2 bus_gadget run /rig/models/buoy-b.model
says "binds to no other; load the module dummy_hcd"

# A controller of another driver stays free, whether it is the only one or not.
modprobe usbip-vudc || fail "no usbip-vudc"
other=/sys/class/udc/usbip-vudc.0
wait_for 60 test -e $other/function || fail "there is no other controller: $(ls /sys/class/udc)"
run 2 bus_gadget run /rig/models/buoy-b.model
says "binds to no other; load the module dummy_hcd"
model_plug buoy-b
is "gadgets on the other controller" "$(cat $other/function)" ""
model_remove
modprobe -r usbip-vudc 2>/dev/null || true
