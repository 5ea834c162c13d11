# Phases on buses that are not the gadget's: on the full-speed stick every phase lies inside its request; on a bus with a
# second drive, busy all the time, nothing of that drive is in the record, and not one command of the own one is missed.
# What the monitor showed of both buses is left as *.usbmon, from which tests/data has its captures.
modprobe usbmon || fail "no usbmon"
bus_of() { usb_of "$1" && bus=$(cat "$usb/busnum") device=$(cat "$usb/devnum"); }
field_of() { grep ' pass ' "$1" | head -n 1 | grep -o " $2=[^ ]*" | cut -d= -f2; }
record() { # BUS FILE
	record_bus "$1" "$results/$2" &
	recorder=$!
	sleep 0.3
}
recorded() { kill $recorder; wait $recorder 2>/dev/null; }

stick
bus_of "$stick"
run 0 blkassay sweep "$stick" --order sequential --sizes 512..128Ki --region 0+1Mi --seconds 0.5 --passes 2 --out stick.assay --csv stick.csv
# A machine whose processors are taken away for a while loses events, and says so.
watched() { # RECORD: passes that show their phases, in $seen; the others must say why
	seen=$(grep -c ' pass .* phases=seen ' "$1")
	is "passes that say nothing of phases" "$(grep ' pass ' "$1" | grep -vc ' phases=seen \| phases=dropped ')" 0
}
watched stick.assay
between "passes with phases" "$seen" 9 18
grep ' pass .* phases=seen ' stick.assay | while read -r line; do
	echo "$line" | tr ' ' '\n' | awk -F= '
		{ v[$1] = $2 }
		END {
			all = v["command_seconds"] + v["data_seconds"] + v["status_seconds"] + v["host_seconds"]
			least = v["bytes"] / 1216000
			# The host gap before the first command is in no phase; frames of 1 ms make up the rest.
			if (all > v["busy_seconds"] || all < 0.9 * v["busy_seconds"] - 0.1) { print "phases of " all " s in " v["busy_seconds"] " s"; exit 1 }
			if (v["data_seconds"] < 0.9 * least) { print "data in " v["data_seconds"] " s, the bus needs " least " s"; exit 1 }
		}' >$out || fail "a phase lies outside of its request"
done || exit 1
token "$stick"
record "$bus" stick.usbmon
dd if="$stick" of=/dev/null bs=16k count=4 iflag=direct 2>/dev/null
dd if=/dev/zero of="$stick" bs=4k count=4 oflag=direct 2>/dev/null
recorded
note "stick: bus $bus, device $device"

# What somebody else's reads and writes look like from outside.
start blkassay observe "$stick" --seconds 4 --out seen.assay
wait_for 60 grep -q ' target ' seen.assay || fail "observe does not observe"
sleep 1
dd if="$stick" of=/dev/null bs=16k count=4 iflag=direct 2>/dev/null
dd if=/dev/zero of="$stick" bs=4k count=4 oflag=direct conv=fsync 2>/dev/null
finish 0
says "Where the time of a command goes, on the bus"
grep ' commands of=' seen.assay >commands
grep -q ' of=read upto_bytes=16384 commands=4 bytes=65536 ' commands || fail "reads: $(cat commands)"
grep -q ' of=write upto_bytes=4096 commands=4 bytes=16384 ' commands || fail "writes: $(cat commands)"
note "observed: $(grep -c . commands) kinds and sizes of commands; $(sed -n 's/.* of=flush .* status_seconds=\([0-9.]*\) .*/flushes waited \1 s/p' commands)"

fast_stick
bus_of "$stick"
own=$bus own_device=$device
beside=$(wait_for 60 node_of_serial STICK-0003 && node_of_serial STICK-0003) || fail "the neighbour did not appear"
bus_of "$beside"
is "the neighbour's bus" "$bus" "$own"
note "two sticks: bus $own, devices $own_device and $device"
while :; do dd if="$beside" of=/dev/null bs=4k count=16 iflag=direct 2>/dev/null; sleep 0.01; done &
neighbour=$!
record "$own" two-sticks.usbmon
run 0 blkassay sweep "$stick" --order sequential --sizes 4Ki --region 0+64Ki --seconds 0.02 --passes 1 --out short.assay
recorded
for attempt in 1 2 3 4 5 6; do
	rm -f beside.assay
	run 0 blkassay sweep "$stick" --order sequential --sizes 4Ki,64Ki --seconds 1 --passes 3 --out beside.assay --json beside.json
	watched beside.assay
	[ "$seen" -lt 3 ] || break
done
kill $neighbour
wait $neighbour 2>/dev/null
grep -q SOMEBODYS-PRIVATE "$results/two-sticks.usbmon" || fail "the neighbour's data did not pass the bus"
! grep -q SOMEBODYS-PRIVATE short.assay beside.assay beside.json || fail "the neighbour's data is in the record"
grep -q ' pass .* bus_shared=1 ' beside.assay || fail "no pass says that the bus was shared"
grep -q '"code":"bus-shared"' beside.json || fail "nobody is told that the bus was shared"
grep -q ' pass .* bus_shared=0 ' stick.assay && ! grep -q ' pass .* bus_shared=1 ' stick.assay || fail "a bus of one drive is called shared"
between "passes with phases beside a busy neighbour, in attempt $attempt" "$seen" 3 6
grep ' pass .* phases=seen ' beside.assay | while read -r line; do
	is "commands of a pass" "$(echo "$line" | grep -o ' commands=[0-9]*' | cut -d= -f2)" "$(echo "$line" | grep -o ' requests=[0-9]*' | cut -d= -f2)"
done || exit 1
