# By hand. What the audit's line on vital product data pages says through the kernel, of gadgets that answer them rightly, with
# their INQUIRY data, or by hanging; another firmware that comes back after a cut; and how much of the class's own reset a
# host gets to see when nothing is going on.
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
audited 0 honest --only inquiry,steady,answered,vital-pages
[ ! -e /sys/block/${gadget#/dev/}/device/vpd_pg80 ] || fail "the kernel asks USB drives for pages after all: say so in blkassay-audit(7)"
model_remove
model_plug fault-vital-pages
audited 1 confused --only vital-pages,sense
is "sense, beside confused pages" "$(verdict_of sense)" kept
model_remove
# The marks are known again after each of two resets, so that the audit comes to its end.
model_plug fault-hangs-on-page
audited 1 hangs --only vital-pages,sense
says "asked for twice and not answered"
is "sense, beside pages that hang" "$(verdict_of sense)" kept
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

# ---- the class's own reset ----
# With nothing going on, a host that asks for it learns no more than that it was acknowledged: to tell of it is not demanded,
# and the kernel's own gadget does not. In the middle of a command the kernel resets the port instead.
model_plug buoy-d
is "an idle reset, told" "$(class_reset idle "$gadget")" "00: host 0;reset: done;00: sense 06/29/00;00: host 0;"
model_remove
model_plug fault-ignores-reset
is "an idle reset, ignored" "$(class_reset idle "$gadget")" "00: host 0;reset: done;00: host 0;00: host 0;"
model_remove
gadget_plug $work/card.img
is "an idle reset of the kernel's gadget" "$(class_reset idle "$gadget")" "00: host 0;reset: done;00: host 0;00: host 0;"
gadget_remove
