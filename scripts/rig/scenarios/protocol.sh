# What the audit's lines on the protocol say through the kernel, of gadgets that answer vital product data pages rightly, with
# their INQUIRY data, or by hanging; what happens beside a run: another firmware after a cut, a neighbour on the same device
# that has it reset; and how much of the class's own reset a host gets to see.
# Time limit: 1800 s
. /rig/lib.sh
verdict_of() { awk -F, -v name="$1" 'NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next } $at["name"] == name { print $at["verdict"] }' audit.csv; }
audited() { # STATUS RECORD OPTION...
	expected=$1 record=$2
	shift 2
	rm -f audit.csv
	token "$gadget"
	run "$expected" blkassay audit "$gadget" --erase "$token" --seed 5 --region 0+1Mi --out $record.assay --csv audit.csv "$@"
	cp $out "$results/$record.txt"
}

# ---- pages ----
model_plug buoy-d
audited 0 honest --only inquiry,steady,answered,vital-pages --phases
says_not "short packet"
[ ! -e /sys/block/${gadget#/dev/}/device/vpd_pg80 ] || fail "the kernel asks USB drives for pages after all: say so in blkassay-audit(7)"
model_remove
# Told by the bus, and not judged.
model_plug fault-ends-short
audited 0 short --only answered --phases
says "ends in a short packet, without the stall"
model_remove
model_plug fault-vital-pages
audited 1 confused --only vital-pages,sense
is "sense, beside confused pages" "$(verdict_of sense)" kept
model_remove
# The marks are known again after each of two resets, so that the audit comes to its end, and kept data goes back.
model_plug fault-hangs-on-page
audited 1 hangs --only vital-pages,sense
says "asked for twice and not answered"
is "sense, beside pages that hang" "$(verdict_of sense)" kept
held() { dd if="$gadget" bs=64k count=16 iflag=direct 2>/dev/null | sha256sum; }
before=$(held)
run 1 blkassay audit "$gadget" --keep-data --seed 6 --region 0+1Mi --out $disk/put-back.assay --only vital-pages
is "what it held before and after" "$(held)" "$before"
run 0 blkassay audit "$gadget" --keep-data --seed 7 --region 0+1Mi --out $disk/not-asked.assay --only sense
is "what it held before and after" "$(held)" "$before"
model_remove
truncate -s 2M card.img
gadget_plug $work/card.img
audited 0 kernels --only vital-pages
says "00h and 83h mandatory"
gadget_remove

# ---- another firmware after a cut ----
cp /rig/models/buoy-d.model a.model
sed 's/revision = 1.0d/revision = 1.0e/' a.model >b.model
model_plug -c second.img a.model
cat >cut.sh <<END2
bus_gadget tell quit
sleep 2
bus_gadget run -t $work/second.log -c $work/second.img $work/b.model &
sleep 1
END2
token "$gadget"
run 3 blkassay cut "$gadget" --erase "$token" --region 0+1Mi --seed 9 --seconds 2 --cycles 2 --cut-with "sh $work/cut.sh" --out cut.assay
says "came back with another firmware"
bus_gadget tell quit
model_remove

# ---- a neighbour ----
# Another logical unit of the same device hangs, and the host resets the device, this one with it: no line of this one is
# broken by that. (Of two with one size consent would mean either.)
sed 's/capacity = 32Mi/capacity = 16Mi/' /rig/models/buoy-d.model >neighbour.model
model_plug buoy-d neighbour.model
model_node 1
neighbour=$gadget
model_node 0
token "$gadget"
start blkassay audit "$gadget" --erase "$token" --seed 5 --region 0+1Mi --out beside.assay --csv audit.csv --only flush,read-after-write,stored
for reset in 1 2 3 4; do
	moved "$gadget" 300
	model_tell silence 1 C1
	printf 'none 0 C1 00 00 00 00 00\nnone 0 00 00 00 00 00 00\n' | bus_gadget ask "$neighbour" >>"$results/neighbour.txt" 2>&1
done
status=0
wait "$child" || status=$?
cp $out "$results/beside.txt"
cp $err "$results/beside.err"
note "four resets by a neighbour: the audit ended with $status"
[ $status != 1 ] || fail "a neighbour's resets broke promises"
model_remove

# ---- the class's own reset ----
# With nothing going on, a host that asks for it learns no more than that it was acknowledged: to tell of it is not demanded,
# and the kernel's own gadget does not. In the middle of a command the kernel resets the port instead, unless it was told
# that this drive cannot take that (usbcore.quirks, before it is plugged in): then one that ignores the reset is dead for good.
model_plug buoy-d
is "an idle reset, told" "$(class_reset idle "$gadget")" "00: host 0;reset: done;00: sense 06/29/00;00: host 0;"
usb=$(readlink -f /sys/block/${gadget#/dev/}/device)
while [ ! -e "$usb/idVendor" ]; do usb=$(dirname "$usb"); done
quirk=$(cat "$usb/idVendor"):$(cat "$usb/idProduct"):e
model_remove
model_plug fault-ignores-reset
is "an idle reset, ignored" "$(class_reset idle "$gadget")" "00: host 0;reset: done;00: host 0;00: host 0;"
model_remove
gadget_plug $work/card.img
is "an idle reset of the kernel's gadget" "$(class_reset idle "$gadget")" "00: host 0;reset: done;00: host 0;00: host 0;"
gadget_remove
for gadget_model in buoy-d fault-ignores-reset; do
	for how in port class; do
		[ $how = port ] || echo "$quirk" >/sys/module/usbcore/parameters/quirks || fail "no quirks"
		after="00: sense 06/29/00;00: host 0;"
		[ "$gadget_model $how" != "fault-ignores-reset class" ] || after="00: host 3;00: host 3;"
		model_plug $gadget_model
		model_tell silence 1 C1
		is "$gadget_model, hung, reset of the $how" "$(class_reset hung "$gadget")" "00: host 0;C1: host 3;$after"
		echo >/sys/module/usbcore/parameters/quirks
		model_remove
	done
done
