# Flushes as the kernel's USB monitor shows them, on gadgets of known truth: one that flushes, one that ignores it, one that
# stores before it takes the next command; and with a monitor that hands over nothing.
# Time limit: 900 s
modprobe usbmon || fail "no usbmon"
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
# 16 KiB ahead of a card of 0.2 MB/s, 82 ms to store. It waits; it is answered at once; it is taken late,
# as all is stored before the next command. Where the monitor loses events, no flush is judged by it.
behind() { # SERIAL FIRMWARE-LINE FAULTS: plugged in
	{
		sed -e "s/PLAIN-0001/$1/" -e 's/write rate = 8/write rate = 0.2/' plain.model
		printf '    write behind = 16Ki\n    %s\nclaims:\n    write cache = yes\n%b' "$2" "$3"
	} >"$1.model"
	model_plug "$1.model"
	token "$gadget"
}
# What a busy machine blurs may be left open, which ends with 4 and says so; it is never judged wrongly. Then it is asked again.
audited() { # STATUS RECORD [COMMAND...]: the flush's line in $line
	sure=$1 record=$2
	shift 2
	for attempt in 1 2 3 4 5 6; do
		rm -f audit.csv "$record"
		status=0
		"$@" blkassay audit "$gadget" --erase "$token" --region 0+1Mi --only flush --seed $attempt --phases --out "$record" --csv audit.csv \
			>$out 2>$err </dev/null || status=$?
		line=$(grep ',flush,' audit.csv)
		note "$(echo "$line" | cut -c1-400)"
		[ $status = 4 ] || break
		case $line in *"not shown"*) ;; *) fail "exit status 4, and the flush is not left open" ;; esac
	done
	is "exit status of the audit in attempt $attempt" $status "$sure"
}
behind FLUSH-0001 "" ""
audited 0 honest.assay
case $line in *"on the bus (taken after"*) ;; *) fail "the flush was not seen" ;; esac
audited 0 stuck.assay env LD_PRELOAD=/usr/bin/stuck_monitor.so
case $line in *"by the host's clock (the bus did not show"*) ;; *) fail "a flush that nobody saw is judged by the bus" ;; esac
run 0 blkassay sweep "$gadget" --order sequential --sizes 4Ki --direction write --erase "$token" --seconds 1 --passes 1 --phases --out honest-sweep.assay --json honest-sweep.json
grep -q '"code":"flush-on-bus"' honest-sweep.json || fail "the sweep does not show the flush"
note "$(grep ' storing ' honest-sweep.assay | tr ' ' '\n' | grep 'flush\|next\|usual' | tr '\n' ' ')"
model_remove
behind FLUSH-0002 "" "faults:\n    ignore flush = yes\n"
audited 1 ignores.assay
run 0 blkassay sweep "$gadget" --order sequential --sizes 4Ki --direction write --erase "$token" --seconds 1 --passes 1 --phases --out ignores-sweep.assay --json ignores-sweep.json
grep -q '"code":"flush-too-early"' ignores-sweep.json || fail "the sweep does not show that the flush came too early"
grep -q '"code":"busy-after-flush"' ignores-sweep.json || fail "the sweep does not show the backlog behind the flush"
model_remove
behind FLUSH-0003 "drain = before-next" ""
run 0 blkassay sweep "$gadget" --order sequential --sizes 16Ki --direction write --erase "$token" --seconds 1 --passes 1 --phases --out next-sweep.assay --json next-sweep.json
set -- $(grep ' pass ' next-sweep.assay | tr ' ' '\n' | sed -n 's/^\(command\|status\)_p50_seconds=//p')
note "stored before the next command: command $1 s, status $2 s"
between "the command of a gadget that stores before it takes one" "$1" 0.06 0.2
between "its status" "$2" 0 0.02
model_remove
