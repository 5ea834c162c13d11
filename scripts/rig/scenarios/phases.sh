# Where the time of a request goes, as the kernel's USB monitor shows it: on a gadget that sleeps before data, between
# its pieces, before status or before the next command, each phase's median is what the gadget's own clock noted, and no
# other phase is blamed. The module is loaded only when --phases asks for it. A delay under the kernel's own gadget shows
# in SYNCHRONIZE CACHE and nowhere else. Events lost: the pass says so and shows none.
# Time limit: 1500 s
cat >plain.model <<'END'
gadget-model 1
device:
    name = plain
    vendor = INVENTED
    product = plain gadget
    serial = PLAIN-0001
    capacity = 8Mi
link:
    speed = full
    rate = 1.0 MB/s
    request cost = 0.2 ms
card:
    read rate = 8 MB/s
    write rate = 8 MB/s
firmware:
    unit = request
END
rmmod usbmon 2>/dev/null
model_plug plain.model
token "$gadget"
one="--order sequential --sizes 4Ki --region 0+1Mi --passes 1"
run 0 blkassay sweep "$gadget" $one --seconds 0.2 --out none.assay
says "kernel's module usbmon"
[ ! -e /dev/usbmon0 ] || fail "the module was loaded without being asked for"
run 0 blkassay sweep "$gadget" $one --seconds 0.2 --phases --out loads.assay
says "'modprobe -r usbmon' unloads it"
says "Where the time of a request goes"

# Medians in ms of the gadget's own clock, over the commands of one opcode behind line $2 of its log: data, status, next.
truth() { # OPCODE FROM
	tail -n "+$2" $truth | sed -n "s/^command .* opcode=$1 .* length=4096 /&/p" | awk '
		function of(key, i) { for (i = 1; i <= NF; i++) if (index($i, key "=") == 1) return substr($i, length(key) + 2) }
		{ print of("data") - of("received"), of("ready") - of("data"), of("wait_next") }' >times
	for column in 1 2 3; do
		cut -d' ' -f$column times | sort -n | awk '{ v[NR] = $1 } END { printf "%.3f ", v[int((NR + 1) / 2)] / 1e6 }'
	done
}
# And those of the host's side.
seen() { # RECORD
	grep ' pass ' "$1" | tr ' ' '\n' | awk -F= '
		$1 ~ /^(command|data|status|host)_p50_seconds$/ { v[$1] = $2 * 1000 }
		END { printf "%.3f %.3f %.3f %.3f", v["data_p50_seconds"], v["status_p50_seconds"], v["command_p50_seconds"], v["host_p50_seconds"] }'
}
near() { # WHAT GOT WANTED
	awk -v got="$2" -v wanted="$3" 'BEGIN { d = got > wanted ? got - wanted : wanted - got; exit !(d <= 1 || d <= 0.05 * wanted) }' ||
		fail "$1: $2 ms by the host, $3 ms by the gadget"
}
watched() { # NAME DIRECTION OPCODE
	from=$(($(wc -l <$truth) + 1))
	consent=
	[ "$2" = read ] || consent="--erase $token"
	run 0 blkassay sweep "$gadget" $one --direction "$2" $consent --seconds 6 --out "$1-$2.assay" --quiet
	requests=$(grep ' pass ' "$1-$2.assay" | grep -o ' requests=[0-9]*' | cut -d= -f2)
	between "requests of the pass" "$requests" 200 100000
	read -r data status next <<-END
		$(truth "$3" "$from")
	END
	read -r host_data host_status host_command host_gap <<-END
		$(seen "$1-$2.assay")
	END
	note "$1, ${2}s: data $host_data ms ($data by the gadget), status $host_status ($status), command $host_command ($next), host $host_gap"
	near "$1, ${2}s, data" "$host_data" "$data"
	near "$1, ${2}s, status" "$host_status" "$status"
	near "$1, ${2}s, command" "$host_command" "$next"
	between "$1, ${2}s, host's own" "$host_gap" 0 2
}
for add in "data 0 ms" "data 5 ms" "data 15 ms" "piece 4 ms" "status 5 ms" "status 15 ms" "next 5 ms" "next 15 ms"; do
	model_tell add $add
	watched "$(echo $add | tr -d ' ')" read 28
	watched "$(echo $add | tr -d ' ')" write 2A
	model_tell add ${add%% *} 0 ms
done
model_remove

# Two units of one device, the other one busy: its commands are between those of the pass, and none of it.
sed 's/PLAIN-0001/PLAIN-0002/' plain.model >other.model
model_plug plain.model other.model
own=$gadget
model_node 1
is "the other unit" "$([ "$own" != "$gadget" ] && echo another)" another
while :; do dd if="$gadget" of=/dev/null bs=8k count=8 iflag=direct 2>/dev/null; done &
neighbour=$!
run 0 blkassay sweep "$own" $one --seconds 2 --out unit.assay
run 0 blkassay observe "$own" --phases --seconds 1 --out unit-idle.assay
kill $neighbour
wait $neighbour 2>/dev/null
grep ' pass ' unit.assay | tr ' ' '\n' >pass
is "its phases" "$(sed -n 's/^phases=//p' pass)" seen
is "its commands" "$(sed -n 's/^commands=//p' pass)" "$(sed -n 's/^requests=//p' pass)"
between "the other unit's" "$(sed -n 's/^other_commands=//p' pass)" 10 100000
! grep -q ' commands of=read ' unit-idle.assay || fail "observe shows the other unit's reads"
model_remove

gadget_plug /dev/vdc
token "$gadget"
run 0 blkassay sweep "$gadget" $one --direction read --seconds 1 --phases --out stuck.assay
says "Where the time of a request goes"
# A reader that never gets round to reading: the ring runs over.
run 0 env LD_PRELOAD=/usr/bin/stuck_monitor.so blkassay sweep "$gadget" $one --direction read --seconds 1 --phases --out lost.assay
grep -q ' phases=dropped' lost.assay || fail "the record does not say so"
! grep -q 'phase-times' lost.assay || fail "phases of lost events"
says "the USB monitor lost events"
# One that reads now and then, from a ring of 8 KiB.
run 0 env LD_PRELOAD=/usr/bin/stuck_monitor.so MONITOR_RING=8192 MONITOR_EVERY=40 blkassay sweep "$gadget" $one --direction read --seconds 1 --phases --out tiny.assay
grep -q ' phases=dropped' tiny.assay || fail "the record of a tiny ring does not say so"
! grep -q 'phase-times' tiny.assay || fail "phases of lost events"
says "the USB monitor lost events"
gadget_remove

# 30 ms under the kernel's gadget, whose page cache takes writes at once: the flush alone waits for it.
blocks=$(cat /sys/block/vdc/size)
dm create slow --table "0 $blocks delay /dev/vdc 0 0 /dev/vdc 0 30"
gadget_plug /dev/mapper/slow
token "$gadget"
run 0 blkassay sweep "$gadget" $one --direction write --erase "$token" --seconds 1 --phases --out delay.assay --json delay.json
grep ' storing ' delay.assay | tr ' ' '\n' >storing
flush_command=$(sed -n 's/^flush_command_seconds=//p' storing) flush_status=$(sed -n 's/^flush_status_seconds=//p' storing)
read -r host_data host_status host_command host_gap <<-END
	$(seen delay.assay)
END
note "with 30 ms under the gadget: flush taken in $flush_command s, its status $flush_status s later; writes: data $host_data ms, status $host_status, command $host_command, host $host_gap"
between "the status of the flush" "$flush_status" 0.03 10
between "the command of the flush" "$flush_command" 0 0.01
for part in $host_data $host_status $host_command; do between "a phase of the writes" "$part" 0 15; done
gadget_remove
rmmod usbmon || fail "usbmon is still in use"
