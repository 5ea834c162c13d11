# Both drives come up and can be read by plain means: the rig itself works.
stick
note "stick $stick $(cat /sys/block/${stick#/dev/}/size) sectors"
run 0 dd if=/dev/zero of=$work/card bs=1M count=8
gadget_plug $work/card
note "gadget $gadget"
for d in $stick $gadget; do
	for bs in 512 4096 65536; do
		run 0 dd if=$d of=/dev/null bs=$bs count=$((bs < 8192 ? 400 : 40)) iflag=direct
		note "$d $bs: $(tail -n 1 $err)"
	done
done
