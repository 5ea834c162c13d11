# The host resets the drive in the middle of a sweep and of a verify: what the kernel counted is said and the passes it fell
# into count for nothing; so does the line of an audit. A reset is no change of medium: all go on.
# Time limit: 900 s
truncate -s 4M card.img
gadget_plug $work/card.img
start blkassay sweep "$gadget" --sizes 4Ki --order random --seconds 1 --passes 6 --out sweep.assay
wait_for 120 sh -c "[ \$(grep -c ' pass ' sweep.assay) -ge 1 ]" || fail "no pass in two minutes"
for n in 1 2 3; do reset_usb "$gadget"; done
finish 0
says "not counted: the kernel saw"
note "$(tr -s ' \n' '  ' <$out | grep -o '[0-9]* pass[^.]*' | head -n 1)"
grep -q 'flags=.*resets' sweep.assay || fail "no pass is flagged"
grep -q 'device_errors=' sweep.assay || fail "no number stands in the record"

token "$gadget"
start blkassay verify "$gadget" --erase "$token" --region 0+1Mi --sizes 4Ki --seed 3 --out verify.assay
# While it writes: it is opened anew before it reads, and a reset that waits then moves the disk sequence.
for n in 1 2; do
	moved "$gadget" 20
	reset_usb "$gadget"
done
finish 0
says "The kernel counted"
says "All 2048 blocks"

start blkassay audit "$gadget" --erase "$token" --seed 4 --out audit.assay
moved "$gadget" 100
reset_usb "$gadget"
wait_for 200 grep -q 'counts%20for%20nothing' audit.assay || fail "no line of the audit is doubted"
kill -INT "$child"
finish 130
